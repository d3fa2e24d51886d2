"""What a zone cost beyond the contract: every visit once, its price where there is one."""

from datetime import UTC, date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from compliance.queries.burden import burden_of
from compliance.services.thresholds import find_breaches
from tests.builders.extra_visits import carry_out, make_extra_visit
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.thresholds import catch, make_threshold
from tests.builders.visits import make_contract, make_line, make_visit
from visits.models import Visit
from visits.services.lines import end_line

pytestmark = pytest.mark.django_db

FROM, TO = date(2026, 1, 1), date(2026, 12, 31)
YEAR = {"from_on": FROM, "to_on": TO}
CALL_OUT, PROOFING, ROUTINE = Visit.Kind.CALL_OUT, Visit.Kind.PROOFING, Visit.Kind.ROUTINE


@pytest.fixture
def site():
    """A site known since the first day of the year."""
    site = make_site(zones=2)
    make_extra_visit(site, FROM, kind=ROUTINE)
    return site


@pytest.fixture
def kitchen(site):
    return site.zones.order_by("pk")[0]


@pytest.fixture
def bar(site):
    return site.zones.order_by("pk")[1]


def priced(site, *, call_out="85", follow_up="", routine="", starts_on=FROM, ends_on=None):
    """A contract of these prices; each line is agreed from its first day."""
    contract = make_contract(
        site, call_out_price=Decimal(call_out), starts_on=starts_on, ends_on=ends_on
    )
    for kind, price in ((Visit.Kind.FOLLOW_UP, follow_up), (ROUTINE, routine)):
        if price:
            make_line(contract, kind=kind, price=Decimal(price), first_on=starts_on)
    return contract


def test_call_outs_and_follow_ups_count_at_the_contracts_prices(site, kitchen):
    priced(site, call_out="85", follow_up="40")
    make_extra_visit(site, date(2026, 3, 3), kind=CALL_OUT, treated=[kitchen])
    make_extra_visit(site, date(2026, 3, 17), treated=[kitchen], found=[kitchen])

    burden = burden_of(site, zone=kitchen, **YEAR)

    assert (burden.call_outs, burden.extra_visits, burden.visits) == (1, 1, 2)
    assert (burden.money, burden.unpriced) == (Decimal("125.00"), 0)
    assert (burden.days, burden.missing, burden.whole) == (365, (), True)


def test_visits_of_a_service_line_and_proofing_are_no_burden(site, kitchen):
    priced(site)
    line = make_line(site.contracts.get(), kind=Visit.Kind.FOLLOW_UP, price=Decimal(40))
    carry_out(line.visits.get(due_on=date(2026, 12, 1)), date(2026, 12, 1), treated=[kitchen])
    make_extra_visit(site, date(2026, 3, 4), kind=PROOFING, found=[kitchen])
    make_extra_visit(site, date(2026, 3, 5), kind=ROUTINE, treated=[kitchen])

    burden = burden_of(site, zone=kitchen, **YEAR)

    assert (burden.visits, burden.money) == (0, Decimal("0.00"))
    assert burden.treatments == 2


def test_visits_that_were_not_closed_are_no_burden(site, kitchen):
    priced(site)
    make_extra_visit(site, date(2026, 3, 3), kind=CALL_OUT, treated=[kitchen])
    make_visit(site, state="booked", due_on=date(2026, 4, 1))

    assert burden_of(site, **YEAR).visits == 1


def test_a_shared_visit_is_split_equally_and_the_zones_bear_it_once(site, kitchen, bar):
    cellar = make_zone(site)
    priced(site, call_out="100")
    make_extra_visit(site, date(2026, 3, 3), kind=CALL_OUT, treated=[kitchen, bar], found=[cellar])

    shares = [burden_of(site, zone=zone, **YEAR) for zone in (kitchen, bar, cellar)]

    assert [one.call_outs for one in shares] == [1, 1, 1]
    assert [one.money for one in shares] == [Decimal("33.33")] * 3
    assert sum(one.attendances[0].share for one in shares) == 100
    assert "each zone bears an equal part" in " ".join(shares[0].how)
    assert burden_of(site, **YEAR).money == Decimal("100.00")


def test_the_example_by_hand(site, kitchen, bar):
    """docs/algorithms/two-ways.md, What carrying on costs."""
    priced(site, call_out="85", follow_up="40")
    make_extra_visit(site, date(2026, 11, 3), kind=CALL_OUT, treated=[kitchen])
    make_extra_visit(site, date(2026, 11, 17), treated=[kitchen], found=[bar])

    burden = burden_of(site, zone=kitchen, from_on=date(2026, 10, 1), to_on=TO)

    assert (burden.days, burden.money) == (92, Decimal("105.00"))


def test_many_records_of_one_visit_are_still_one_visit(site, kitchen):
    priced(site)
    make_extra_visit(site, date(2026, 3, 3), kind=CALL_OUT, treated=[kitchen] * 3)

    burden = burden_of(site, zone=kitchen, **YEAR)

    assert (burden.call_outs, burden.treatments, burden.money) == (1, 3, Decimal("85.00"))


def test_a_visit_to_another_zone_is_not_this_ones(site, kitchen, bar):
    priced(site)
    make_extra_visit(site, date(2026, 3, 3), kind=CALL_OUT, treated=[bar])

    burden = burden_of(site, zone=kitchen, **YEAR)

    assert (burden.visits, burden.treatments, burden.money) == (0, 0, Decimal("0.00"))


def test_a_follow_up_that_found_nothing_counts_where_it_was_to_look_again(site, kitchen, bar):
    priced(site, follow_up="40")
    before = make_extra_visit(site, date(2026, 3, 3), kind=ROUTINE, treated=[kitchen], found=[bar])
    make_extra_visit(site, date(2026, 3, 17), follows=before)

    assert burden_of(site, zone=kitchen, **YEAR).extra_visits == 1
    assert burden_of(site, zone=bar, **YEAR).extra_visits == 0


def test_a_visit_that_names_no_zone_counts_for_the_site_alone_and_is_told(site, kitchen):
    priced(site)
    make_extra_visit(site, date(2026, 3, 3), kind=CALL_OUT)

    of_zone, of_site = burden_of(site, zone=kitchen, **YEAR), burden_of(site, **YEAR)

    assert (of_zone.visits, of_site.visits, of_site.money) == (0, 1, Decimal("85.00"))
    assert "named no zone" in " ".join(of_zone.missing)
    assert of_site.missing == ()


def test_a_follow_up_is_priced_as_the_visit_it_follows_where_no_other_price_is_agreed(site):
    contract = priced(site)
    line = make_line(contract, price=Decimal("94"), first_on=FROM)
    cheaper = make_line(contract, price=Decimal("60"), first_on=FROM)
    before = carry_out(line.visits.get(due_on=date(2026, 12, 1)), date(2026, 12, 1))
    make_extra_visit(site, date(2026, 12, 15), follows=before)
    make_extra_visit(site, date(2026, 12, 16))

    burden = burden_of(site, **YEAR)

    assert [one.price for one in burden.attendances] == [line.price, cheaper.price]
    told = " ".join(burden.how)
    assert "as the visit that it follows" in told
    assert "as the cheapest routine visit" in told


def test_a_price_holds_while_its_contract_and_its_line_do(site, office):
    priced(site, call_out="70", ends_on=date(2026, 5, 31))
    later = priced(site, call_out="90", follow_up="40", starts_on=date(2026, 6, 1))
    line = later.lines.get()
    end_line(line.pk, by=office, last_on=date(2026, 8, 31), reason="No longer wanted.")
    for day in (date(2026, 5, 31), date(2026, 6, 1)):
        make_extra_visit(site, day, kind=CALL_OUT)
    for day in (date(2026, 8, 31), date(2026, 9, 1)):
        make_extra_visit(site, day)

    prices = [one.price for one in burden_of(site, **YEAR).attendances]

    assert prices == [Decimal(70), Decimal(90), Decimal(40), None]


def test_a_price_of_nothing_is_no_price_and_the_sum_says_what_it_leaves_out(site):
    priced(site, call_out="0", follow_up="40")
    make_extra_visit(site, date(2026, 3, 3), kind=CALL_OUT)
    make_extra_visit(site, date(2026, 3, 17))

    burden = burden_of(site, **YEAR)

    assert (burden.money, burden.unpriced, burden.whole) == (Decimal("40.00"), 1, False)
    assert "1 visit without a price" in " ".join(burden.missing)


def test_where_no_visit_has_a_price_there_is_no_sum(site):
    make_extra_visit(site, date(2026, 3, 3), kind=CALL_OUT)

    burden = burden_of(site, **YEAR)

    assert (burden.call_outs, burden.money, burden.unpriced) == (1, None, 1)


def test_a_record_shorter_than_what_is_asked_says_so():
    site = make_site()
    make_extra_visit(site, date(2026, 10, 1), kind=ROUTINE)

    burden = burden_of(site, **YEAR)

    assert (burden.days, burden.whole) == (92, False)
    assert burden.missing == ("The record begins on 1 Oct 2026: 92 of 365 days are known.",)


def test_where_nothing_was_closed_nothing_is_known():
    burden = burden_of(make_site(), **YEAR)

    assert (burden.days, burden.visits, burden.money) == (0, 0, None)
    assert "nothing is known" in burden.missing[0]


def test_days_are_the_sites_own_and_both_ends_count():
    """Ten in the morning in Auckland is the evening of the day before in UTC."""
    site = make_site(time_zone="Pacific/Auckland")
    zone = ZoneInfo("Pacific/Auckland")
    for day in (date(2026, 2, 28), date(2026, 3, 1), date(2026, 3, 31), date(2026, 4, 1)):
        visit = make_extra_visit(site, day, kind=CALL_OUT)
        assert visit.closed_at.astimezone(zone) == datetime(*day.timetuple()[:3], 10, tzinfo=zone)

    burden = burden_of(site, from_on=date(2026, 3, 1), to_on=date(2026, 3, 31))

    assert [one.on for one in burden.attendances] == [date(2026, 3, 1), date(2026, 3, 31)]


def test_another_sites_visits_are_not_counted(site):
    other = make_site(zones=1)
    make_extra_visit(other, date(2026, 3, 3), kind=CALL_OUT)

    assert burden_of(site, **YEAR).visits == 0


def test_days_out_of_order_are_a_mistake(site):
    with pytest.raises(ValueError, match="before the first"):
        burden_of(site, from_on=TO, to_on=FROM)


@pytest.mark.parametrize("times", [1, 6])
def test_it_takes_as_many_queries_for_one_visit_as_for_many(
    site, kitchen, times, django_assert_num_queries
):
    priced(site, follow_up="40", routine="60")
    for number in range(times):
        make_extra_visit(site, date(2026, 3, 3 + number), treated=[kitchen], found=[kitchen])

    with django_assert_num_queries(8):
        burden_of(site, zone=kitchen, **YEAR)


def test_a_visit_that_a_threshold_asked_for_counts_for_the_zone_that_reached_it(site, kitchen, bar):
    today = date(2026, 3, 10)
    priced(site, follow_up="40")
    make_threshold(begins_on=FROM, then="follow_up")
    catch(make_monitor(kitchen), today)
    find_breaches(now=datetime(2026, 3, 10, 12, tzinfo=UTC))
    carry_out(Visit.objects.get(kind=Visit.Kind.FOLLOW_UP, line=None), date(2026, 3, 17))

    assert burden_of(site, zone=kitchen, **YEAR).extra_visits == 1
    assert burden_of(site, zone=bar, **YEAR).extra_visits == 0
