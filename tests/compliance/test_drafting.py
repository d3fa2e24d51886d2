"""Options are drafted from the price list, the contract and the record, and say how."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal as D

import pytest
from django.urls import reverse

from accounts.refusals import Unusable
from compliance.economics.ranges import Range, exactly
from compliance.models import ActionOption, CorrectiveAction, PlaceMonth
from compliance.queries.actions import story_of
from compliance.queries.burden import Attendance, Burden
from compliance.queries.drafting import (
    Chosen,
    Wanted,
    WayWanted,
    a_year_before,
    agreed_prices,
    drafted,
    monthly_of,
    with_workings,
)
from compliance.queries.own_history import OwnHistory
from compliance.queries.sheets import sheet_of
from compliance.services.actions import (
    OptionGiven,
    check_action,
    price_action,
    raise_actions_of_visit,
    report_done,
)
from compliance.services.remedies import end_remedy
from sites.models import Site
from tests.builders.accounts import PASSWORD, make_manager
from tests.builders.compliance import (
    OPTIONS,
    decide,
    make_action,
    make_closed_visit,
    make_counts,
    make_photo,
)
from tests.builders.extra_visits import make_extra_visit
from tests.builders.remedies import make_labour, make_remedy
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import make_contract, make_line
from visits.models import Pest, Visit
from visits.services.recording import FindingGiven

pytestmark = pytest.mark.django_db

TODAY = date(2026, 12, 31)
NOW = datetime(2026, 12, 31, 12, tzinfo=UTC)
CALL_OUT, ROUTINE = Visit.Kind.CALL_OUT, Visit.Kind.ROUTINE


@pytest.fixture
def site():
    """Known for more than a year; two call-outs at 85 treated the kitchen, one the bar."""
    site = make_site(zones=2)
    make_contract(site, call_out_price=D(85), starts_on=date(2025, 1, 1))
    kitchen, bar = site.zones.order_by("pk")
    make_extra_visit(site, date(2025, 6, 2), kind=ROUTINE)
    for day, zone in (((3, 3), kitchen), ((7, 7), kitchen), ((9, 9), bar)):
        make_extra_visit(site, date(2026, *day), kind=CALL_OUT, treated=[zone])
    return site


@pytest.fixture
def action(site, office):
    return make_action(site=site, by=office, zone_id=site.zones.order_by("pk")[0].pk)


@pytest.fixture
def labour():
    return make_labour("45")


def way(*chosen, **fields) -> WayWanted:
    return WayWanted([Chosen(remedy, _range(amount)) for remedy, amount in chosen], **fields)


def _range(value) -> Range:
    return Range(*map(D, value)) if isinstance(value, tuple) else exactly(D(value))


def plug():
    return make_remedy(
        name="Wool plug",
        holds="interim",
        price=D(4),
        minutes=10,
        life_years=1,
        cautions="No sparks.",
    )


# --- the options ----------------------------------------------------------------------------------


def test_lasting_interim_carrying_on_and_nothing_come_in_this_order(action, office, labour):
    wanted = Wanted(
        lasting=way((make_remedy(), 3), effect_percent=80, effect_words="The only way in."),
        interim=way((plug(), 3)),
    )

    drafts = drafted(action, wanted, by=office, now=NOW)

    assert [one.kind for one in drafts] == ["lasting", "interim", "carry_on", "nothing"]
    lasting, interim, carry_on, nothing = (one.fields for one in drafts)
    assert lasting["cost_once"] == D("126.00")  # 3 × 12 + 3 × 40 ÷ 60 × 45
    assert (lasting["cost_once_low"], lasting["cost_once_high"]) == (D("117.00"), D("138.00"))
    assert (lasting["life_years_low"], lasting["life_years"], lasting["life_years_high"]) == (
        10,
        15,
        25,
    )
    assert interim["cost_once"] == D("34.50")  # 3 × 4 + 3 × 10 ÷ 60 × 45
    assert "cost_monthly" not in interim, "nobody said what it saves"
    assert (interim["life_years"], interim.get("life_years_low")) == (1, None)
    assert (carry_on["cost_once"], carry_on["cost_monthly"]) == (0, D("14.17"))  # 170 ÷ 12
    assert (nothing["cost_once"], nothing["cost_monthly"]) == (0, 0)


def test_what_the_work_does_not_save_stays_as_its_monthly_cost(action, office, labour):
    assumed = {"effect_percent": 80, "effect_words": "The only way in."}
    wanted = Wanted(lasting=way((make_remedy(), 3), **assumed))

    lasting, carry_on, _ = drafted(action, wanted, by=office, now=NOW)

    assert lasting.fields["cost_monthly"] == D("2.83")  # a fifth of 14.17
    assert lasting.fields["cost_monthly_high"] == (
        carry_on.fields["cost_monthly_high"] / 5
    ).quantize(D("0.01"))
    assert lasting.fields["effect_basis"] == "assumption"
    assert lasting.fields["effect_words"] == "The only way in."


def test_what_is_drafted_can_be_put_to_the_client_as_it_is(action, office, labour):
    assumed = {"effect_percent": 80, "effect_words": "The only way in."}
    wanted = Wanted(
        lasting=way((make_remedy(), (2, 3, 4)), **assumed),
        interim=way((plug(), 3), effect_percent=30, effect_words="For a while."),
        visit_price=agreed_prices(action.site, TODAY)[0],
    )
    drafts = drafted(action, wanted, by=office, now=NOW)

    given = with_workings([OptionGiven(**one.fields) for one in drafts], drafts)
    price_action(action.pk, by=office, options=given)

    kept = list(action.options.order_by("position"))
    assert [one.kind for one in kept] == ["lasting", "interim", "carry_on", "nothing"]
    assert [bool(one.working) for one in kept] == [True, True, True, False]
    assert not any(one.working.get("otherwise") for one in kept)


def test_visits_for_the_work_are_charged_at_the_contracts_price(action, office, labour):
    price = agreed_prices(action.site, TODAY)[0]
    remedy = make_remedy()
    without = Wanted(lasting=way((remedy, 3), visits=2))
    charged = Wanted(lasting=way((remedy, 3), visits=2), visit_price=price)

    before, after = (
        drafted(action, wanted, by=office, now=NOW)[0].fields["cost_once"]
        for wanted in (without, charged)
    )

    assert after - before == 170
    assert price.words.startswith("Call-out, Contract")


def test_prices_of_the_contracts_in_force_are_offered_and_no_others(site):
    contract = site.contracts.get()
    make_contract(site, call_out_price=D(60), ends_on=date(2026, 6, 30))
    make_line(contract, price=D(94), first_on=date(2026, 12, 1))
    make_line(contract, price=D(0), first_on=date(2026, 12, 1))
    make_line(contract, price=D(70), first_on=date(2027, 2, 2))
    make_contract(make_site(), call_out_price=D(1))

    assert [one.price for one in agreed_prices(site, TODAY)] == [85, 94]


def test_the_part_that_wears_out_first_ends_the_work(action, office, labour):
    strip = make_remedy(name="Strip", price=D(38), life_years=3)
    wanted = Wanted(lasting=way((make_remedy(), 1), (strip, 1)))

    fields = drafted(action, wanted, by=office, now=NOW)[0].fields

    assert (fields["life_years"], fields.get("life_years_low")) == (3, None)


def test_work_that_nothing_wears_out_has_no_life(action, office, labour):
    fields = drafted(
        action, Wanted(lasting=way((make_remedy(life_years=None), 1))), by=office, now=NOW
    )[0].fields

    assert "life_years" not in fields


def test_labour_without_a_price_stops_it_and_says_who_can_help(action, office):
    with pytest.raises(Unusable, match="price of an hour of labour"):
        drafted(action, Wanted(lasting=way((make_remedy(), 1))), by=office, now=NOW)


def test_labour_that_was_taken_off_has_no_price(action, office, labour):
    end_remedy(labour.pk, by=office)

    with pytest.raises(Unusable, match="price of an hour"):
        drafted(action, Wanted(lasting=way((make_remedy(), 1))), by=office, now=NOW)


def test_work_that_takes_no_labour_needs_no_price_of_it(action, office):
    remedy = make_remedy(minutes=0)

    drafts = drafted(action, Wanted(lasting=way((remedy, 2))), by=office, now=NOW)

    assert drafts[0].fields["cost_once"] == 24
    assert drafts[0].working["hour"] is None


def test_doing_nothing_is_left_out_where_it_is_not_wanted(action, office, labour):
    wanted = Wanted(lasting=way((make_remedy(), 1)), with_nothing=False)

    assert [one.kind for one in drafted(action, wanted, by=office, now=NOW)] == [
        "lasting",
        "carry_on",
    ]


# --- carrying on ----------------------------------------------------------------------------------


def burden(money, *, days=365, priced=1):
    one = Attendance(None, CALL_OUT, TODAY, 1, D(1), "")
    return Burden(date(2026, 1, 1), TODAY, days, 0, priced, 0, 0, money, (one,) * priced, (), ())


def test_a_month_is_a_twelfth_of_the_year_within_the_exact_limits_of_the_count():
    """For 3 events the 80 % limits are 1.102 and 6.681: chi-square quantiles at 10 % with 6 and
    at 90 % with 8 degrees of freedom (2.204 and 13.362 in published tables), halved (Garwood 1936).
    """
    monthly = monthly_of(burden(D(360), priced=3))

    assert monthly.likely == D("30.00")
    assert float(monthly.low) == pytest.approx(10 * 2.204 / 2, abs=0.01)
    assert float(monthly.high) == pytest.approx(10 * 13.362 / 2, abs=0.01)


def test_a_shorter_record_is_taken_on_in_proportion():
    assert monthly_of(burden(D(90), days=146)).likely == D("18.75")  # 90 × 365 ÷ 146 ÷ 12


@pytest.mark.parametrize(("days", "known"), [(89, False), (90, True)])
def test_from_less_than_a_quarter_no_month_is_drafted(days, known):
    assert (monthly_of(burden(D(90), days=days)) is not None) is known


def test_no_sum_no_month_and_no_visit_no_range():
    assert monthly_of(burden(None)) is None
    assert monthly_of(burden(D(0), priced=0)) == exactly(D(0))


def test_carrying_on_says_what_was_counted_and_how(action, office, labour):
    carry_on = drafted(action, Wanted(lasting=way((make_remedy(), 1))), by=office, now=NOW)[1]

    assert "2 call-outs, 0 extra visits and 2 treatments" in carry_on.fields["description"]
    assert carry_on.working["money"] == "170.00"
    assert "a twelfth of the sum" in " ".join(carry_on.working["how"])
    assert carry_on.working["missing"] == []


def test_where_nothing_is_known_carrying_on_has_no_price_and_says_so(office, labour):
    action = make_action(by=office)

    carry_on = drafted(action, Wanted(lasting=way((make_remedy(), 1))), by=office, now=NOW)[1]

    assert "cost_monthly" not in carry_on.fields
    assert carry_on.working["days"] == 0
    assert "nothing is known" in carry_on.working["missing"][0]


@pytest.mark.parametrize(
    ("on", "first"),
    [
        (date(2026, 12, 31), date(2026, 1, 1)),
        (date(2027, 2, 28), date(2026, 3, 1)),
        (date(2028, 2, 29), date(2027, 3, 1)),
        (date(2028, 3, 1), date(2027, 3, 2)),
    ],
)
def test_the_twelve_months_end_today(on, first):
    assert a_year_before(on) == first


# --- own history ----------------------------------------------------------------------------------


def raised_from_cockroaches(zone, on: date) -> CorrectiveAction:
    """The proofing that a finding of German cockroaches in a zone has raised."""
    finding = FindingGiven(
        zone.pk,
        "live_pests",
        pest="german-cockroach",
        remedy_kind="proofing",
        whose_move="us",
        remedy="Seal the chase.",
    )
    visit = make_closed_visit(zone.site, due_on=on, findings=[finding])
    raise_actions_of_visit(visit.pk)
    return CorrectiveAction.objects.get(visit=visit)


def show_no_clumps(zone) -> None:
    """A month long judged in which individuals came one by one, as judging would leave it."""
    PlaceMonth.objects.create(
        site=zone.site,
        zone=zone,
        pest=Pest.objects.get(slug="german-cockroach"),
        month=date(2025, 1, 1),
        count=0,
        half_days=60,
        readings=1,
        state=PlaceMonth.State.CALM,
        k=10.0**6,
    )


def make_proofed_site(office, before=12, after=1) -> Site:
    """A site whose pipe chase was sealed and checked; its trap was read weekly around that day."""
    done = date(2026, 6, 15)
    site = make_site()
    zone = make_zone(site)
    trap = make_monitor(zone)
    caught = {
        done + timedelta(days=7 * week): {"german-cockroach": before if week <= 0 else after}
        for week in range(-11, 12)
    }
    make_counts(site, {trap: caught})
    show_no_clumps(zone)
    action = raised_from_cockroaches(zone, done - timedelta(days=5))
    at = datetime(2026, 6, 14, 9, tzinfo=UTC)
    price_action(action.pk, by=office, options=OPTIONS, at=at)
    decide(action, by=make_manager(client=site.client), at=at + timedelta(hours=1))
    photo = make_photo(site, by=office)
    later = datetime(2026, 6, 15, 9, tzinfo=UTC)
    report_done(action.pk, by=office, note="Sealed.", photo_ids=[photo.pk], at=later)
    check_action(action.pk, by=office, password=PASSWORD, at=later + timedelta(hours=1))
    return site


@pytest.fixture
def found(site, office):
    """An action that a finding of German cockroaches has raised."""
    return raised_from_cockroaches(site.zones.order_by("pk")[0], date(2026, 12, 1))


def test_what_was_measured_at_own_sites_is_the_basis_of_the_effect(found, office, labour):
    make_proofed_site(office)

    lasting = drafted(found, Wanted(lasting=way((make_remedy(), 1))), by=office, now=NOW)[0]

    # 144 in 161 trap-days before, 11 in 77 after: 1 - (11 ÷ 77) ÷ (144 ÷ 161) is 84.03 %.
    assert lasting.fields["effect_percent"] == 84
    assert lasting.fields["effect_basis"] == "own_history"
    assert "at 1 site of ours" in lasting.fields["effect_words"]
    assert "is assumed" in lasting.fields["effect_words"]


def test_the_offices_own_assumption_goes_before_what_was_measured(found, office, labour):
    make_proofed_site(office)
    wanted = Wanted(lasting=way((make_remedy(), 1), effect_percent=50, effect_words="Half."))

    fields = drafted(found, wanted, by=office, now=NOW)[0].fields

    assert (fields["effect_percent"], fields["effect_basis"]) == (50, "assumption")


def test_counts_that_leave_it_in_doubt_are_no_basis(found, office, labour):
    make_proofed_site(office, before=2, after=2)

    fields = drafted(found, Wanted(lasting=way((make_remedy(), 1))), by=office, now=NOW)[0].fields

    assert "effect_percent" not in fields
    assert "cost_monthly" not in fields


def test_drafting_keeps_within_the_budget(found, office, labour, django_assert_max_num_queries):
    for _ in range(2):
        make_proofed_site(office)
    wanted = Wanted(lasting=way((make_remedy(), 1)), interim=way((plug(), 1)))
    found = CorrectiveAction.objects.select_related("site__client", "zone").get(pk=found.pk)

    with django_assert_max_num_queries(29):
        drafted(found, wanted, by=office, now=NOW)


def test_own_history_is_told_without_naming_any_site():
    words = OwnHistory(percent=80, least=60, most=92, pieces=3, fewer=2, sites=2).words

    assert words.startswith("After 3 checked pieces of proofing against such pests, at 2 sites of")
    assert "80 % less (in the middle; from 60 to 92 %); 2 of them beyond doubt" in words


# --- kept, shown and signed -----------------------------------------------------------------------


def worked_out(action, office) -> CorrectiveAction:
    assumed = {"effect_percent": 80, "effect_words": "The only way in."}
    wanted = Wanted(lasting=way((make_remedy(name="Mesh in a hole"), 3), **assumed))
    drafts = drafted(action, wanted, by=office, now=NOW)
    given = with_workings([OptionGiven(**one.fields) for one in drafts], drafts)
    return price_action(action.pk, by=office, options=given)


def test_a_working_that_the_office_has_overruled_says_so(action, office, labour):
    drafts = drafted(action, Wanted(lasting=way((make_remedy(), 3))), by=office, now=NOW)
    lasting = {**drafts[0].fields, "cost_once": D(130), "cost_monthly": D(0)}
    carry_on = drafts[1].fields

    given = with_workings([OptionGiven(**lasting), OptionGiven(**carry_on)], drafts)

    assert [one.working["otherwise"] for one in given] == [True, False]


def test_the_same_options_with_the_same_working_change_nothing(action, office, labour):
    action = worked_out(action, office)
    kept = list(action.options.order_by("position"))
    again = [
        OptionGiven(**{name: getattr(one, name) for name in OptionGiven.__dataclass_fields__})
        for one in kept
    ]

    price_action(action.pk, by=office, options=again)

    assert list(action.options.order_by("position")) == kept


def test_the_working_is_part_of_what_is_signed(action, office, labour):
    action = worked_out(action, office)
    before = sheet_of(action)
    option = action.options.get(kind="carry_on")

    assert before.facts["options"][1]["working"]["money"] == "170.00"
    ActionOption.objects.filter(pk=option.pk).update(working={**option.working, "money": "1.00"})
    assert sheet_of(action).hash != before.hash


def test_a_signature_from_before_there_were_workings_is_in_no_trouble(office, monkeypatch):
    """What older sheets did not say is no change."""
    action = make_action("priced", by=office)
    manager = make_manager(client=action.site.client)
    real = sheet_of(action).facts

    def facts_then(*args):
        options = [
            {name: value for name, value in one.items() if name != "working"}
            for one in real["options"]
        ]
        return {**real, "options": options}

    with monkeypatch.context() as then:
        then.setattr("compliance.queries.sheets.facts_of", facts_then)
        decide(action, by=manager)
    sheet = sheet_of(CorrectiveAction.objects.get(pk=action.pk))

    assert [one.trouble for one in story_of(sheet).signed] == [""]


def test_the_client_can_open_the_working_and_others_see_cautions_but_no_money(
    client, action, office, technician, labour
):
    action = worked_out(action, office)
    make_closed_visit(action.site, due_on=date.today(), technician=technician)

    client.force_login(make_manager(client=action.site.client))
    theirs = client.get(action.get_absolute_url()).text
    client.force_login(technician)
    technicians = client.get(action.get_absolute_url()).text

    assert "How the sums of “1. Lasting work” came about" in theirs
    assert "Mesh in a hole" in theirs
    assert "£126.00" in theirs
    assert "beyond what the contract covers" in theirs
    assert "Gloves against cement" in theirs
    assert "Gloves against cement" in technicians
    assert "How the sums" not in technicians
    assert "£" not in technicians


# --- the page -------------------------------------------------------------------------------------


def posted(remedy, *, options=(), **changes):
    """What the pricing page sends: the work-out part, and options where they are given."""
    data = {
        "revision": "1",
        "lasting-TOTAL_FORMS": "4",
        "lasting-INITIAL_FORMS": "0",
        "interim-TOTAL_FORMS": "3",
        "interim-INITIAL_FORMS": "0",
        "option-TOTAL_FORMS": "4",
        "option-INITIAL_FORMS": "0",
        "lasting-0-remedy": str(remedy.pk),
        "lasting-0-quantity": "3",
        "work-visit_price": "",
        "work-lasting_visits": "0",
        "work-interim_visits": "0",
        "work-lasting_effect": "80",
        "work-lasting_words": "The only way in.",
        "work-with_nothing": "on",
    }
    for number, fields in enumerate(options):
        for name, value in fields.items():
            data[f"option-{number}-{name}"] = "" if value is None else str(value)
    return {**data, **changes}


def filled(page) -> list[dict]:
    """The options as the page shows them, ready to be sent."""
    return [{name: form[name].value() for name in form.fields} for form in page.context["options"]]


def test_the_page_fills_the_options_and_they_are_put_to_the_client(client, action, office, labour):
    client.force_login(office)
    url = reverse("compliance:action_price", args=[action.pk])
    remedy = make_remedy()

    page = client.post(url, posted(remedy, work_out="1"))

    assert page.status_code == 200
    assert not action.options.exists()
    options = filled(page)
    assert [one["kind"] for one in options] == ["lasting", "carry_on", "nothing", None]
    assert 'name="worked_out"' in page.text

    sent = client.post(url, posted(remedy, options=options[:3], worked_out="1"))

    assert sent.status_code == 302, sent.context and sent.context["refusal"]
    kept = list(action.options.order_by("position"))
    assert [bool(one.working) for one in kept] == [True, True, False]
    assert kept[0].working["otherwise"] is False


def test_pricing_anew_begins_with_what_was_worked_out(client, action, office, labour):
    worked_out(action, office)
    client.force_login(office)

    page = client.get(reverse("compliance:action_price", args=[action.pk]))

    row = page.context["work"].lasting[0]
    assert (row["quantity"].value(), row["quantity_low"].value()) == ("3", None)
    assert page.context["work"].terms["lasting_effect"].value() == 80
    assert page.context["worked"] is True


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"lasting-0-remedy": "", "lasting-0-quantity": ""}, "at least one remedy"),
        ({"lasting-0-quantity": ""}, "Say how much of it."),
        ({"lasting-0-remedy": ""}, "Choose the remedy"),
        ({"lasting-0-quantity_low": "2"}, "both the least and the most"),
        ({"lasting-0-quantity_low": "4", "lasting-0-quantity_high": "5"}, "The least comes first"),
        ({"work-lasting_words": ""}, "it is your assumption"),
    ],
)
def test_what_cannot_be_worked_out_says_why_and_keeps_what_was_typed(
    client, action, office, labour, changes, says
):
    client.force_login(office)
    url = reverse("compliance:action_price", args=[action.pk])
    typed = {"description": "Something typed before."}

    page = client.post(url, posted(make_remedy(), options=[typed], work_out="1", **changes))

    assert page.status_code == 422
    assert says in page.text
    assert "Something typed before." in page.text
    assert not action.options.exists()


def test_without_the_price_of_labour_the_page_says_so(client, action, office):
    client.force_login(office)

    page = client.post(
        reverse("compliance:action_price", args=[action.pk]), posted(make_remedy(), work_out="1")
    )

    assert page.status_code == 422
    assert "price of an hour of labour" in page.text


def test_remedies_without_a_price_or_taken_off_cannot_be_chosen(client, action, office, labour):
    unpriced, ended = make_remedy(price=None), make_remedy()
    end_remedy(ended.pk, by=office)
    client.force_login(office)
    url = reverse("compliance:action_price", args=[action.pk])

    assert "has a price yet" in client.get(url).text
    for remedy in (unpriced, ended):
        assert client.post(url, posted(remedy, work_out="1")).status_code == 422
