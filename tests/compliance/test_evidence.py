"""The evidence list: every item has its source, and stands as the record says."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.core.files.base import ContentFile
from django.urls import reverse

from compliance.evidence import ITEMS, Confirmed, Standing
from compliance.quarters import Quarter
from compliance.queries.auditor import read_sites, sites_to_read
from compliance.queries.evidence import SECTIONS, Period, evidence_of, usual_period
from compliance.services.actions import raise_actions_of_visit
from sites.models import Contact, Document, Site, SitePlan
from sites.services.documents import withdraw_document
from tests.builders.accounts import make_office, make_technician
from tests.builders.compliance import make_action, make_closed_visit, make_review
from tests.builders.files import pdf_bytes
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import (
    local,
    make_competence,
    make_competence_kind,
    make_contract,
    make_line,
    make_product,
    make_visit,
    treatment_given,
)
from visits.models import Finding, NotReached, Visit, WhoseMove
from visits.services.booking import take_call_out
from visits.services.labels import Papers, enter_label
from visits.services.readings import enter_readings
from visits.services.recording import (
    FindingGiven,
    NotReachedGiven,
    ReadingGiven,
    apply_treatment,
    record_finding,
)

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 6, 10, 12, 0, tzinfo=UTC)
TODAY = date(2026, 6, 10)


@pytest.fixture
def site() -> Site:
    return make_site()


def line(site, key, *, period=None, now=NOON):
    periods = {site.pk: period or usual_period(TODAY)}
    return next(
        one for one in evidence_of([site], periods, now=now)[site.pk] if one.item.key == key
    )


def stands(site, key, **how) -> Standing:
    return line(site, key, **how).standing


def paper(site, kind, **fields) -> Document:
    document = Document(
        site=site,
        kind=kind,
        title=fields.pop("title", "A paper"),
        mime="application/pdf",
        size=1,
        sha256="0" * 64,
        uploaded_by=make_office(),
        **fields,
    )
    document.file.save("x.pdf", ContentFile(b"x"))
    return document


# --- the list itself ----------------------------------------------------------------------------


def test_every_item_says_what_is_asked_and_by_which_text():
    keys = [item.key for item in ITEMS]

    assert len(keys) == len(set(keys))
    for item in ITEMS:
        assert item.title, item.key
        assert item.asks.endswith("."), item.key
        assert item.sources, item.key


def test_a_source_that_was_not_read_says_so():
    for item in ITEMS:
        for source in item.sources:
            if source.confirmed is not Confirmed.TEXT_SEEN:
                assert "source not confirmed" in str(source)


def test_what_is_judged_leads_to_a_section_and_what_is_not_kept_says_so(site):
    lines = evidence_of([site], {site.pk: usual_period(TODAY)}, now=NOON)[site.pk]

    for one in lines:
        assert (one.standing is Standing.NOT_KEPT) == (one.item.key not in SECTIONS)
        assert bool(one.url) == (one.item.key in SECTIONS)


def test_the_worst_comes_first(site):
    make_contract(site, starts_on=date(2026, 1, 1), ends_on=date(2026, 2, 1))

    order = list(Standing)
    found = [
        order.index(one.standing)
        for one in evidence_of([site], {site.pk: usual_period(TODAY)}, now=NOON)[site.pk]
    ]

    assert found == sorted(found)
    assert found[0] == 0


# --- contract, people, plan ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "contract", "scope"),
    [
        pytest.param(None, "missing", "missing", id="none"),
        pytest.param({"scope": ""}, "current", "missing", id="no scope"),
        pytest.param({"scope": "Rodents, insects"}, "current", "current", id="in force"),
        pytest.param(
            {"scope": "Rodents", "ends_on": date(2026, 6, 9)},
            "not_current",
            "not_current",
            id="ended yesterday",
        ),
        pytest.param({"scope": "Rodents", "ends_on": TODAY}, "current", "current", id="ends today"),
        pytest.param(
            {"scope": "Rodents", "starts_on": date(2026, 6, 11)},
            "not_current",
            "not_current",
            id="starts tomorrow",
        ),
    ],
)
def test_contract_and_scope(site, fields, contract, scope):
    if fields is not None:
        make_contract(site, **fields)

    assert (stands(site, "contract"), stands(site, "scope")) == (contract, scope)


def test_how_often_is_there_while_a_line_runs(site):
    contract = make_contract(site)
    assert stands(site, "frequency") == "missing"

    line_agreed = make_line(contract, first_on=date(2026, 2, 3), now=NOON)
    assert stands(site, "frequency") == "current"

    type(line_agreed).objects.filter(pk=line_agreed.pk).update(last_on=date(2026, 5, 1))
    assert stands(site, "frequency") == "not_current"


def test_a_named_manager_of_the_premises(site):
    Contact.objects.create(site=site, name="Head chef")
    assert stands(site, "responsible") == "missing"

    Contact.objects.create(site=site, name="Noor Haddad", is_premises_manager=True)
    found = line(site, "responsible")
    assert (found.standing, found.why) == ("current", "Noor Haddad.")


def test_the_plan_shows_every_standing_monitor(site):
    zone = make_zone(site)
    first, second = make_monitor(zone), make_monitor(zone)
    assert stands(site, "plan") == "missing"

    plan = SitePlan.objects.create(
        site=site, title="Ground", mime="image/png", sha256="0" * 64, width=10, height=10
    )
    type(first).objects.filter(pk=first.pk).update(plan=plan, x=0.5, y=0.5)
    found = line(site, "plan")
    assert (found.standing, found.why) == ("not_current", "1 of 2 monitors not marked on it.")

    type(first).objects.filter(pk=second.pk).update(removed_on=date(2026, 5, 1))
    assert stands(site, "plan") == "current"

    SitePlan.objects.filter(pk=plan.pk).update(retired_on=date(2026, 6, 1))
    assert stands(site, "plan") == "missing"


# --- visits -------------------------------------------------------------------------------------


def test_visits_made_late_or_not_at_all_are_said(site):
    assert stands(site, "on_time") == "nothing_to_show"

    make_closed_visit(site, due_on=date(2026, 3, 10))
    assert stands(site, "on_time") == "current"

    late = make_closed_visit(site, due_on=date(2026, 4, 10))
    Visit.objects.filter(pk=late.pk).update(booked_on=date(2026, 4, 20))
    make_visit(site, due_on=date(2026, 5, 10))
    found = line(site, "on_time")
    assert (found.standing, found.why) == ("not_current", "Of 3 visits due: 1 late, 1 not made.")


def test_only_the_period_counts(site):
    make_visit(site, due_on=date(2026, 2, 10))
    march = Period(date(2026, 3, 1), date(2026, 3, 31))
    make_closed_visit(site, due_on=date(2026, 3, 31))

    assert stands(site, "on_time", period=march) == "current"
    assert stands(site, "on_time") == "not_current"


def test_a_window_that_is_still_open_is_not_missed(site):
    make_visit(site, due_on=TODAY - timedelta(days=3))

    assert stands(site, "on_time") == "nothing_to_show"


def test_reports_are_whole_when_sealed_and_signed(site):
    visit = make_closed_visit(site, due_on=date(2026, 3, 10))
    assert stands(site, "reports") == "current"

    Visit.objects.filter(pk=visit.pk).update(no_signature_reason="")
    assert stands(site, "reports") == "not_current"


def test_a_place_shut_twice_running_is_not_reached(site):
    zone = make_zone(site)
    shut = NotReachedGiven(
        reason=NotReached.Reason.LOCKED, whose_move=WhoseMove.CLIENT, zone_id=zone.pk
    )
    make_closed_visit(site, due_on=date(2026, 3, 10), not_reached=[shut])
    assert stands(site, "reached") == "current"

    make_closed_visit(site, due_on=date(2026, 4, 10), not_reached=[shut])
    assert stands(site, "reached") == "not_current"


def test_call_outs_are_answered_in_time_or_not(site):
    call_out = take_call_out(
        site.pk,
        by=make_office(),
        reported_at=NOON - timedelta(days=5),
        problem="Rat seen",
        reported_by="Chef",
    )
    assert stands(site, "sightings") == "not_current"
    assert stands(site, "sightings", now=call_out.respond_by) == "nothing_to_show"

    Visit.objects.filter(pk=call_out.pk).update(started_at=call_out.respond_by)
    assert stands(site, "sightings") == "current"


def test_competent_on_the_day_and_for_what_was_asked(site):
    """A licence that lapsed between the visit and the audit is fine; one lapsed that day is not."""
    technician = make_technician()
    visit = make_closed_visit(site, due_on=date(2026, 3, 10), technician=technician)
    assert stands(site, "competence") == "missing"

    held = make_competence(technician, make_competence_kind(), valid_until=date(2026, 3, 10))
    assert stands(site, "competence") == "current"

    wanted = make_competence_kind()
    contract = make_contract(site)
    asked = make_line(contract, first_on=date(2026, 2, 3), now=NOON, competences=[wanted])
    Visit.objects.filter(pk=visit.pk).update(line=asked)
    assert stands(site, "competence") == "missing"

    make_competence(technician, wanted)
    assert stands(site, "competence") == "current"

    type(held).objects.filter(person=technician).update(valid_until=date(2026, 3, 9))
    assert stands(site, "competence") == "missing"


# --- findings, actions, treatments, papers ------------------------------------------------------


def test_findings_lead_to_actions(site):
    zone = make_zone(site)
    assert stands(site, "findings") == "nothing_to_show"

    visit = make_visit(site, due_on=date(2026, 3, 10), state=Visit.State.UNDER_WAY)
    given = FindingGiven(
        zone_id=zone.pk,
        kind=Finding.Kind.HARBOURAGE,
        remedy_kind="housekeeping",
        remedy="Empty the void",
        whose_move=WhoseMove.CLIENT,
    )
    record_finding(visit.pk, by=visit.technician, at=local(visit, 9, 30), finding=given)
    Visit.objects.filter(pk=visit.pk).update(
        state="closed", closed_at=NOON, seal="0" * 64, seal_number=1
    )
    assert stands(site, "findings") == "missing"

    raise_actions_of_visit(visit.pk)
    assert stands(site, "findings") == "current"


def test_actions_past_their_day(site):
    assert stands(site, "closed_actions") == "nothing_to_show"
    make_action(site=site, at=NOON - timedelta(days=1))
    assert stands(site, "closed_actions") == "current"

    make_action(site=site, at=NOON - timedelta(days=30))
    assert stands(site, "closed_actions") == "not_current"


def test_proofing_is_proven_once_it_is_checked(site):
    make_action("decided", site=site)
    assert stands(site, "proofing") == "nothing_to_show"
    make_action("done", site=site)
    assert stands(site, "proofing") == "not_current"
    make_action("checked", site=make_site())
    assert stands(make_action("checked").site, "proofing") == "current"


def test_treatments_want_record_label_and_data_sheet(site):
    zone, product = make_zone(site), make_product(name="Demo gel 0.5")
    technician = make_technician()
    make_competence(technician, make_competence_kind(), number="L-17")
    visit = make_visit(
        site, due_on=date(2026, 3, 10), state=Visit.State.UNDER_WAY, technician=technician
    )
    keys = ("treatments", "labels", "safety_data_sheets", "precautions")
    assert {stands(site, key) for key in keys} == {"nothing_to_show"}

    given = treatment_given(zone, product, started_at=local(visit, 9, 15))
    apply_treatment(visit.pk, by=technician, at=local(visit, 9, 30), treatment=given)
    Visit.objects.filter(pk=visit.pk).update(
        state="closed", closed_at=NOON, seal="0" * 64, seal_number=1
    )
    assert [stands(site, key) for key in keys] == ["current", "missing", "missing", "current"]
    assert "Demo gel 0.5" in line(site, "labels").why

    paper(site, Document.Kind.LABEL, title="Label of DEMO GEL 0.5")
    paper(None, Document.Kind.SAFETY_DATA_SHEET, title="Demo gel 0.5, safety data sheet")
    assert [stands(site, key) for key in keys] == ["current"] * 4


@pytest.mark.parametrize(
    ("sheet_on", "standing"),
    [
        (None, "current"),
        (date(2021, 6, 10), "current"),
        (date(2021, 6, 9), "not_current"),
    ],
)
def test_papers_of_the_product_itself_count_whatever_their_title(site, sheet_on, standing):
    office = make_office()
    product = make_product(by=office, safety_data_sheet_on=sheet_on)
    technician = make_technician()
    visit = make_visit(
        site, due_on=date(2026, 3, 10), state=Visit.State.UNDER_WAY, technician=technician
    )
    given = treatment_given(make_zone(site), product, started_at=local(visit, 9, 15))
    apply_treatment(visit.pk, by=technician, at=local(visit, 9, 30), treatment=given)
    Visit.objects.filter(pk=visit.pk).update(
        state="closed", closed_at=NOON, seal="0" * 64, seal_number=1
    )
    keys = ("labels", "safety_data_sheets")
    assert [stands(site, key) for key in keys] == ["missing", "missing"]

    papers = Papers(label=pdf_bytes(), sheet=pdf_bytes(2))
    label = enter_label(
        product.pk, by=office, in_force_from=product.label.in_force_from, papers=papers
    )
    Document.objects.update(title="Scan 17")

    assert [stands(site, key) for key in keys] == ["current", standing]
    withdraw_document(label.sheet_file_id, by=office, reason="The wrong scan.")
    assert stands(site, "safety_data_sheets") == "missing"


@pytest.mark.parametrize(
    ("expires_on", "standing"),
    [(None, "current"), (TODAY, "current"), (TODAY - timedelta(days=1), "not_current")],
)
def test_insurance_of_the_company_counts_for_every_site(site, expires_on, standing):
    assert stands(site, "insurance") == "missing"

    paper(None, Document.Kind.INSURANCE, expires_on=expires_on)

    assert stands(site, "insurance") == standing


def test_another_clients_paper_counts_for_nothing(site):
    paper(make_site(), Document.Kind.INSURANCE)
    other = paper(None, Document.Kind.INSURANCE)
    Document.objects.filter(pk=other.pk).update(client=make_site().client)

    assert stands(site, "insurance") == "missing"


def test_a_survey_and_an_assessment_age_after_a_year(site):
    for kind, key in (
        (Document.Kind.SURVEY, "survey"),
        (Document.Kind.RISK_ASSESSMENT, "risk_assessment"),
    ):
        assert stands(site, key) == "missing"
        old = paper(site, kind, issued_on=TODAY - timedelta(days=366))
        assert stands(site, key) == "not_current"
        Document.objects.filter(pk=old.pk).update(issued_on=TODAY - timedelta(days=365))
        assert stands(site, key) == "current"


def test_a_quarter_that_was_read_wants_a_signed_review_after_its_grace(site):
    assert stands(site, "trend_review") == "nothing_to_show"
    monitor = make_monitor(make_zone(site), placed_on=date(2025, 11, 1))
    for day in (date(2026, 1, 12), date(2026, 4, 14)):
        enter_readings(
            site.pk,
            by=make_office(),
            read_on=day,
            readings=[ReadingGiven(monitor_id=monitor.pk)],
            now=NOON,
        )
    on_day = datetime(2026, 4, 30, 12, 0, tzinfo=UTC)
    assert stands(site, "trend_review", now=on_day) == "nothing_to_show"
    assert stands(site, "trend_review") == "missing"
    reviewer = make_office()
    make_competence(reviewer, make_competence_kind(), valid_from=date(2026, 1, 1))

    make_review(site, by=reviewer, quarter=Quarter(date(2026, 1, 1)), at=NOON)

    assert stands(site, "trend_review") == "current"
    assert "The one quarter reviewed" in line(site, "trend_review").why


# --- cost and pages -----------------------------------------------------------------------------


@pytest.mark.parametrize("number", [1, 12])
def test_the_list_costs_the_same_for_one_site_and_for_many(
    office, number, django_assert_num_queries
):
    for _ in range(number):
        site = make_site(zones=2, monitors=2)
        make_contract(site)
        make_closed_visit(site, due_on=date(2026, 3, 10))
        make_action(site=site)
    sites = list(sites_to_read(office))

    with django_assert_num_queries(12):
        assert len(read_sites(office, sites, now=NOON)) == number


def test_the_page_names_sources_and_says_what_is_not_confirmed(client, office, site):
    client.force_login(office)

    page = client.get(reverse("compliance:evidence", args=[site.pk])).content.decode()

    assert "FDA Food Code 2022 6-501.111" in page
    assert "Text seen:" in page
    assert "Source not confirmed:" in page
    assert page.index("Missing") < page.index("Not kept here yet")


def test_a_stranger_finds_no_evidence_and_a_technician_needs_none(
    client, site, manager, technician
):
    address = reverse("compliance:evidence", args=[site.pk])

    client.force_login(manager)
    assert client.get(address).status_code == 404
    client.force_login(technician)
    assert client.get(address).status_code == 403
