"""The first page of each role, what it may show, and what it costs."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from accounts.models import TrailEntry
from compliance.services.flags import reconcile_flags
from compliance.services.looks import record_looks
from sites.models import Site, SiteGrant
from tests.builders.accounts import make_client, make_manager
from tests.builders.compliance import give_pass, make_action, make_closed_visit
from tests.builders.sites import make_site, make_zone
from tests.builders.visits import make_contract, make_visit
from visits.models import NotReached, Visit, WhoseMove
from visits.services.recording import NotReachedGiven

pytestmark = pytest.mark.django_db

NOW = timezone.now()
TODAY = NOW.date()


def page_of(client, name, person, **query):
    client.force_login(person)
    return client.get(reverse(f"compliance:{name}"), query)


# --- office -------------------------------------------------------------------------------------


def test_the_office_sees_late_stuck_alarming_unplaced_in_this_order(client, office):
    late = make_visit(due_on=TODAY - timedelta(days=9), state=Visit.State.BOOKED)
    later = make_visit(due_on=TODAY - timedelta(days=20), state=Visit.State.BOOKED)
    make_action("priced", at=NOW - timedelta(days=20), due_on=TODAY + timedelta(days=60))
    make_action(site=make_site(), by=office)
    reconcile_flags()

    parts = page_of(client, "today", office).context["parts"]

    assert [part.group.key for part in parts] == ["late", "stuck", "alarming", "unplaced"]
    assert [flag.site for flag in parts[0].flags] == [later.site, late.site]
    assert [(one.label, one.number) for one in parts[1].counts] == [
        ("Decision long awaited", 1),
        ("Actions to price", 1),
    ]


def test_every_count_leads_to_a_list_of_just_so_many(client, office):
    for days in (9, 20):
        make_visit(due_on=TODAY - timedelta(days=days), state=Visit.State.BOOKED)
    make_action(by=office)
    make_action("done", by=office)
    reconcile_flags()
    parts = page_of(client, "today", office).context["parts"]

    for part in parts:
        for count in [*part.counts]:
            assert client.get(count.url).context["page"].paginator.count == count.number
        assert client.get(part.url).context["page"].paginator.count == part.number


def test_a_quiet_day_says_so(client, office):
    page = page_of(client, "today", office).content.decode()

    assert "Nothing is past its day." in page


@pytest.mark.parametrize("number", [2, 12])
def test_today_costs_the_same_for_few_and_many(
    client, office, number, django_assert_max_num_queries
):
    for index in range(number):
        make_visit(due_on=TODAY - timedelta(days=9 + index), state=Visit.State.BOOKED)
        make_action("priced", at=NOW - timedelta(days=40))
    reconcile_flags()
    client.force_login(office)

    with django_assert_max_num_queries(12):
        client.get(reverse("compliance:today"))


# --- client -------------------------------------------------------------------------------------


@pytest.fixture
def home() -> Site:
    return make_site(name="Quay Street bakery")


@pytest.fixture
def manager(home):
    return make_manager(client=home.client)


def test_the_client_reads_first_what_waits_for_their_word(client, home, manager, office):
    priced = make_action("priced", site=home, by=office)
    own = make_action(
        site=home, by=office, kind="housekeeping", whose_move=WhoseMove.CLIENT, title="Move racks"
    )
    make_action("decided", site=home, by=office)
    make_action("priced", by=office, title="A stranger's leak")

    page = page_of(client, "your_sites", manager)

    assert page.context["decide"].actions == [priced]
    assert page.context["do"].actions == [own]
    words = page.content.decode()
    assert words.index("Waits for your word") < words.index("How the sites are")
    assert "stranger" not in words


def test_the_client_sees_last_and_next_visit_what_is_open_and_what_was_shut(
    client, home, manager, office
):
    zone = make_zone(home)
    shut = NotReachedGiven(
        reason=NotReached.Reason.LOCKED, whose_move=WhoseMove.CLIENT, zone_id=zone.pk
    )
    last = make_closed_visit(home, due_on=TODAY - timedelta(days=5), not_reached=[shut])
    make_visit(home, due_on=TODAY + timedelta(days=12), state=Visit.State.BOOKED)
    make_visit(home, due_on=TODAY + timedelta(days=4), state=Visit.State.BOOKED)
    make_action(site=home, by=office)

    (site,) = page_of(client, "your_sites", manager).context["page"]

    assert (site.last_visit_id, site.next_on) == (last.pk, TODAY + timedelta(days=4))
    assert (site.open_actions, site.shut) == (1, 1)
    assert site.last_coverage["checkpoints_due"] == 3


def test_a_site_of_which_nothing_is_booked_shows_by_when_it_is_due(client, home, manager):
    make_visit(home, due_on=TODAY + timedelta(days=12))

    (site,) = page_of(client, "your_sites", manager).context["page"]

    assert (site.next_on, site.due_by) == (None, TODAY + timedelta(days=15))


def test_a_manager_limited_to_one_site_sees_one(client, home, manager):
    make_site(client=home.client, name="The other bakery")
    SiteGrant.objects.create(person=manager, site=home)

    page = page_of(client, "your_sites", manager)

    assert [site.name for site in page.context["page"]] == ["Quay Street bakery"]
    assert b"The other bakery" not in page.content


@pytest.mark.parametrize("number", [2, 12])
def test_your_sites_costs_the_same_for_few_and_many(
    client, home, manager, office, number, django_assert_max_num_queries
):
    for _ in range(number):
        site = make_site(zones=1, client=home.client)
        make_closed_visit(site, due_on=TODAY - timedelta(days=5))
        make_action("priced", site=site, by=office)
        make_action(site=site, by=office, kind="access", whose_move=WhoseMove.CLIENT)
    client.force_login(manager)

    with django_assert_max_num_queries(15):
        client.get(reverse("compliance:your_sites"))


# --- auditor ------------------------------------------------------------------------------------


def looked(site) -> list[str]:
    return list(
        TrailEntry.objects.filter(verb="site.viewed", stream_id=f"site:{site.pk}").values_list(
            "actor_name", flat=True
        )
    )


def test_the_auditor_sees_the_sites_of_the_pass_with_its_period_and_end(client, home, auditor):
    make_site(client=home.client, name="Not on the pass")
    given = give_pass(auditor, home)

    page = page_of(client, "the_file", auditor)

    (file,) = page.context["files"]
    assert (file.site, file.valid_until) == (home, given.valid_until)
    assert (file.period.first, file.period.last) == (given.period_from, given.period_to)
    assert b"Not on the pass" not in page.content


def test_the_auditors_period_is_the_one_that_is_judged(client, home, auditor):
    make_visit(home, due_on=date(2025, 12, 10))
    make_closed_visit(home, due_on=date(2026, 3, 10))
    give_pass(auditor, home)

    (file,) = page_of(client, "the_file", auditor).context["files"]

    on_time = next(line for line in file.lines if line.item.key == "on_time")
    assert on_time.standing == "current"


@pytest.mark.parametrize(
    "fields",
    [
        {"valid_until": NOW - timedelta(minutes=1)},
        {"valid_from": NOW + timedelta(hours=1)},
        {"revoked_at": NOW},
    ],
    ids=["over", "not begun", "revoked"],
)
def test_a_pass_that_is_not_open_shows_nothing(client, home, auditor, fields):
    give_pass(auditor, home, **fields)

    page = page_of(client, "the_file", auditor)
    assert page.context["files"] == []
    assert client.get(reverse("compliance:evidence", args=[home.pk])).status_code == 404
    assert looked(home) == []


def test_each_look_is_noted_once_a_site_and_day_and_the_client_reads_it(
    client, home, auditor, manager
):
    other = make_site(client=home.client)
    give_pass(auditor, home)
    give_pass(auditor, other)

    for _ in range(2):
        page_of(client, "the_file", auditor)
        client.get(reverse("compliance:evidence", args=[home.pk]))
        client.get(home.get_absolute_url())

    assert (looked(home), looked(other)) == ([auditor.name], [auditor.name])
    client.force_login(manager)
    assert auditor.name in client.get(home.get_absolute_url()).content.decode()
    assert (
        auditor.name in client.get(reverse("compliance:evidence", args=[home.pk])).content.decode()
    )


def test_the_next_day_at_the_site_is_another_look(home, auditor):
    """Eleven at night and one in the morning, London time, are two days."""
    give_pass(auditor, home)
    night = datetime(2026, 7, 10, 22, 0, tzinfo=UTC)

    new = [
        record_looks([home.pk], by=auditor, at=night + timedelta(minutes=minutes))
        for minutes in (0, 59, 61, 62)
    ]

    assert new == [1, 0, 1, 0]


def test_opening_any_page_of_a_site_is_a_look(client, home, auditor):
    give_pass(auditor, home, period_to=TODAY)
    action = make_action(site=home)
    client.force_login(auditor)

    assert client.get(action.get_absolute_url()).status_code == 200

    assert looked(home) == [auditor.name]


def test_the_list_of_actions_is_a_look_at_the_sites_it_shows(client, home, auditor):
    other = make_site(client=home.client)
    give_pass(auditor, home, other, period_to=TODAY)
    make_action(site=home)
    client.force_login(auditor)

    client.get(reverse("compliance:actions"))

    assert (looked(home), looked(other)) == ([auditor.name], [])


def test_what_was_not_shown_and_who_is_no_auditor_leaves_no_look(client, home, auditor, manager):
    give_pass(auditor, make_site())
    client.force_login(auditor)
    assert client.get(home.get_absolute_url()).status_code == 404
    client.force_login(manager)
    client.get(home.get_absolute_url())

    assert looked(home) == []


@pytest.mark.parametrize("number", [1, 5])
def test_the_file_costs_the_same_for_one_site_and_for_a_page(
    client, auditor, number, django_assert_max_num_queries
):
    owner = make_client()
    sites = [make_site(zones=1, client=owner) for _ in range(number)]
    for site in sites:
        make_contract(site)
        make_closed_visit(site, due_on=date(2026, 3, 10))
    give_pass(auditor, *sites)
    client.force_login(auditor)

    with django_assert_max_num_queries(28):
        client.get(reverse("compliance:the_file"))


# --- everybody else's ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "role"),
    [
        (name, role)
        for name, own in [
            ("today", "office"),
            ("your_sites", "manager"),
            ("the_file", "auditor"),
        ]
        for role in ("office", "technician", "manager", "auditor")
        if role != own
    ],
)
def test_a_landing_page_is_for_its_role(client, name, role, request):
    assert page_of(client, name, request.getfixturevalue(role)).status_code == 403


@pytest.mark.parametrize(
    ("role", "name"), [("office", "today"), ("manager", "your_sites"), ("auditor", "the_file")]
)
def test_the_front_door_leads_each_role_to_its_page(client, role, name, request):
    client.force_login(request.getfixturevalue(role))

    assert client.get("/").url == reverse(f"compliance:{name}")
