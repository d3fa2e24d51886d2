"""Every zone against what is usual there, and all of them together."""

from dataclasses import replace
from datetime import date
from math import inf

import numpy as np
import pytest

from compliance.trends.exposure import Columns, Exposed, columns_of
from compliance.trends.judge import (
    Comparison,
    Judged,
    _clumps,
    _words,
    baselines,
    judge,
    series_of,
    stretches,
    weigh,
)
from compliance.trends.settings import CHOSEN, Settings, Window

SUMMER = [0, 0, 1, 2, 4, 7, 9, 8, 4, 2, 1, 0]


def month_at(number: int, first: int = 2024) -> tuple[int, int]:
    return (first + number // 12, number % 12 + 1)


def zone_of(
    name: str, *monitors: list[int], site="harbour", pest="mouse", start=0
) -> list[Exposed]:
    """Monthly counts of a zone's monitors from January 2024 on, 30 days each; -1 is no reading."""
    return [
        Exposed(
            monitor=f"{name} {number}",
            zone=name,
            site=site,
            pest=pest,
            read_on=date(*month_at(start + place), 15),
            count=int(count),
            exposure=30.0,
            censored=False,
            why="",
        )
        for number, counts in enumerate(monitors, start=1)
        for place, count in enumerate(counts)
        if count >= 0
    ]


def quiet(number: int, months: int = 24) -> list[list[Exposed]]:
    """Zones that catch one here and there, each on a site of its own."""
    random = np.random.default_rng(7)
    return [
        zone_of(
            f"quiet {one}",
            random.poisson(0.6, months).tolist(),
            random.poisson(0.6, months).tolist(),
            site=f"site {one}",
        )
        for one in range(number)
    ]


def company(*zones: list[Exposed]) -> Columns:
    return columns_of([fact for zone in zones for fact in zone])


def states(judged: Judged) -> dict[str, str]:
    return {f"{one.level} {one.place} {one.pest}": one.state for one in judged.findings}


STEADY = [0, 1, 0, 2, 1, 0, 1, 1, 0, 1, 2, 0] * 2


def test_a_burst_in_one_zone_of_thirty_is_the_only_alarm():
    columns = company(*quiet(29), zone_of("store", [*STEADY[:-1], 12], STEADY))

    judged = judge(columns, (2025, 12))

    assert [one.place for one in judged.alarms] == ["store"]
    assert (judged.looked_at, len(judged)) == (30, 30)
    assert judged.could_alarm == 30


def test_an_alarm_says_what_it_was_compared_with():
    columns = company(*quiet(29), zone_of("store", [*STEADY[:-1], 12], STEADY))

    (alarm,) = judge(columns, (2025, 12)).alarms

    compared = alarm.comparison
    assert (alarm.level, alarm.place, alarm.pest, alarm.month) == (
        "zone",
        "store",
        "mouse",
        (2025, 12),
    )
    assert (compared.months, compared.since, compared.before, compared.before_months) == (
        1,
        12,
        36,
        23,
    )
    assert compared.before_exposure == 23 * 60.0
    assert compared.expected == pytest.approx(36 / 23)
    assert (compared.before_first, compared.before_last) == ((2024, 1), (2025, 11))
    assert alarm.chance <= CHOSEN.most_false
    assert alarm.adjusted <= CHOSEN.share_false
    assert alarm.words == (
        "12 caught in December 2025, where about 1.6 would be usual: more than chance explains. "
        "Compared with 36 caught in 23 months between January 2024 and November 2025."
    )


def test_a_calm_zone_says_what_it_still_allows():
    columns = company(*quiet(29), zone_of("store", [*STEADY[:-1], 0], [0] * 24))

    finding = next(one for one in judge(columns, (2025, 12)).findings if one.place == "store")

    assert (finding.state, finding.count, finding.per_100) == ("calm", 0, 0.0)
    assert 4.99 < finding.allows < 20  # 3.0 in 60 days, and a little more as k is not known
    assert "None in 60 trap-days still allows up to" in finding.words


def test_a_clumped_place_allows_more_than_an_even_one():
    nests = [0, 9, 0, 0, 0, 7, 0, 0, 8, 0, 0, 0] * 2
    columns = company(
        *[zone_of(f"even {one}", [2, 2, 3, 1, 2, 2] * 4, site=f"s{one}") for one in range(20)],
        zone_of("nests", nests, pest="roach"),
    )

    found = {one.place: one for one in judge(columns, (2025, 12)).findings}

    assert found["nests"].k < 1 < 5 < found["even 1"].k
    assert found["nests"].count == 0
    assert found["nests"].allows > 100 * 3.0 / 30 * 2


def test_nests_are_no_alarm_where_nests_are_usual():
    """The same nine in a month: an alarm among even months, none among nests."""
    nests = [0, 9, 0, 0, 0, 7, 0, 0, 8, 0, 0, 0] * 2
    even = [1, 2, 0, 1, 1, 0] * 4
    nesting = company(
        *[zone_of(f"n{one}", nests[one:] + nests[:one], site=f"s{one}") for one in range(11)]
    )
    plain = company(
        *[zone_of(f"n{one}", [*even[:-1], 9 * (one == 0)], site=f"s{one}") for one in range(11)]
    )

    assert judge(nesting, (2025, 12)).alarms == ()
    assert [one.place for one in judge(plain, (2025, 12)).alarms] == ["n0"]


@pytest.mark.parametrize(
    ("months", "monitors", "state"),
    [(6, 2, "calm"), (5, 3, "not_yet_known"), (11, 1, "not_yet_known"), (12, 1, "calm")],
)
def test_a_baseline_needs_six_months_and_twelve_readings(months, monitors, state):
    counts = [[1] * months + [0]] * monitors
    judged = judge(company(zone_of("store", *counts)), month_at(months))

    assert states(judged) == {"zone store mouse": state}
    assert judged.looked_at == (state == "calm")


def test_what_is_not_yet_known_says_how_little_there_is():
    (finding,) = judge(company(zone_of("store", [1, 0, 40])), (2024, 3)).findings

    assert (finding.state, finding.chance, finding.comparison) == ("not_yet_known", None, None)
    assert finding.words.startswith(
        "Not yet known: 2 earlier readings; what is usual here shows from 12 readings in 6 "
        "months. "
        "40 in 30 trap-days still allows up to "
    )


def test_a_zone_that_was_not_read_this_month_is_neither_calm_nor_alarmed():
    columns = company(*quiet(3), zone_of("store", [*STEADY[:-2], 30, -1]))

    finding = next(one for one in judge(columns, (2025, 12)).findings if one.place == "store")

    assert (finding.state, finding.per_100, finding.allows) == ("not_read", None, inf)
    assert finding.words == "Not read this month."


def test_a_full_trap_is_the_least_there_was():
    facts = zone_of("store", STEADY)
    facts[-1] = replace(facts[-1], censored=True)

    finding = judge(columns_of(facts), (2025, 12)).finding(0)

    assert (finding.at_least, finding.allows) == (True, inf)
    assert finding.words.endswith("still allows any rate.")


def test_one_after_a_year_of_none_is_no_alarm_and_six_are():
    """1 in 13 by chance alone; six in one month by less than one in a million."""
    one = company(
        *[zone_of(f"z{n}", [0] * 12 + [int(n == 0)], [0] * 13, site=f"s{n}") for n in range(9)]
    )
    six = company(
        *[zone_of(f"z{n}", [0] * 12 + [6 * int(n == 0)], [0] * 13, site=f"s{n}") for n in range(9)]
    )

    assert judge(one, (2025, 1)).alarms == ()
    assert [alarm.place for alarm in judge(six, (2025, 1)).alarms] == ["z0"]


def test_zones_that_never_caught_anything_make_it_no_harder_for_others():
    few = company(*quiet(5), zone_of("store", [*STEADY[:-1], 12], STEADY))
    clean = [zone_of(f"clean {one}", [0] * 24, site=f"c{one}") for one in range(200)]
    many = company(*quiet(5), zone_of("store", [*STEADY[:-1], 12], STEADY), *clean)

    assert judge(many, (2025, 12)).could_alarm == judge(few, (2025, 12)).could_alarm == 6
    assert judge(many, (2025, 12)).looked_at == 206
    assert [one.place for one in judge(many, (2025, 12)).alarms] == ["store"]


def test_a_rise_over_half_a_year_is_read_against_the_year_before():
    """Each month is within chance; six together are not."""
    slow = [1, 0, 1, 1, 0, 1, 1, 1, 0, 1, 1, 1] * 2 + [1, 1, 1, 2, 1, 2, 3, 3, 4, 3, 4, 4]
    columns = company(*quiet(9, months=36), zone_of("store", slow))

    (alarm,) = judge(columns, (2026, 12)).alarms

    assert alarm.comparison.months == 6
    assert alarm.comparison.before_last == (2025, 12)


def test_a_site_is_judged_where_it_has_several_zones():
    """Six zones that rise a little each: no zone is an alarm, the site is."""
    year = [1, 0, 1, 1, 0, 1, 1, 0, 2, 1, 1, 0]
    base = [(year[n:] + year[:n]) * 2 for n in range(6)]
    zones = [zone_of(f"room {n}", [*counts, 3]) for n, counts in enumerate(base)]
    judged = judge(company(*quiet(5, months=25), *zones), (2026, 1))

    found = {name: state for name, state in states(judged).items() if state == "alarm"}

    assert found == {"site harbour mouse": "alarm"}
    (alarm,) = judged.alarms
    assert (alarm.count, alarm.exposure) == (18, 180.0)


def test_a_monitor_with_the_greatest_excess_is_named_first():
    columns = company(*quiet(20), zone_of("store", STEADY, [*STEADY[:-1], 12], [0] * 24))
    judged = judge(columns, (2025, 12))
    row = int(np.flatnonzero(judged.state == 3)[0])

    pointers = judged.pointers(row)

    assert [one.monitor for one in pointers] == ["store 2", "store 3", "store 1"]
    assert (pointers[0].count, pointers[0].exposure) == (12, 30.0)
    assert 0 < pointers[1].expected < pointers[0].expected < 2


def test_the_monitors_of_a_site_are_named_over_all_its_zones():
    year = [1, 0, 1, 1, 0, 1, 1, 0, 2, 1, 1, 0]
    base = [(year[n:] + year[:n]) * 2 for n in range(6)]
    zones = [zone_of(f"room {n}", [*counts, 3 + n]) for n, counts in enumerate(base)]
    judged = judge(company(*zones), (2026, 1))

    pointers = judged.pointers(len(judged) - 1)

    assert [one.monitor for one in pointers] == [f"room {n} 1" for n in reversed(range(6))]


def test_pests_of_a_zone_are_judged_apart():
    columns = company(
        *quiet(20),
        zone_of("store", [*STEADY[:-1], 12], STEADY),
        zone_of("store", [3, 2, 4, 3] * 6, pest="fly"),
    )

    judged = judge(columns, (2025, 12))

    assert [(one.place, one.pest) for one in judged.alarms] == [("store", "mouse")]
    assert states(judged)["zone store fly"] == "calm"


def test_a_summer_pest_is_compared_with_its_summers():
    """Nine in July after three such years is no alarm; nine in December is, and says so."""
    random = np.random.default_rng(2)
    level = np.tile(SUMMER, 4)

    def zones(asked: int, last: int) -> Columns:
        made = [
            zone_of(
                f"z{n}",
                [*random.poisson(level[:asked] * 0.8 + 0.1), last if n == 0 else level[asked]],
                site=f"s{n}",
            )
            for n in range(12)
        ]
        return company(*made)

    july, december = judge(zones(42, 9), (2027, 7)), judge(zones(47, 9), (2027, 12))

    assert july.has_season.all()
    assert july.alarms == ()
    assert [one.place for one in december.alarms] == ["z0"]
    assert december.alarms[0].comparison.in_season
    assert "months of the same season between" in december.alarms[0].words


def test_without_the_same_months_of_two_years_the_whole_baseline_has_its_say():
    """Two years show a season; their six like months hold an alarm back only where both agree."""
    level = [one * 3 for one in SUMMER]
    columns = company(*[zone_of(f"z{n}", [*level, *level, 4], site=f"s{n}") for n in range(6)])
    short = replace(CHOSEN, least_months=9)

    judged = judge(columns, (2026, 1), short)

    assert judged.has_season.all()
    assert judged.alarms == ()


def test_zones_of_one_kind_are_alike():
    nests = [0, 9, 0, 0, 0, 7, 0, 0, 8, 0, 0, 0] * 2
    facts = [zone_of(f"n{one}", nests[one:] + nests[:one], site=f"s{one}") for one in range(11)]
    facts += [zone_of(f"e{one}", [2, 2, 3, 1, 2, 2] * 4, site=f"t{one}") for one in range(11)]
    facts.append(zone_of("new", [0] * 23 + [1], site="u"))
    columns = company(*facts)
    kinds = {zone: zone[0] for zone in columns.zones}

    among_nests = judge(columns, (2025, 12), kind_of_zone=kinds | {"new": "n"})
    among_even = judge(columns, (2025, 12), kind_of_zone=kinds | {"new": "e"})
    k = {
        tag: next(f.k for f in one.findings if f.place == "new")
        for tag, one in (("n", among_nests), ("e", among_even))
    }

    assert k["n"] < 1 < 4 < k["e"]


def test_months_before_and_after_what_is_used_change_nothing():
    columns = company(*quiet(5), zone_of("store", [*STEADY[:-1], 12], STEADY))
    later = company(*quiet(5), zone_of("store", [*STEADY[:-1], 12, 99], STEADY))
    earlier = company(
        *quiet(5), zone_of("store", [*STEADY[:-1], 12], STEADY), zone_of("store", [50], start=-60)
    )

    now = judge(columns, (2025, 12)).alarms

    assert judge(later, (2025, 12)).alarms == now
    assert judge(earlier, (2025, 12)).alarms == now


def test_a_month_that_nothing_is_known_up_to_is_refused():
    with pytest.raises(ValueError, match="nothing is known"):
        judge(company(*quiet(1)), (2030, 1))


def test_nothing_read_gives_nothing_to_judge():
    columns = columns_of([], first=(2026, 1), last=(2026, 2))

    judged = judge(columns, (2026, 2))

    assert (len(judged), judged.alarms, judged.looked_at) == (0, (), 0)


def test_sums_by_site_are_those_of_the_zones():
    columns = company(
        zone_of("a", STEADY), zone_of("b", [1] * 24), zone_of("c", [2] * 24, site="mill")
    )

    series = series_of(columns, (2025, 12))

    assert (series.zones, len(series.counts)) == (3, 4)
    assert series.counts[3].tolist() == [one + 1 for one in STEADY]
    assert series.exposure[3].tolist() == [60.0] * 24


def test_windows_pay_for_each_other():
    """The smallest of several p-values is one only if their shares sum to at most one."""
    assert sum(1 / window.looks for window in CHOSEN.windows) == pytest.approx(1.0)
    assert CHOSEN.months == 48
    assert Settings(windows=(Window(3, 1.0),)).months == 39


def test_a_bare_month_before_any_window_is_unknown():
    """Fewer months than the longest window has: its chance is unknown, not wrong."""
    judged = judge(company(zone_of("store", [1, 2], [0, 1])), (2024, 2))

    assert np.isnan(judged.compared[2].chance).all()
    assert np.isnan(judged.compared[2].expected).all()


OUTBREAK = [*STEADY[:6], 40, 55, 30, *STEADY[9:]]
MONTHS = [(2024, 7), (2024, 8), (2024, 9)]


def after_an_outbreak(now: int, set_aside, *, name="store"):
    columns = company(*quiet(29), zone_of("store", [*OUTBREAK[:-1], now], STEADY))
    judged = judge(columns, (2025, 12), set_aside=[(name, "mouse", month) for month in set_aside])
    return judged, columns.zones.index("store")


@pytest.mark.parametrize("name", ["store", "harbour"], ids=["its zone", "its site"])
def test_an_outbreak_that_is_known_is_no_part_of_what_is_usual(name):
    deaf, row = after_an_outbreak(12, [])
    hears, _ = after_an_outbreak(12, MONTHS, name=name)

    assert deaf.finding(row).state == "calm"
    assert hears.finding(row).state == "alarm"
    compared = hears.finding(row).comparison
    assert (compared.before, compared.before_months, compared.set_aside) == (32, 20, 3)
    assert compared.expected == pytest.approx(32 / 20)
    assert hears.finding(row).words == (
        "12 caught in December 2025, where about 1.6 would be usual: more than chance explains. "
        "Compared with 32 caught in 20 months between January 2024 and November 2025, leaving out "
        "3 months of a known outbreak."
    )


def test_an_outbreak_that_is_known_says_nothing_of_how_clumped_the_place_is():
    deaf, row = after_an_outbreak(0, [])
    hears, _ = after_an_outbreak(0, MONTHS)

    assert hears.k[row] > 2 * deaf.k[row]
    assert hears.allows[row] < deaf.allows[row]


def test_the_asked_window_keeps_what_is_set_aside():
    judged, row = after_an_outbreak(40, [*MONTHS, (2025, 11), (2025, 12)])

    assert judged.finding(row).state == "alarm"
    assert judged.finding(row).count == 40 + STEADY[-1]
    assert judged.compared[1].since[row] == 40 + sum(STEADY[-3:-1]) + sum(STEADY[-3:])
    assert judged.compared[0].before_months[row].sum() == 23 - 4


def test_too_little_left_of_a_baseline_is_not_yet_known():
    judged, row = after_an_outbreak(3, [month_at(number) for number in range(19)])

    finding = judged.finding(row)

    assert finding.state == "not_yet_known"
    assert "Not yet known: 8 earlier readings" in finding.words


def test_for_its_site_a_zone_set_aside_is_as_a_trap_that_was_missing():
    shop = [1, 2, 0] * 8
    columns = company(zone_of("store", OUTBREAK), zone_of("shop", shop))
    missing = company(
        zone_of("store", [*OUTBREAK[:6], -1, -1, -1, *OUTBREAK[9:]]), zone_of("shop", shop)
    )

    aside = judge(columns, (2025, 12), set_aside=[("store", "mouse", one) for one in MONTHS])
    gone = judge(missing, (2025, 12))

    site = 2
    assert aside.series.past_counts[site].tolist() == gone.series.counts[site].tolist()
    assert aside.series.past_exposure[site].tolist() == gone.series.exposure[site].tolist()
    assert aside.series.past_readings[site].tolist() == gone.series.readings[site].tolist()
    assert aside.chance[site] == gone.chance[site]
    assert aside.finding(site).comparison.set_aside == 3
    assert gone.finding(site).comparison.set_aside == 0


def test_a_pointer_of_a_site_reads_no_zone_by_its_outbreak():
    columns = company(zone_of("store", OUTBREAK), zone_of("shop", STEADY))

    def of_the_store(set_aside):
        judged = judge(columns, (2025, 12), set_aside=set_aside)
        rates = {one.monitor: one.expected / one.exposure for one in judged.pointers(2)}
        return 30 * rates["store 1"]

    assert of_the_store([]) > 4
    assert of_the_store([("store", "mouse", one) for one in MONTHS]) < 1


def test_what_is_set_aside_elsewhere_changes_nothing():
    plain, row = after_an_outbreak(12, [])
    columns = plain.columns

    other = judge(
        columns,
        (2025, 12),
        set_aside=[
            ("store", "rat", (2024, 7)),
            ("gone", "mouse", (2024, 7)),
            ("store", "mouse", (2019, 7)),
            ("store", "mouse", (2026, 7)),
        ],
    )

    assert other.chance.tolist() == plain.chance.tolist()
    assert other.finding(row).comparison.set_aside == 0


def in_summer(zones: int, months: int = 48) -> Columns:
    random = np.random.default_rng(6)
    level = 8 * np.tile(SUMMER, 4)[:months] / np.mean(SUMMER) + 0.5
    return company(
        *[zone_of(f"z{n:02}", random.poisson(level).tolist(), site=f"s{n}") for n in range(zones)]
    )


def of_its_season(zones: int, settings: Settings = CHOSEN):
    """The first zone's July of 2027 against its summers, and how many those caught."""
    columns = in_summer(zones)
    series = series_of(columns, (2027, 7), settings)
    grounds = weigh(series, settings).grounds
    base = baselines(series, settings.windows[0], settings, grounds)
    both = stretches(series, grounds, base, np.array([0]), settings, in_season=True)
    assert base.alike[0].sum() == 9
    return both, series.past_counts[0, base.alike[0]].sum()


@pytest.mark.parametrize(
    ("zones", "doubt", "part"),
    [(1, 0.0, 1.0), (1, 0.5, 1 / np.sqrt(3)), (1, 1.0, 1 / 3), (20, 0.5, 1.0)],
)
def test_a_season_counts_for_as_much_as_it_is_known_by(zones, doubt, part):
    """Nine months of three names, of which three are July: alone, a zone reads July's level from
    those; among twenty the others tell it."""
    settings = replace(CHOSEN, season_doubt=doubt)
    both, caught = of_its_season(zones, settings)

    assert both.before[0] == pytest.approx(part * caught, rel=0.06)
    whole, _ = of_its_season(zones, replace(settings, season_doubt=0.0))
    assert both.before[0] / both.before_days[0] == pytest.approx(
        whole.before[0] / whole.before_days[0]
    )
    assert both.clumps[0] / both.before_clumps[0] == pytest.approx(
        both.days[0] / both.before_days[0]
    )


def test_a_july_that_was_never_read_is_known_as_by_one_month():
    columns = in_summer(1)
    series = series_of(columns, (2027, 7))
    junes_only = series.past_exposure.copy()
    junes_only[0, np.arange(junes_only.shape[1]) % 12 == (junes_only.shape[1] - 1) % 12] = 0
    series = replace(series, past_exposure=junes_only)
    settings = replace(CHOSEN, season_doubt=1.0)
    grounds = replace(weigh(series).grounds, others=np.zeros(1))
    base = baselines(series, settings.windows[0], settings, grounds)

    both = stretches(series, grounds, base, np.array([0]), settings, in_season=True)

    caught = series.past_counts[0, base.alike[0]].sum()
    assert both.before[0] == np.ceil(caught / base.alike[0].sum())


def test_months_that_bring_unlike_clump_like_fewer():
    """k is that of each month: half a year of which one month brings nearly all clumps like one."""
    days = np.full((2, 6), 1.0)
    worth = np.array([[1.0] * 6, [5.9, 0.02, 0.02, 0.02, 0.02, 0.02]])

    assert _clumps(days, worth) == pytest.approx([6.0, 1.034], abs=0.002)
    assert _clumps(days / 2, worth)[0] == pytest.approx(3.0)


def test_an_outbreak_that_is_over_is_no_alarm_though_its_months_are_still_in_a_window():
    counts = [0] * 14 + [3, 9, 20, 30, 8, 1, 0, 0, 0, 0]
    none = [0] * len(counts)
    columns = company(zone_of("store", counts, none))

    states = {number: judge(columns, month_at(number)).finding(0).state for number in range(15, 24)}

    assert [states[number] for number in (15, 16, 17, 18, 19)] == ["alarm"] * 5
    assert [states[number] for number in (22, 23)] == ["calm"] * 2


AGAINST = Comparison(
    months=1,
    since=4,
    since_exposure=60.0,
    expected=0.5,
    before=6,
    before_exposure=720.0,
    before_months=12,
    before_first=(2024, 12),
    before_last=(2025, 12),
    in_season=False,
    set_aside=0,
)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        pytest.param({}, "4 caught in January 2026, where about 0.5 would be usual", id="a month"),
        pytest.param(
            {"months": 3},
            "4 caught from November 2025 to January 2026, where about 0.5 would be usual",
            id="over the new year",
        ),
        pytest.param({"expected": 0.0}, ", where none would be usual:", id="none before"),
        pytest.param({"expected": 0.04}, ", where hardly any would be usual:", id="hardly any"),
        pytest.param({"before": 0}, "Compared with none caught in 12 months between", id="of none"),
        pytest.param({"since": 1203}, "1,203 caught in January 2026", id="thousands since"),
        pytest.param({"before": 4020}, "Compared with 4,020 caught in", id="thousands before"),
        pytest.param(
            {"in_season": True, "before_months": 1},
            "6 caught in 1 month of the same season between December 2024 and December 2025.",
            id="in season",
        ),
        pytest.param(
            {"set_aside": 1}, ", leaving out 1 month of a known outbreak.", id="one set aside"
        ),
    ],
)
def test_an_alarm_is_said_with_months_by_name(changed, said):
    compared = replace(AGAINST, **changed)

    words = _words("alarm", (2026, 1), 4, 60.0, 20.0, 24, compared, CHOSEN)

    assert said in words
    assert ": more than chance explains. Compared with " in words


@pytest.mark.parametrize(
    ("count", "exposure", "allows", "said"),
    [
        (0, 1.0, 1900.0, "None in 1 trap-day still allows up to 1,900 per 100 trap-days."),
        (4, 60.0, inf, "4 in 60 trap-days still allows any rate."),
    ],
)
def test_a_calm_place_says_what_its_count_allows(count, exposure, allows, said):
    compared = replace(AGAINST, since=0)

    words = _words("calm", (2026, 1), count, exposure, allows, 24, compared, CHOSEN)

    assert words.startswith("None caught in January 2026, where about 0.5 would be usual: no more")
    assert words.endswith(f"between December 2024 and December 2025. {said}")


def test_one_earlier_reading_is_one():
    words = _words("not_yet_known", (2026, 1), 0, 30.0, 10.0, 1, None, CHOSEN)

    assert words.startswith("Not yet known: 1 earlier reading; what is usual here shows from 12 ")
