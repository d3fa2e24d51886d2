"""The quarterly review of trends: written by somebody competent, signed, and what it closes."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse
from django.utils import timezone

from accounts.models import Branch, TrailEntry
from accounts.refusals import NotAllowed, WrongState
from accounts.services.competences import add_competence, withdraw_competence
from compliance.models import Alarm, PlaceMonth, TrendReview
from compliance.quarters import Quarter, due_quarters, ended_quarters, quarter_of
from compliance.queries.counts import set_aside
from compliance.queries.reviews import quarters_of, review_sheet
from compliance.services.signing import Proof
from compliance.services.trend_reviews import (
    Explained,
    NotCompetent,
    SheetMoved,
    sign_review,
    trouble_of,
)
from tests.builders.accounts import (
    PASSWORD,
    make_auditor,
    make_client,
    make_manager,
    make_office,
    make_technician,
)
from tests.builders.compliance import (
    give_pass,
    make_counts,
    make_monthly_counts,
    make_review,
)
from tests.builders.sites import make_monitor, make_site
from tests.builders.visits import make_competence_kind

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 11, 20, 9, 0, tzinfo=UTC)
SUMMER = Quarter(date(2026, 7, 1))
# A year of next to nothing, and then the third quarter of 2026.
CAUGHT = [0, 1, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 2, 14, 22, 9]


def make_watched_site(placed_on):
    """A site of one zone with one sticky trap."""
    site = make_site(zones=1)
    make_monitor(site.zones.get(), kind="sticky", placed_on=placed_on)
    return site


@pytest.fixture
def office(db):
    person = make_office()
    add_competence(
        person.pk,
        by=make_office(),
        kind=make_competence_kind(name="Licence", issuer="Town"),
        number="L-7",
        valid_from=date(2025, 1, 1),
        valid_until=date(2027, 1, 1),
    )
    return person


@pytest.fixture
def site(db):
    return make_watched_site(date(2025, 1, 1))


@pytest.fixture
def alarms(site):
    monitor = site.monitors.get()
    make_monthly_counts(monitor, "german-cockroach", CAUGHT, last=date(2026, 10, 12), judged_at=NOW)
    found = list(Alarm.objects.filter(site=site, month__lte=SUMMER.last).order_by("month"))
    assert found
    return found


def signed(site, by, **more):
    told = {
        "seen": "German cockroaches behind the range.",
        "cause": "A gap round the gas pipe.",
        "plan": "Sealed on 3 October; gel until then.",
        "explained": {},
        "shown_hash": review_sheet(site, SUMMER).hash,
        "proof": Proof("password"),
        "at": NOW,
        **more,
    }
    return sign_review(site.pk, told.pop("quarter", SUMMER), by=by, **told)


# --- quarters -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("day", "first"),
    [
        (date(2026, 1, 1), date(2026, 1, 1)),
        (date(2026, 3, 31), date(2026, 1, 1)),
        (date(2024, 2, 29), date(2024, 1, 1)),
        (date(2026, 12, 31), date(2026, 10, 1)),
    ],
)
def test_a_day_lies_in_its_quarter(day, first):
    assert quarter_of(day).first == first


def test_a_quarter_ends_the_day_before_the_next_and_is_due_thirty_days_later():
    assert SUMMER.last == date(2026, 9, 30)
    assert SUMMER.due_on == date(2026, 10, 30)
    assert str(SUMMER) == "quarter 3 of 2026"


def test_quarters_that_are_over_come_newest_first_across_a_new_year():
    assert [one.first for one in ended_quarters(date(2026, 2, 1), 2)] == [
        date(2025, 10, 1),
        date(2025, 7, 1),
    ]


@pytest.mark.parametrize(
    ("today", "latest"),
    [(date(2026, 10, 30), date(2026, 4, 1)), (date(2026, 10, 31), date(2026, 7, 1))],
)
def test_a_review_is_late_from_the_day_after_its_day(today, latest):
    assert due_quarters(today, 3)[-1].first == latest


# --- signing --------------------------------------------------------------------------------------


def test_a_signed_review_closes_the_alarms_that_it_explains(site, office, alarms, trail):
    why = Explained("The gap round the gas pipe.", set_aside=True)

    review = signed(site, office, explained={alarms[0].pk: why})

    alarms[0].refresh_from_db()
    assert (alarms[0].state, alarms[0].review, alarms[0].set_aside) == ("explained", review, True)
    assert alarms[0].explanation == "The gap round the gas pipe."
    others = Alarm.objects.filter(pk__in=[one.pk for one in alarms[1:]])
    assert {one.state for one in others} <= {"open"}
    assert review.competence == "Licence L-7"
    assert trouble_of(review) == ""
    assert trail()[-1] == "trend_review.signed"
    entry = TrailEntry.objects.get(verb="trend_review.signed")
    assert entry.stream_id == f"site:{site.pk}"
    assert entry.facts == {
        "quarter": "2026-07-01",
        "number": 1,
        "content_hash": review.content_hash,
        "explained": 1,
    }


def test_months_that_are_set_aside_reach_whoever_judges(site, office, alarms):
    why = Explained("The gap round the gas pipe.", set_aside=True)
    signed(site, office, explained={alarms[0].pk: why})

    place = alarms[0].zone_id or alarms[0].site_id
    month = (alarms[0].month.year, alarms[0].month.month)
    assert set_aside() == [(str(place), "german-cockroach", month)]


def test_the_same_review_sent_twice_is_one(site, office, alarms):
    first = signed(site, office)

    assert signed(site, office).pk == first.pk
    assert TrendReview.objects.count() == 1


def test_the_same_words_under_another_alarm_are_another_review(site, office, alarms):
    first = signed(site, office)

    second = signed(site, office, explained={alarms[0].pk: Explained("A gap.")})

    assert second.number == first.number + 1
    alarms[0].refresh_from_db()
    assert alarms[0].state == "explained"


def test_a_review_that_explains_alarms_sent_twice_is_one(site, office, alarms):
    more = {
        "explained": {alarms[0].pk: Explained("A gap.")},
        "shown_hash": review_sheet(site, SUMMER).hash,
    }

    assert signed(site, office, **more).pk == signed(site, office, **more).pk
    assert TrendReview.objects.count() == 1


def test_a_second_review_of_a_quarter_stands_beside_the_first(site, office, alarms):
    first = signed(site, office)

    second = signed(site, office, seen="Looked at again.")

    assert [first.number, second.number] == [1, 2]


def test_who_holds_no_competence_that_day_signs_nothing(site, office, alarms):
    withdraw_competence(
        office.competences.get().pk, by=make_office(), on=NOW.date(), reason="Lapsed."
    )

    with pytest.raises(NotCompetent, match="None of yours is valid today"):
        signed(site, office)

    assert not TrendReview.objects.exists()


def test_a_manager_of_the_client_reviews_no_trends(site, alarms):
    with pytest.raises(NotAllowed):
        signed(site, make_manager(client=site.client))


def test_a_quarter_that_is_not_over_cannot_be_reviewed(site, office, alarms):
    running = Quarter(date(2026, 10, 1))

    with pytest.raises(WrongState, match="not over"):
        signed(site, office, quarter=running, shown_hash=review_sheet(site, running).hash)


def test_figures_that_moved_while_somebody_wrote_are_not_signed(site, office, alarms):
    shown = review_sheet(site, SUMMER).hash
    make_counts(
        site, {site.monitors.get(): {date(2026, 9, 28): {"german-cockroach": 3}}}, judged_at=NOW
    )

    with pytest.raises(SheetMoved):
        signed(site, office, shown_hash=shown)

    assert not TrendReview.objects.exists()


def test_another_sites_alarm_is_not_explained_here(site, office, alarms):
    elsewhere = make_watched_site(date(2025, 1, 1))
    make_monthly_counts(
        elsewhere.monitors.get(), "german-cockroach", CAUGHT, last=date(2026, 10, 12), judged_at=NOW
    )
    theirs = Alarm.objects.filter(site=elsewhere, month__lte=SUMMER.last).first()
    assert theirs

    with pytest.raises(SheetMoved):
        signed(site, office, explained={theirs.pk: Explained("Not here.")})

    theirs.refresh_from_db()
    assert theirs.state == "open"


def test_an_alarm_of_a_later_quarter_waits_for_its_own_review(site, office, alarms):
    later = Alarm.objects.filter(site=site, month__gt=SUMMER.last).first()
    assert later

    with pytest.raises(SheetMoved):
        signed(site, office, explained={later.pk: Explained("Too early.")})


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("content", "{}", "no longer fits its hash"),
        ("seen", "All was well.", "no longer those that were signed"),
        ("signed_name", "Somebody else", "no longer those that were signed"),
    ],
)
def test_a_review_that_was_altered_is_found(site, office, alarms, field, value, words):
    review = signed(site, office)
    call_command("verify_reviews")
    TrendReview.objects.filter(pk=review.pk).update(**{field: value})
    review.refresh_from_db()

    assert words in trouble_of(review)
    with pytest.raises(CommandError, match="1 signed review does not stand"):
        call_command("verify_reviews")


# --- the quarters of a site -----------------------------------------------------------------------


def test_a_sites_quarters_say_what_is_signed_what_is_late_and_what_has_nothing(
    site, office, alarms, django_assert_num_queries
):
    signed(site, office)

    with django_assert_num_queries(2):
        lines = quarters_of(site, office, today=date(2026, 11, 20))

    words = {line.quarter.first: line.words for line in lines}
    assert words[date(2026, 7, 1)] == "Signed"
    assert words[date(2026, 4, 1)] == "Late"
    assert words[date(2024, 10, 1)] == "Nothing to review"


# --- pages ----------------------------------------------------------------------------------------


@pytest.fixture
def now_site(db):
    """A site whose last quarter had counts, by today's calendar."""
    site = make_watched_site(timezone.now().date() - timedelta(days=900))
    last = ended_quarters(timezone.now().date(), 1)[0].last
    make_monthly_counts(
        site.monitors.get(), "german-cockroach", CAUGHT, last=last, judged_at=timezone.now()
    )
    return site


@pytest.fixture
def reviewer(client, now_site):
    person = make_office()
    add_competence(
        person.pk,
        by=make_office(),
        kind=make_competence_kind(),
        valid_from=timezone.now().date() - timedelta(days=9),
    )
    client.force_login(person)
    return person


def new_address(site):
    quarter = ended_quarters(timezone.now().date(), 1)[0]
    return reverse("compliance:trend_review_new", args=[site.pk, f"{quarter.first:%Y-%m}"])


def typed(page, **more):
    form = page.context["form"]
    return {
        "seen": "More German cockroaches, from one nest.",
        "cause": "",
        "plan": "Gel, and the gap is sealed.",
        "shown_hash": form["shown_hash"].value(),
        "password": PASSWORD,
        **more,
    }


def test_a_review_is_written_signed_and_read(client, now_site, reviewer):
    page = client.get(new_address(now_site))
    key = page.context["form"]._places[0].key
    answer = client.post(
        new_address(now_site),
        typed(page, **{f"why_{key}": "A nest in the motor housing.", f"aside_{key}": "on"}),
        follow=True,
    )

    review = TrendReview.objects.get()
    assert answer.redirect_chain[-1][0] == reverse("compliance:trend_review", args=[review.pk])
    body = answer.content.decode()
    assert "More German cockroaches, from one nest." in body
    assert "A nest in the motor housing." in body
    assert "Left out of what is usual" in body
    assert "Stands as signed" in body


def test_a_wrong_password_signs_nothing_and_loses_no_word(client, now_site, reviewer):
    page = client.get(new_address(now_site))

    answer = client.post(new_address(now_site), typed(page, password="not it"))

    assert answer.status_code == 422
    body = answer.content.decode()
    assert "That is not your password" in body
    assert "More German cockroaches, from one nest." in body
    assert not TrendReview.objects.exists()


def test_an_outbreak_is_not_set_aside_without_a_word(client, now_site, reviewer):
    page = client.get(new_address(now_site))
    key = page.context["form"]._places[0].key

    answer = client.post(new_address(now_site), typed(page, **{f"aside_{key}": "on"}))

    assert answer.status_code == 422
    assert "Say what the outbreak was." in answer.content.decode()


def test_figures_that_moved_come_back_with_the_words_that_were_typed(client, now_site, reviewer):
    page = client.get(new_address(now_site))

    answer = client.post(new_address(now_site), typed(page, shown_hash="0" * 64))

    body = answer.content.decode()
    assert "The figures changed while you were writing" in body
    assert "More German cockroaches, from one nest." in body
    again = client.post(new_address(now_site), typed(answer))
    assert again.status_code == 302


def test_ticks_come_back_with_the_words_when_figures_moved(client, now_site, reviewer):
    page = client.get(new_address(now_site))
    why, aside = (f"{part}_{page.context['form']._places[0].key}" for part in ("why", "aside"))
    told = {why: "A nest in the motor housing.", aside: "on", "cause": "Warm there."}

    moved = client.post(new_address(now_site), typed(page, shown_hash="0" * 64, **told))

    form = moved.context["form"]
    assert [form[name].value() for name in (why, aside, "cause")] == [
        "A nest in the motor housing.",
        True,
        "Warm there.",
    ]
    assert f'name="{aside}"' in moved.content.decode()
    unticked = client.post(
        new_address(now_site), typed(page, shown_hash="0" * 64, **{why: "A nest."})
    )
    assert unticked.context["form"][aside].value() is False


def test_words_about_an_alarm_that_went_meanwhile_are_not_lost(client, now_site, reviewer):
    page = client.get(new_address(now_site))
    why = f"why_{page.context['form']._places[0].key}"
    Alarm.objects.filter(site=now_site).update(state="gone", gone_at=timezone.now())

    moved = client.post(new_address(now_site), typed(page, **{why: "A nest <behind> the oven."}))

    assert "A nest &lt;behind&gt; the oven." in moved.content.decode()
    wrong = client.post(
        new_address(now_site),
        typed(moved, password="not it", **{why: "A nest <behind> the oven."}),
    )
    assert "A nest &lt;behind&gt; the oven." in wrong.content.decode()
    right = client.post(new_address(now_site), typed(moved, **{why: "A nest <behind> the oven."}))
    assert right.status_code == 302
    assert not TrendReview.objects.get().alarms.exists()


def test_figures_that_move_at_the_last_moment_are_shown_as_they_stand(
    client, now_site, reviewer, monkeypatch
):
    page = client.get(new_address(now_site))

    def moves(*args, **kwargs):
        PlaceMonth.objects.filter(site=now_site).update(words="Judged anew.")
        return sign_review(*args, **kwargs)

    monkeypatch.setattr("compliance.views.trend_reviews.sign_review", moves)
    answer = client.post(new_address(now_site), typed(page))

    assert answer.status_code == 422
    body = answer.content.decode()
    assert body.count("The figures changed while you were writing") == 1
    assert "Judged anew." in body
    assert "More German cockroaches, from one nest." in body
    monkeypatch.undo()
    assert client.post(new_address(now_site), typed(answer)).status_code == 302


def test_a_form_sent_twice_leads_to_the_one_review(client, now_site, reviewer):
    page = client.get(new_address(now_site))
    sent = typed(page, **{f"why_{page.context['form']._places[0].key}": "A nest."})

    first = client.post(new_address(now_site), sent)
    again = client.post(new_address(now_site), sent)

    assert (again.status_code, again["Location"]) == (302, first["Location"])
    assert TrendReview.objects.count() == 1


def test_who_is_not_competent_is_told_who_can_sign(client, now_site):
    client.force_login(make_office())

    body = client.get(new_address(now_site)).content.decode()

    assert "none of yours is valid today" in body
    assert "Sign the review" not in body


@pytest.mark.parametrize("month", ["banana", "2026-13", "2020-02", "2999-01", "9999-10"])
def test_only_ended_quarters_have_a_page(client, now_site, reviewer, month):
    url = reverse("compliance:trend_review_new", args=[now_site.pk, month])

    assert client.get(url).status_code == 404


def test_a_signed_review_shows_the_figures_as_they_stood(client, now_site, reviewer):
    review = make_review(now_site, by=reviewer)
    url = reverse("compliance:trend_review", args=[review.pk])
    before = client.get(url).context["figures"]
    PlaceMonth.objects.filter(site=now_site).update(count=77)

    assert {one["count"] for one in before} == {22, 14, 9}
    assert client.get(url).context["figures"] == before
    TrendReview.objects.filter(pk=review.pk).update(content="no text of ours")
    assert client.get(url).context["figures"] == []


def test_a_client_reads_its_own_reviews_and_no_others(client, now_site, reviewer):
    review = make_review(now_site, by=reviewer)
    url = reverse("compliance:trend_review", args=[review.pk])

    client.force_login(make_manager(client=now_site.client))
    assert client.get(url).status_code == 200
    client.force_login(make_manager(client=make_client()))
    assert client.get(url).status_code == 404


def test_an_auditor_sees_no_review_of_a_quarter_before_the_pass(client, now_site, reviewer):
    last, before = ended_quarters(timezone.now().date(), 2)
    reviews = {one: make_review(now_site, by=reviewer, quarter=one) for one in (last, before)}
    auditor = make_auditor()
    give_pass(auditor, now_site, period_from=last.first, period_to=last.last)
    client.force_login(auditor)

    seen = {
        one: client.get(reverse("compliance:trend_review", args=[review.pk])).status_code
        for one, review in reviews.items()
    }

    assert seen == {last: 200, before: 404}
    listed = client.get(reverse("compliance:trend_reviews", args=[now_site.pk])).content.decode()
    assert str(reviews[last].pk) in listed
    assert str(reviews[before].pk) not in listed
    assert client.get(new_address(now_site)).status_code == 403


def _of_another_branch(site):
    site.branch = Branch.objects.create(name="North")
    site.save()
    person = make_office()
    person.branches.add(Branch.objects.create(name="South"))
    return person


@pytest.mark.parametrize("who", [lambda site: make_technician(), _of_another_branch])
def test_nobody_signs_for_a_site_that_is_not_theirs(client, now_site, who):
    person = who(now_site)
    add_competence(
        person.pk,
        by=make_office(),
        kind=make_competence_kind(),
        valid_from=timezone.now().date() - timedelta(days=9),
    )

    client.force_login(person)
    assert client.get(new_address(now_site)).status_code == 404
    assert client.post(new_address(now_site), {}).status_code == 404
    with pytest.raises(NotAllowed):
        make_review(now_site, by=person)
