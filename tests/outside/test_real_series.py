"""The monthly judging on series that somebody really counted, each as one zone by itself.

Counts come one after the other without any trap-days: each place stands for a month of thirty.
Nobody says which of them should alarm, but for the constructed trap, so that this tells what the
judging makes of real series, and holds it there. Sources: Salmonella Agona by week 1990-1995 (R
package surveillance) in fours; lynx trapped by year, 1821-1934 (Elton and Nicholson 1942), and
discoveries by year, 1860-1959 (World Almanac 1975), both R data sets.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from compliance.trends.exposure import columns_from
from compliance.trends.judge import judge
from tests.outside.test_trend import DISCOVERIES, LYNX

DATA = Path(__file__).parent / "data"


def counts_of(name: str) -> list[int]:
    with (DATA / name).open() as lines:
        return [int(row["count"]) for row in csv.DictReader(lines)]


WEEKS = counts_of("salmonella-weekly.csv")
FOUR_WEEKS = [sum(WEEKS[place : place + 4]) for place in range(0, len(WEEKS), 4)]


def alarms_in(counts: list[int]) -> tuple[list[int], int]:
    """The places that alarm, from 1 on, and how many had a baseline."""
    number = len(counts)
    alone = np.zeros(number, dtype=np.int64)
    columns = columns_from(
        monitor=alone,
        zone=alone,
        site=alone,
        pest=alone,
        month=24_000 + np.arange(number),
        count=np.array(counts),
        exposure=np.full(number, 30.0),
        censored=np.zeros(number, dtype=np.bool_),
    )
    findings = [judge(columns, month).findings[0] for month in columns.months]
    alarms = [place for place, one in enumerate(findings, 1) if one.state == "alarm"]
    return alarms, sum(one.state in ("calm", "alarm") for one in findings)


@pytest.mark.parametrize(
    ("counts", "alarms", "judged"),
    [
        # Thirteen times four weeks make a year, so that its season drifts through the months here.
        pytest.param(FOUR_WEEKS, [22, 23], 66, id="salmonella, four weeks each"),
        # A cycle of ten years, which lean on each other: two of its highest peaks.
        pytest.param(LYNX, [47, 85, 86], 102, id="lynx"),
        # The level rose for ten years from 1884 and fell again: a change that is news every year.
        pytest.param(DISCOVERIES, [26, 27, 28, 29, 30, 31, 33], 88, id="discoveries"),
    ],
)
def test_real_series(counts, alarms, judged):
    assert alarms_in(counts) == (alarms, judged)


def test_the_trap_with_two_planted_months():
    """A December with 6 where about 1 is usual is seen. A July with 15 where 6 are usual is not:
    with four summers of one trap to go by its p-value is 0.014, all ways of looking paid for, and
    0.0045 is needed. Farrington's method (tests/outside/test_exceedance.py) finds both, at one
    false alarm in twenty months."""
    counts = counts_of("monthly-trap-constructed.csv")

    assert (counts[54], counts[59]) == (15, 6)
    assert alarms_in(counts) == ([60], 48)
