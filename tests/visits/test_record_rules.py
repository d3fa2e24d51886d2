"""Which rules hold for the records of a site, and what they make of a record at closing."""

import json
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from accounts.models import Company, TrailEntry
from accounts.refusals import NotAllowed, Unusable
from sites.models import Monitor
from tests.builders.accounts import make_office, make_technician
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import (
    local,
    make_competence,
    make_competence_kind,
    make_product,
    make_visit,
    treatment_given,
)
from visits.application_record import Application, application_of, bait_instants, said_of
from visits.dosing.rules import RULE_SETS, UNION
from visits.models import ChosenRules, LabelRate, Treatment, Visit
from visits.queries.record_rules import rules_at, shown_rules
from visits.services.closing import close_visit
from visits.services.record_rules import choose_rules, choose_rules_at
from visits.services.recording import (
    ContactGiven,
    ReadingGiven,
    apply_treatment,
    record_readings,
)

pytestmark = pytest.mark.django_db

NSW, BC = "au-nsw", "ca-bc"


@pytest.fixture(autouse=True)
def company(db) -> Company:
    return Company.objects.create(name="Fennimore & Tull", address="4 Quay Street")


@pytest.fixture
def licensed() -> object:
    technician = make_technician(phone="01632 960002")
    make_competence(technician, make_competence_kind(), number="PM-104")
    return technician


def open_visit(office, technician, **facts) -> Visit:
    site = facts.pop("site", None)
    if site is None:
        site = make_site(**facts.pop("at", {}))
        make_zone(site, kind="kitchen", name="Kitchen")
    return make_visit(site, state="under_way", by=office, technician=technician, **facts)


def treated(visit: Visit, product=None, *, received_at=None, **facts) -> Treatment:
    given = treatment_given(
        visit.site.zones.first(),
        product or make_product(),
        **{"started_at": local(visit, 9, 40), **facts},
    )
    treatment = apply_treatment(
        visit.pk, by=visit.technician, at=local(visit, 9, 50), treatment=given
    )
    Treatment.objects.filter(pk=treatment.pk).update(received_at=received_at or local(visit, 9, 51))
    return treatment


def closed(visit: Visit, **facts) -> dict:
    """The words that were sealed of the visit's first treatment."""
    close_visit(
        visit.pk,
        by=visit.technician,
        at=local(visit, 10),
        contact=ContactGiven(no_signature_reason="Nobody was there."),
        **{"received_at": local(visit, 10, 5), **facts},
    )
    visit.refresh_from_db()
    return json.loads(visit.sealed_record)["treatments"][0]["words"]


# --- choosing -------------------------------------------------------------------------------------


def test_the_union_holds_until_something_else_is_chosen():
    site = make_site()

    assert rules_at([site.pk]) == {site.pk: UNION}


def test_a_site_goes_by_its_own_rules_and_the_others_by_the_companys(office):
    sydney, leeds = make_site(), make_site()

    choose_rules(BC, by=office)
    choose_rules_at(sydney.pk, NSW, by=office)

    assert rules_at([sydney.pk, leeds.pk]) == {
        sydney.pk: RULE_SETS[NSW],
        leeds.pk: RULE_SETS[BC],
    }


def test_a_site_can_go_by_the_companys_rules_again(office):
    site = make_site()
    choose_rules_at(site.pk, NSW, by=office)

    choose_rules_at(site.pk, "", by=office)

    assert rules_at([site.pk]) == {site.pk: UNION}
    assert not ChosenRules.objects.exists()


def test_the_trail_names_the_rules_and_those_before_them(office):
    site = make_site()
    choose_rules_at(site.pk, NSW, by=office)
    choose_rules_at(site.pk, NSW, by=office)

    (entry,) = TrailEntry.objects.filter(verb="record_rules.chosen")

    assert entry.stream_id == f"site:{site.pk}"
    assert entry.facts["rules"] == RULE_SETS[NSW].title
    assert entry.facts["instead_of"] == "as the company has it"


@pytest.mark.parametrize("slug", ["", "moon", "UNION"])
def test_only_what_is_listed_can_be_chosen(office, slug):
    with pytest.raises(Unusable):
        choose_rules(slug, by=office)

    assert not ChosenRules.objects.exists()
    assert not TrailEntry.objects.filter(verb="record_rules.chosen").exists()


def test_an_administrator_chooses_for_the_company_and_any_office_for_a_site(technician):
    site, clerk = make_site(), make_office()

    with pytest.raises(NotAllowed):
        choose_rules(NSW, by=clerk)
    for nobody in (technician,):
        with pytest.raises(NotAllowed):
            choose_rules_at(site.pk, NSW, by=nobody)
    choose_rules_at(site.pk, NSW, by=clerk)

    assert list(ChosenRules.objects.values_list("site", "rule_set")) == [(site.pk, NSW)]


def test_a_set_that_is_no_longer_known_falls_back_to_the_union():
    site = make_site()
    ChosenRules.objects.create(scope=str(site.pk), site=site, rule_set="of-yesterday")

    assert rules_at([site.pk]) == {site.pk: UNION}


def test_the_page_shows_every_set_with_edition_source_and_what_is_from_memory(office, client):
    client.force_login(office)

    page = client.get(reverse("visits:record_rules")).content.decode()

    for one in RULE_SETS.values():
        for words in (one.title, one.edition, one.source, one.deadline_words):
            assert words.replace("'", "&#x27;") in page
    assert "from memory" in page
    assert "not legal advice" in page


def test_the_pages_choose_for_company_and_site(office, client):
    site = make_site()
    client.force_login(office)

    client.post(reverse("visits:record_rules"), {"rule_set": BC})
    client.post(reverse("visits:site_rules", args=[site.pk]), {"rule_set": NSW})
    refused = client.post(reverse("visits:record_rules"), {"rule_set": "moon"})

    assert dict(ChosenRules.objects.values_list("site", "rule_set")) == {None: BC, site.pk: NSW}
    assert refused.status_code == 422
    again = client.get(reverse("visits:site_rules", args=[site.pk])).content.decode()
    assert f"As for the whole company: {RULE_SETS[BC].title}" in again


def test_only_what_was_read_counts_as_confirmed():
    sure = {shown.rule_set.slug for shown in shown_rules() if shown.is_sure}

    assert sure == {"union", NSW}


# --- judging at closing ---------------------------------------------------------------------------


def test_what_is_missing_is_named_for_the_rules_that_hold_at_the_site(office, licensed):
    """New South Wales asks for equipment and not for a batch, British Columbia for neither."""
    wanting = {"equipment": "", "batch_number": ""}
    found = {}
    for slug in ("union", NSW, BC):
        visit = open_visit(office, licensed)
        choose_rules_at(visit.site_id, slug, by=office)
        treatment = treated(visit, **wanting)
        words = closed(visit)
        treatment.refresh_from_db()
        assert treatment.unsaid == [key for key, _ in words["missing"]]
        assert treatment.is_incomplete is bool(treatment.unsaid)
        assert treatment.rule_set == words["rules"]["slug"] == slug
        found[slug] = treatment.unsaid

    assert found == {"union": ["batch_number", "equipment"], NSW: ["equipment"], BC: []}


def test_the_seal_tells_the_rules_with_edition_and_source(office, licensed):
    visit = open_visit(office, licensed)
    choose_rules_at(visit.site_id, NSW, by=office)
    treated(visit)

    words = closed(visit)

    nsw = RULE_SETS[NSW]
    assert words["rules"] == {
        "slug": NSW,
        "title": nsw.title,
        "edition": nsw.edition,
        "source": nsw.source,
    }


def test_rules_that_are_chosen_later_change_nothing_that_is_sealed(office, licensed):
    visit = open_visit(office, licensed)
    treatment = treated(visit, batch_number="")
    closed(visit)
    sealed = visit.sealed_record

    choose_rules_at(visit.site_id, BC, by=office)

    visit.refresh_from_db()
    treatment.refresh_from_db()
    assert visit.sealed_record == sealed
    assert (treatment.rule_set, treatment.unsaid) == ("union", ["batch_number"])


@pytest.mark.parametrize(
    ("after", "late"), [(timedelta(hours=24), False), (timedelta(hours=24, seconds=1), True)]
)
def test_a_record_is_late_once_the_deadline_of_its_rules_is_past(office, licensed, after, late):
    """Ours: 24 hours after the application ended; it counts when the record reached us."""
    visit = open_visit(office, licensed)
    done = local(visit, 9, 50)
    treatment = treated(visit, finished_at=done, received_at=done + after)

    words = closed(visit, received_at=done + after + timedelta(hours=9))

    treatment.refresh_from_db()
    assert treatment.made_late is words["made_late"] is late
    assert datetime.fromisoformat(words["made_by"]) == done + timedelta(hours=24)
    assert visit.state == Visit.State.CLOSED


def test_the_years_are_counted_from_when_the_record_was_made(office, licensed):
    """New South Wales cl. 37: not less than 3 years after the record was made."""
    visit = open_visit(office, licensed)
    done = local(visit, 9, 50)
    treatment = treated(visit, received_at=done + timedelta(days=40))

    words = closed(visit, received_at=done + timedelta(days=40))

    treatment.refresh_from_db()
    assert visit.booked_on == date(2026, 12, 8)
    assert treatment.keep_until == date(2030, 1, 17)
    assert words["keep_until"] == "2030-01-17"


def test_the_trail_of_a_closing_names_what_is_missing_and_by_which_rules(office, licensed):
    visit = open_visit(office, licensed)
    treated(visit, batch_number="")
    closed(visit)

    entry = TrailEntry.objects.get(verb="visit.closed", target_id=str(visit.pk))

    assert list(entry.facts["left_unsaid"].values()) == [["Batch or lot"]]
    assert entry.facts["by_rules"] == UNION.title


# --- conditional elements -------------------------------------------------------------------------


def asked_and_missing(treatment: Treatment) -> set[str]:
    treatment.refresh_from_db()
    return set(treatment.unsaid)


def test_the_weather_that_a_label_names_is_asked_for(office, licensed):
    visit = open_visit(office, licensed)
    product = make_product()
    product.label.names_weather = True
    product.label.save()
    treatment = treated(visit, product)
    plain = treated(visit)
    closed(visit)

    assert asked_and_missing(treatment) == {"other_weather_if_label"}
    assert asked_and_missing(plain) == set()


def test_whom_somebody_without_a_licence_worked_under_is_asked_for(office, licensed):
    visit = open_visit(office, make_technician())
    alone = treated(visit)
    supervised = treated(visit, supervised_person="Jo Barnes, under Sam Okafor, PM-104")
    closed(visit)

    assert "supervised_person_name" in asked_and_missing(alone)
    assert "supervised_person_name" not in asked_and_missing(supervised)


@pytest.fixture
def baited(office, licensed) -> tuple[Visit, Treatment, Monitor]:
    """Bait that has lain for forty days by the second visit, which lays more."""
    site = make_site()
    outside = make_zone(site, kind="perimeter", name="Perimeter")
    station = make_monitor(outside, kind="bait_station", placed_on=date(2026, 9, 1))
    bait = {
        "method": "bait_station",
        "target": "brown-rat",
        "monitor_id": station.pk,
        "cautions_confirmed": ["carcass_search"],
    }
    block = make_product(formulation="bait_block")
    first = open_visit(office, licensed, site=site, due_on=date(2026, 10, 29))
    treated(first, block, **bait)
    closed(first)
    visit = open_visit(office, licensed, site=site, due_on=date(2026, 12, 8))
    return visit, treated(visit, block, **bait), station


def weighed(visit: Visit, station: Monitor, *, lifted: int, hour: int) -> None:
    record_readings(
        visit.pk,
        by=visit.technician,
        at=local(visit, hour),
        readings=[ReadingGiven(station.pk, bait_lifted_g=Decimal(lifted))],
    )


def facts_of(treatment: Treatment) -> Application:
    row = Treatment.objects.select_related(
        "visit__site__client", "visit__technician", "zone", "monitor", "product", "label", "target"
    ).get(pk=treatment.pk)
    return application_of(row, bait_instants([row])[row.pk])


def test_a_cause_is_asked_for_once_bait_has_lain_for_more_than_35_days(baited):
    """CRRU UK Code 2015, text-seen: on day 36 a cause is documented."""
    visit, treatment, _ = baited
    closed(visit)

    assert asked_and_missing(treatment) == {"cause_if_over_35_days"}
    assert said_of(facts_of(treatment), None)["bait_start_date"] == "29 Oct 2026"


def test_bait_that_is_laid_again_after_it_was_lifted_begins_anew(baited, office, licensed):
    visit, treatment, station = baited
    between = open_visit(office, licensed, site=visit.site, due_on=date(2026, 11, 20))
    weighed(between, station, lifted=60, hour=9)

    said = said_of(facts_of(treatment), None)

    assert said["bait_start_date"] == "8 Dec 2026"
    assert said["bait_end_date"] == ""
    earlier = Treatment.objects.exclude(pk=treatment.pk).get()
    assert said_of(facts_of(earlier), None)["bait_end_date"] == "20 Nov 2026"


def test_where_bait_is_lifted_on_the_same_visit_its_record_says_so(baited):
    visit, treatment, station = baited
    weighed(visit, station, lifted=60, hour=10)

    assert said_of(facts_of(treatment), None)["bait_end_date"] == "8 Dec 2026"


def test_bait_for_ants_asks_for_no_search_for_dead_rodents(office, licensed):
    visit = open_visit(office, licensed)
    treatment = treated(visit, method="bait_station", target="garden-ant")
    closed(visit)

    assert asked_and_missing(treatment) == set()


# --- what is told beside --------------------------------------------------------------------------


def test_the_seal_tells_label_re_entry_and_how_the_amount_was_reckoned(office, licensed):
    """Ours: 0.2 to 0.5 g for each point; 12 points allow 6 g, and 2.5 g are 41.7 % of it."""
    visit = open_visit(office, licensed, at={"time_zone": "Australia/Sydney"})
    product = make_product()
    label = product.label
    label.re_entry_minutes, label.issued_on = 45, date(2026, 2, 1)
    label.save()
    rate = LabelRate.objects.create(
        label=label,
        position=9,
        per=LabelRate.Per.POINT,
        least=Decimal("0.2"),
        most=Decimal("0.5"),
        unit="g",
        per_unit="points",
    )
    done = local(visit, 9, 50)
    treated(visit, product, finished_at=done, label_id=label.pk, rate_id=rate.pk)

    words = closed(visit)

    assert words["label"] == {"number": 1, "issued_on": "2026-02-01"}
    back = datetime.fromisoformat(words["re_entry_at"])
    assert back == (done + timedelta(minutes=45)).astimezone(UTC)
    assert {key: value for key, _, value in words["elements"]}["re_entry_at"] == (
        "Tue 8 Dec 2026, 10:35 (Australia/Sydney)"
    )
    working = " ".join(words["working"])
    assert "6 g of the product at most" in working
    assert "2.5 g is 41.7 % of the most" in working


def test_where_the_label_states_no_minutes_no_instant_is_told(office, licensed):
    visit = open_visit(office, licensed)
    treated(visit)

    words = closed(visit)

    assert words["re_entry_at"] is None
    assert words["working"] == []
