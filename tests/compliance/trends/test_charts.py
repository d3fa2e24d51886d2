"""The picture of a zone and pest has the limits that judge it; classical charts are in outside."""

from dataclasses import replace
from time import process_time

import numpy as np
import pytest

from compliance.trends.charts import alarm_counts, centres, line, u_chart
from compliance.trends.judge import judge, weigh
from compliance.trends.settings import CHOSEN
from tests.compliance.trends.test_judge import STEADY, SUMMER, company, quiet, zone_of


def chart_of(counts: list[int], place: str = "store"):
    columns = company(*quiet(29), zone_of(place, counts, STEADY))
    judged = judge(columns, (2025, 12))
    row = columns.zones.index(place)
    return judged, row, line(judged, row)


def test_the_centre_is_the_baselines_rate_and_the_months_are_named():
    _, _, chart = chart_of([*STEADY[:-1], 0])

    assert chart.centre == pytest.approx(100 * 36 / (23 * 60))
    assert (chart.months[0], chart.months[-1], len(chart.months)) == ((2024, 1), (2025, 12), 24)
    assert chart.in_baseline.tolist() == [True] * 23 + [False]
    assert chart.per_100[-1] == 0


def test_a_count_at_the_limit_would_be_an_alarm_and_one_less_would_not():
    _, _, chart = chart_of([*STEADY[:-1], 0])
    limit = int(chart.alarm_at[-1])

    reached, row, _ = chart_of([*STEADY[:-1], limit])
    short, _, _ = chart_of([*STEADY[:-1], limit - 1])

    assert reached.compared[0].chance[row] <= CHOSEN.most_false
    assert short.compared[0].chance[row] > CHOSEN.most_false
    assert chart.limit[-1] == pytest.approx(100 * limit / 60)


def test_more_days_take_more_to_be_an_alarm():
    columns = company(*quiet(29), zone_of("store", STEADY, [-1, *STEADY[1:]]))
    judged = judge(columns, (2025, 12))

    chart = line(judged, columns.zones.index("store"))

    assert chart.exposure[:2].tolist() == [30.0, 60.0]
    assert chart.alarm_at[0] < chart.alarm_at[1]


def test_a_month_nobody_looked_in_has_neither_rate_nor_limit():
    columns = company(*quiet(29), zone_of("store", [*STEADY[:5], -1, *STEADY[6:]]))

    chart = line(judge(columns, (2025, 12)), columns.zones.index("store"))

    assert chart.alarm_at[5] == -1
    assert np.isnan(chart.per_100[5])
    assert np.isnan(chart.limit[5])


def test_without_a_baseline_there_are_points_and_no_line():
    columns = company(zone_of("store", [1, 0, 2]))

    chart = line(judge(columns, (2024, 3)), 0)

    assert np.isnan(chart.centre)
    assert chart.alarm_at.tolist() == [-1, -1, -1]
    assert chart.counts.tolist() == [1, 0, 2]


def test_a_season_moves_the_centre_of_its_month():
    random = np.random.default_rng(2)
    level = np.tile(SUMMER, 4)[:43] * 0.8 + 0.1
    columns = company(
        *[zone_of(f"z{n}", random.poisson(level).tolist(), site=f"s{n}") for n in range(12)]
    )

    chart = line(judge(columns, (2027, 7)), 0)

    assert sorted(
        {month for (_, month), used in zip(chart.months, chart.in_baseline, strict=True) if used}
    ) == [6, 7, 8]
    assert chart.alarm_at[-1] > 9


def test_a_large_count_has_its_limit_found_too():
    columns = company(
        *[zone_of(f"z{n}", [4000, 5200, 4700, 4100] * 6, site=f"s{n}") for n in range(4)]
    )

    chart = line(judge(columns, (2025, 12)), 0)

    assert 5200 < chart.alarm_at[-1] < 12_000


def by_season(zones: int, months: int):
    random = np.random.default_rng(2)
    level = np.tile(SUMMER, 4)[:months] * 0.8 + 0.1
    return company(
        *[zone_of(f"z{n:02}", random.poisson(level).tolist(), site=f"s{n}") for n in range(zones)]
    )


@pytest.mark.parametrize(
    ("columns", "asked"),
    [
        (company(*quiet(29), zone_of("store", STEADY, STEADY)), (2025, 12)),
        (by_season(12, 43), (2027, 7)),
        # Two earlier winters of three months each need a second opinion: the larger limit stands.
        (by_season(12, 28), (2026, 4)),
    ],
    ids=["no season", "three summers", "two springs"],
)
def test_every_series_alarms_at_its_count_and_not_one_below(columns, asked):
    judged = judge(columns, asked)
    at = alarm_counts(judged)

    assert (at > 0).all()
    for short, alarms in ((0, True), (1, False)):
        counts = judged.series.counts.copy()
        counts[:, -1] = at - short
        chance = weigh(replace(judged.series, counts=counts)).compared[0].chance
        assert ((chance <= CHOSEN.most_false) == alarms).all()


def test_a_season_lifts_centre_and_limit_of_its_month():
    summer, winter = (judge(by_season(12, 43), asked) for asked in ((2027, 7), (2027, 1)))

    assert summer.has_season.all()
    assert centres(summer).mean() > 4 * centres(winter).mean()
    assert alarm_counts(summer).mean() > 2 * alarm_counts(winter).mean()
    assert centres(summer) == pytest.approx(
        100 * summer.compared[0].expected / summer.series.exposure[:, -1]
    )


def test_what_is_not_known_has_neither_centre_nor_limit():
    columns = company(
        *quiet(3),
        zone_of("new", [1, 0, 2], start=21, site="new"),
        zone_of("unread", [*STEADY[:-1], -1], site="unread"),
    )
    judged = judge(columns, (2025, 12))
    new, unread = (columns.zones.index(name) for name in ("new", "unread"))

    for row in (new, unread):
        assert alarm_counts(judged)[row] == -1
        assert np.isnan(centres(judged)[row])
    assert np.isfinite(centres(judged)).sum() == 3 == (alarm_counts(judged) > 0).sum()


def test_three_thousand_series_have_their_limits_within_a_second():
    random = np.random.default_rng(5)
    columns = company(
        *[
            zone_of(f"z{n}", random.poisson(random.gamma(1, 3), 24).tolist(), site=f"s{n}")
            for n in range(3000)
        ]
    )
    judged = judge(columns, (2025, 12))
    began = process_time()

    at = alarm_counts(judged)

    assert process_time() - began < 1
    assert (at > 0).all()


def test_a_chart_without_exposure_is_refused():
    with pytest.raises(ValueError, match="needs exposure"):
        u_chart([1, 2], [1.0, 1.0], without=[0, 1])
