"""A client's quarter: what it counts, who reads it, and the pack that a job builds of it."""

import hashlib
from datetime import UTC, date, datetime, timedelta
from io import BytesIO

import pytest
import time_machine
from django.urls import reverse
from pypdf import PdfReader

from accounts.models import Company, TrailEntry
from accounts.refusals import NotAllowed, Unusable
from compliance.models import ActionOption, CorrectiveAction, ReviewPack
from compliance.quarters import Quarter, quarter_from
from compliance.queries.review_packs import review_of, sites_of_quarter
from compliance.services.papers import LEASE, MOST_ATTEMPTS
from compliance.services.review_packs import (
    build_review_pack,
    build_review_packs,
    note_download,
    request_review_pack,
)
from compliance.sitefile.content import Outcome, Visit
from compliance.sitefile.review import Kept, kept_of
from compliance.sitefile.reviewing import kept_words
from sites.models import Site, SiteGrant
from tests.builders.accounts import make_auditor, make_manager, make_office, make_technician
from tests.builders.compliance import make_action, make_monthly_counts
from tests.builders.extra_visits import carry_out
from tests.builders.sites import make_site
from tests.builders.visits import make_visit

QUARTER = Quarter(date(2026, 7, 1))
NOW = datetime(2026, 10, 5, 9, tzinfo=UTC)
State = ReviewPack.State


@pytest.fixture
def site(db) -> Site:
    Company.objects.create(name="Fennimore & Tull Site Hygiene")
    return make_site(zones=1, monitors=1)


@pytest.fixture
def manager(site):
    return make_manager(client=site.client)


@pytest.fixture
def asked(site, manager) -> ReviewPack:
    return request_review_pack(site.client_id, QUARTER, by=manager)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as clock:
        yield clock


def review(site, quarter=QUARTER):
    sites = sites_of_quarter(Site.objects.filter(client=site.client), quarter)
    return review_of(site.client, list(sites), quarter, by=make_office(), now=NOW)


def only(site):
    (found,) = review(site).sites
    return found


def caught(site) -> None:
    """From January to September: 12 in the quarter."""
    make_monthly_counts(
        site.monitors.get(),
        "german-cockroach",
        [0, 1, 0, 2, 1, 0, 3, 5, 4],
        last=date(2026, 9, 20),
        judged_at=NOW,
    )


def verbs(pack) -> list[str]:
    told = TrailEntry.objects.filter(target_id=str(pack.pk)).order_by("pk")
    return list(told.values_list("verb", flat=True))


def page_of(site, quarter=QUARTER) -> str:
    return reverse("compliance:review", args=[site.client_id, quarter.key])


# --- what a quarter counts ----------------------------------------------------------------------

OPENS, CLOSES = date(2026, 8, 3), date(2026, 8, 7)


def visit(outcome=Outcome.CLOSED, on: date | None = date(2026, 8, 5)) -> Visit:
    came = datetime(on.year, on.month, on.day, 10, tzinfo=UTC) if on else None
    return Visit(outcome, "", "", CLOSES, OPENS, CLOSES, started_at=came, closed_at=came)


@pytest.mark.parametrize(
    ("one", "kept"),
    [
        pytest.param(visit(), Kept(due=1, kept=1), id="within its window"),
        pytest.param(visit(on=CLOSES), Kept(due=1, kept=1), id="on its last day"),
        pytest.param(visit(on=date(2026, 8, 8)), Kept(due=1, late=1), id="the day after"),
        pytest.param(visit(on=date(2026, 8, 2)), Kept(due=1, kept=1), id="early"),
        pytest.param(visit(Outcome.MISSED, None), Kept(due=1, missed=1), id="missed"),
        pytest.param(visit(Outcome.OPEN, None), Kept(due=1, missed=1), id="overdue"),
        pytest.param(visit(Outcome.CALLED_OFF, None), Kept(called_off=1), id="called off"),
    ],
)
def test_each_visit_counts_for_what_became_of_it(one, kept):
    assert kept_of([one], "UTC", NOW.date()) == kept


def test_an_open_window_is_not_due_yet():
    assert kept_of([visit(Outcome.OPEN, None)], "UTC", CLOSES) == Kept(to_come=1)


def test_sums_of_visits_are_told_in_a_sentence():
    total = Kept(due=5, kept=3, late=1, missed=1) + Kept(called_off=2, to_come=1)

    assert kept_words(total).replace("\N{NO-BREAK SPACE}", " ") == (
        "3 of 5 visits due came by the last day of the window, 1 late, 1 not made. 2 visits called "
        "off. 1 window still open."
    )
    assert kept_words(Kept()) == "No visit was due by now."


@pytest.mark.parametrize(
    ("key", "quarter"),
    [("2026-07", QUARTER), ("2026-08", None), ("2026-13", None), ("july", None), ("2026-7", None)],
)
def test_a_quarter_is_named_by_its_first_month(key, quarter):
    assert quarter_from(key) == quarter


def test_visits_count_in_the_quarter_in_which_their_window_ends(site):
    carry_out(make_visit(site, due_on=date(2026, 8, 5)), date(2026, 8, 5))
    make_visit(site, due_on=date(2026, 12, 1))

    assert only(site).kept == Kept(due=1, kept=1)
    assert only(site).coverage_counts == (4, 0)
    assert review(site, QUARTER.before).totals.kept == Kept()


def test_decisions_of_the_quarter_stand_with_what_became_of_them(site, manager):
    made = make_action("decided", site=site, manager=manager, at=datetime(2026, 8, 5, tzinfo=UTC))
    make_action(
        "decided",
        site=site,
        manager=manager,
        declined=True,
        at=datetime(2026, 9, 30, 12, tzinfo=UTC),
    )
    make_action("decided", site=site, manager=manager, at=datetime(2026, 10, 2, tzinfo=UTC))

    decided = only(site).decided

    assert [(one.outcome, one.state) for one in decided] == [
        ("Go ahead", "Decided"),
        ("Turned down", "The risk is carried"),
    ]
    assert (decided[0].number, decided[0].by) == (made.number, manager.name)
    assert decided[1].reason == "Too dear this year."


def test_the_quarter_ends_at_the_sites_own_midnight(manager, site):
    site.time_zone = "Pacific/Auckland"
    site.save()
    # 1 October there, 30 September in Greenwich.
    make_action("decided", site=site, manager=manager, at=datetime(2026, 9, 30, 14, tzinfo=UTC))

    assert only(site).decided == ()


def test_what_waits_for_a_decision_says_how_long(site):
    make_action("priced", site=site, at=NOW - timedelta(days=12))
    make_action("raised", site=site)

    (waiting,) = only(site).outstanding

    assert (waiting.days, waiting.asked) == (12, "")


def test_a_site_is_pictured_by_what_was_caught_most(site):
    caught(site)

    picture = only(site).picture

    assert picture is not None
    assert picture.months[-1].month == date(2026, 9, 1)
    assert picture.words.startswith("12\N{NO-BREAK SPACE}individuals in the quarter")


def test_without_counts_it_is_said_that_nothing_was_counted(site):
    assert only(site).picture is None
    assert only(site).picture_words.startswith("Nothing was counted")


def test_checked_sealing_stands_with_what_it_saved(site):
    make_action("checked", site=site, at=NOW - timedelta(days=10))

    (work,) = only(site).sealed

    assert work.state == "Not yet known"
    assert review(site).saved == ("Not yet known for 1\N{NO-BREAK SPACE}checked sealing.",)


def test_sites_closed_before_the_quarter_are_not_in_it(site):
    closed = make_site(client=site.client)
    closed.closed_on = QUARTER.first - timedelta(days=1)
    closed.save()

    assert [one.name for one in review(site).sites] == [site.name]


# --- who reads it -------------------------------------------------------------------------------


def test_the_page_says_it_all_to_the_office_and_to_the_clients_manager(client, site, manager):
    make_action("priced", site=site, title="Seal the pipe chase")
    for person in (make_office(), manager):
        client.force_login(person)
        answer = client.get(page_of(site))

        assert answer.status_code == 200
        assert "Seal the pipe chase" in answer.text
        assert "Make the review pack" in answer.text


@pytest.mark.parametrize("make", [make_auditor, make_technician])
def test_nobody_else_can_tell_that_it_exists(client, site, make):
    client.force_login(make())

    assert client.get(page_of(site)).status_code == 404


def test_a_manager_of_listed_sites_sees_those_and_gets_no_pack(client, site, manager):
    other = make_site(client=site.client, name="The other house")
    SiteGrant.objects.create(person=manager, site=site)
    pack = request_review_pack(site.client_id, QUARTER, by=make_office())
    client.force_login(manager)

    answer = client.get(page_of(site))

    assert site.name in answer.text
    assert other.name not in answer.text
    assert "Make the review pack" not in answer.text
    assert client.post(page_of(site), {"paper_size": "A4"}).status_code == 403
    assert client.get(pack.get_absolute_url()).status_code == 404
    with pytest.raises(NotAllowed):
        request_review_pack(site.client_id, QUARTER, by=manager)


def test_a_quarter_to_come_is_no_page_and_no_pack(client, site, manager):
    later = Quarter(date(2027, 1, 1))
    client.force_login(manager)

    assert client.get(page_of(site, later)).status_code == 404
    with pytest.raises(Unusable, match="has not begun"):
        request_review_pack(site.client_id, later, by=manager)


def test_sites_come_ten_a_page(client, site, manager):
    for number in range(11):
        make_site(client=site.client, name=f"House {number:02}")
    client.force_login(manager)

    first, second = (client.get(page_of(site), {"page": number}) for number in (1, 2))

    assert first.text.count("<article") == 10
    assert second.text.count("<article") == 2
    assert "12 sites together" in second.text


def test_no_more_queries_for_more_sites(client, site, manager, django_assert_max_num_queries):
    make_action("checked", site=site)
    client.force_login(manager)
    with django_assert_max_num_queries(30) as few:
        client.get(page_of(site))
    for _ in range(3):
        other = make_site(client=site.client, zones=1)
        make_action("checked", site=other)
        make_action("priced", site=other)

    with django_assert_max_num_queries(len(few)):
        client.get(page_of(site))


# --- the pack -----------------------------------------------------------------------------------


def test_the_pack_says_what_the_page_says(client, site, manager, asked):
    make_action("checked", site=site, title="Fit a bristle strip", at=NOW - timedelta(days=10))
    caught(site)

    assert build_review_packs() == 1

    asked.refresh_from_db()
    pdf = asked.file.read()
    reader = PdfReader(BytesIO(pdf))
    words = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    assert (asked.state, asked.sha256) == (State.READY, hashlib.sha256(pdf).hexdigest())
    assert asked.pages == len(reader.pages) >= 2
    for said in (
        site.client.name,
        site.name,
        "Review of quarter 3 of 2026",
        "Kept on time",
        "What sealing has saved so far",
        "Fit a bristle strip",
        "Not yet known",
        "12 individuals in the quarter",
    ):
        assert said in words, said
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    assert verbs(asked) == ["review_pack.requested", "review_pack.built"]


def test_asking_on_the_page_leads_to_the_pack_and_its_download(client, site, manager):
    client.force_login(manager)

    answer = client.post(page_of(site), {"paper_size": "letter"})

    pack = ReviewPack.objects.get()
    assert answer.url == pack.get_absolute_url()
    download = reverse("compliance:review_pack_download", args=[pack.pk])
    assert client.get(download).status_code == 302
    assert build_review_pack(pack.pk)
    got = client.get(download)
    assert b"".join(got.streaming_content).startswith(b"%PDF")
    assert verbs(pack)[-1] == "review_pack.downloaded"
    listed = client.get(reverse("compliance:review_quarters", args=[site.client_id]))
    pack.refresh_from_db()
    assert pack.sha256 in listed.text


def test_asking_twice_gives_the_one_that_is_under_way(site, manager, asked):
    assert request_review_pack(site.client_id, QUARTER, by=manager) == asked
    assert verbs(asked) == ["review_pack.requested"]


def test_a_pack_is_built_once_and_by_one_job(asked):
    assert build_review_pack(asked.pk)
    assert not build_review_pack(asked.pk)
    assert build_review_packs() == 0


def test_a_silent_builder_loses_the_pack_after_its_lease(asked, clock):
    ReviewPack.objects.update(state=State.BUILDING, attempts=1, lease_until=NOW + LEASE)
    assert build_review_packs() == 0

    clock.shift(LEASE + timedelta(seconds=1))

    assert build_review_packs() == 1


def test_a_pack_that_failed_too_often_is_given_up_with_a_sentence(asked):
    ReviewPack.objects.update(attempts=MOST_ATTEMPTS)

    assert build_review_packs() == 0

    asked.refresh_from_db()
    assert asked.state == State.FAILED
    assert "failed several times" in asked.problem
    assert verbs(asked)[-1] == "review_pack.failed"


def test_only_a_ready_pack_is_taken_away(asked, manager):
    with pytest.raises(ReviewPack.DoesNotExist):
        note_download(asked.pk, by=manager)


def test_carrying_on_is_no_sealing(site, manager):
    make_action("decided", site=site, manager=manager)

    assert CorrectiveAction.objects.get().options.filter(kind=ActionOption.Kind.LASTING).exists()
    assert only(site).sealed == ()
