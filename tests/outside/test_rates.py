"""Exposure, rates and their limits against published values.

Garwood's table of 1936 was not seen; its values are printed in the secondary texts that each test
names, and the rest is R 4.2.2 (poisson.test) and scipy 1.17.1, which agree to 5e-14. Nelson and
Clark's paper was not seen either: equation 2 stands in published analysis code that cites it.

Approximate limits (Byar, score, Wald, Jeffreys) are not checked, as none is computed here: the
exact ones cost nothing. Nor are indices of other papers of which only the result is printed, and
the share of traps with a catch.
"""

import csv
from datetime import date
from math import inf
from pathlib import Path

import pytest

from compliance.trends.exposure import ReadingFacts, columns_of, exposed
from compliance.trends.rates import at_most, limits, rate, rate_words, rates, rates_of, sums

# Garwood F (1936) Biometrika 28:437-442: limits for counts of 0 to 20. For 0, 1, 5 and 10 at 95 %:
# 0 to 3.68888, 0.02532 to 5.57164, 1.62349 to 11.66833, 4.79539 to 18.39036.
with (Path(__file__).parent / "data" / "garwood.csv").open() as lines:
    GARWOOD = [{name: float(value) for name, value in row.items()} for row in csv.DictReader(lines)]


@pytest.mark.parametrize("row", GARWOOD, ids=lambda row: f"count {row['count']:g}")
def test_garwood(row):
    count = int(row["count"])
    for percent in (90, 95, 99):
        low, high = limits(count, confidence=percent / 100)

        assert float(low) == pytest.approx(row[f"lower_{percent}"], abs=1e-9), percent
        assert float(high) == pytest.approx(row[f"upper_{percent}"], abs=1e-9), percent
    assert float(at_most(count)) == pytest.approx(row["one_sided_95"], abs=1e-9)


def test_the_table_has_twenty_one_rows():
    assert [row["count"] for row in GARWOOD] == list(range(21))
    five = GARWOOD[5]
    assert (five["lower_95"], five["upper_95"]) == pytest.approx((1.62349, 11.66833), abs=5e-6)


@pytest.mark.parametrize(
    ("count", "confidence", "printed"),
    [
        pytest.param(0, 0.95, (0, 3.689), id="R package epitools, pois.exact"),
        pytest.param(10, 0.95, (4.80, 18.39), id="a public calculator that cites Garwood"),
        pytest.param(25, 0.90, (17.38, 34.92), id="a help page citing Garwood, 90 %"),
        pytest.param(25, 0.95, (16.18, 36.90), id="the same, 95 %"),
    ],
)
def test_what_is_printed_elsewhere(count, confidence, printed):
    """Tolerance: half of the last printed figure."""
    low, high = limits(count, confidence=confidence)

    assert (float(low), float(high)) == pytest.approx(printed, abs=0.005)


def test_fifteen_in_four_hundred():
    """Printed by R (exactci, DescTools), repeated in the tests of statsmodels."""
    one = rate(15, 400.0)

    assert one.per_100 == pytest.approx(3.75)
    assert (one.lower, one.upper) == pytest.approx((2.0988465332, 6.1850547179), abs=1e-8)


def test_nickel_workers_in_wales():
    """R help page of poisson.test, first example: 137 deaths where 24.19893 were expected, 5.661
    times as many; limits recomputed with R 4.2.2. A ratio is a rate over what was expected."""
    one = rate(137, 100 * 24.19893)

    assert one.per_100 == pytest.approx(5.661407343217, abs=1e-10)
    assert (one.lower, one.upper) == pytest.approx((4.753124804849, 6.692709334176), abs=1e-10)


# Moths on transects of Maindonald and Braun, Data Analysis and Graphics Using R (data set moths of
# R package DAAG): species A by habitat, and metres.
MOTHS = {
    "Bank": (0, 21.0, 0.0),
    "Disturbed": (8, 49.0, 16.326530612245),
    "Lowerside": (41, 191.0, 21.465968586387),
    "NEsoak": (14, 254.0, 5.511811023622),
    "NWsoak": (71, 65.0, 109.230769230769),
    "SEsoak": (37, 193.0, 19.170984455959),
    "SWsoak": (20, 116.0, 17.241379310345),
    "Upperside": (28, 952.0, 2.941176470588),
}


def test_moths_by_length_of_transect():
    """Sum over sum: 219 in 1,841 m are 11.9 per 100. The mean of the transects' rates, which lets
    the shortest speak as loudly as the longest, is 37.4."""
    counts, metres, per_100 = zip(*MOTHS.values(), strict=True)

    assert rates(counts, metres).per_100 == pytest.approx(per_100, abs=1e-9)
    assert rate(sum(counts), sum(metres)).per_100 == pytest.approx(11.895708853884, abs=1e-9)


# Recomputed with scipy 1.17.1 from Garwood's form; the second row is twelve captures in 300.
@pytest.mark.parametrize(
    ("count", "exposure", "per_100", "lower", "upper"),
    [
        (1, 30, 3.333333333333, 0.084392693281, 18.572144636463),
        (3, 280, 1.071428571429, 0.220954329606, 3.131168953479),
        (12, 300, 4.0, 2.066858369574, 6.987195016059),
        (32, 84, 38.095238095238, 26.057114656291, 53.779109618358),
        (5, 1000, 0.5, 0.162348639012, 1.166833207932),
    ],
)
def test_rates_with_limits(count, exposure, per_100, lower, upper):
    one = rate(count, exposure)

    assert (one.per_100, one.lower, one.upper) == pytest.approx((per_100, lower, upper), abs=1e-8)


# minus ln 0.05 = 2.9957 over the nights: the rule of three, exactly.
@pytest.mark.parametrize(
    ("nights", "two_sided", "one_sided"),
    [
        (10, 36.888794541139, 29.95732273554),
        (28, 13.174569478978, 10.699043834121),
        (30, 12.296264847046, 9.98577424518),
        (60, 6.148132423523, 4.99288712259),
        (90, 4.098754949015, 3.32859141506),
        (100, 3.688879454114, 2.995732273554),
        (120, 3.074066211762, 2.496443561295),
        (300, 1.229626484705, 0.998577424518),
        (365, 1.010651905237, 0.820748568097),
        (900, 0.409875494902, 0.332859141506),
        (1000, 0.368887945411, 0.299573227355),
        (3000, 0.12296264847, 0.099857742452),
    ],
)
def test_none_caught_still_allows(nights, two_sided, one_sided):
    one = rate(0, nights)

    assert (one.per_100, one.lower) == (0.0, 0.0)
    assert (one.upper, one.allows) == pytest.approx((two_sided, one_sided), abs=1e-9)
    assert float(at_most(0)) == pytest.approx(2.995732273554, abs=1e-9)


def test_none_in_thirty_nights_in_words():
    assert rate_words(rate(0, 30.0)) == (
        "None in 30 trap-days. That still allows about 10 per 100 trap-days."
    )


# Nelson L, Clark FW (1973) J. Mammal. 54:295-298, equation 2: 100 A / (P I N - I S / 2), with S all
# traps sprung by whatever, the captures among them.


def snap_traps(traps, looks, nights, caught, empty=0, other=0):
    """As many snap traps as there were, looked at each so many nights, so many times over.

    The captures come first, then the ones sprung by other animals, then those sprung by nothing.
    """
    readings = []
    for look in range(looks):
        for trap in range(traps):
            place = look * traps + trap
            mouse = place < caught
            vole = caught <= place < caught + other
            sprung = caught + other <= place < caught + other + empty
            for pest, count in (("mouse", int(mouse)), ("vole", int(vole))):
                readings.append(
                    ReadingFacts(
                        monitor=str(trap),
                        zone="barn",
                        site="farm",
                        kind="snap_trap",
                        pest=pest,
                        read_on=date(2026, 5, 1 + look * nights),
                        stood_days=nights,
                        condition="damaged" if sprung else "sound",
                        count=count,
                    )
                )
    return readings


@pytest.mark.parametrize(
    ("line", "trap_nights", "index"),
    [
        pytest.param((100, 3, 1, 0), 300.0, 0.0, id="nothing sprung"),
        pytest.param((100, 3, 1, 12), 294.0, 4.081632653061, id="12 captures only"),
        pytest.param((100, 3, 1, 12, 8), 290.0, 4.137931034483, id="and 8 sprung empty"),
        pytest.param((100, 3, 1, 12, 8, 6), 287.0, 4.18118466899, id="and 6 of other animals"),
        pytest.param((100, 2, 2, 12, 8), 380.0, 3.157894736842, id="looked at every second night"),
        pytest.param((30, 1, 28, 4), 784.0, 0.510204081633, id="30 traps once a month"),
        pytest.param((100, 1, 1, 100), 50.0, 200.0, id="everything sprung"),
        pytest.param((100, 3, 1, 0, 5), 297.5, 0.0, id="nothing caught"),
    ],
)
def test_nelson_and_clark(line, trap_nights, index):
    columns = columns_of(exposed(snap_traps(*line)))
    total = sums(columns, "pest")
    mouse = columns.pests.index("mouse")

    assert total.exposure[mouse] == trap_nights
    assert rates_of(total).per_100[mouse] == pytest.approx(index, abs=1e-9)


def test_rats_of_king_and_scurr():
    """King CM, Scurr D (2013) Conservation Evidence 10:95-97 (CC BY): 32 rats in 20 traps, 47 in
    100 over five nights pre-fed, 19 over ten nights not. The abstract says half a night a capture,
    which gives 38.1 and 17.4; its numbers follow from a whole one. Half is our rule."""
    for nights, half, whole in ((5, 38.095238095238, 47), (10, 17.391304347826, 19)):
        columns = columns_of(exposed(snap_traps(20, nights, 1, 32)))
        one = rates_of(sums(columns, "pest"))

        assert one.per_100[columns.pests.index("mouse")] == pytest.approx(half, abs=1e-9)
        assert round(100 * 32 / (20 * nights - 32)) == whole


def test_missing_and_blocked_traps_are_no_data():
    """Constructed: of ten traps in 28 nights one is lost, one out of reach, one damaged and empty.

    3 in 210, not 3 in 280.
    """
    conditions = ["sound"] * 7 + ["missing", "blocked", "damaged"]
    readings = [
        ReadingFacts(
            monitor=str(place),
            zone="barn",
            site="farm",
            kind="sticky",
            pest="cockroach",
            read_on=date(2026, 5, 1),
            stood_days=28,
            condition=condition,
            count=3 if place == 0 else 0,
        )
        for place, condition in enumerate(conditions)
    ]

    total = sums(columns_of(exposed(readings)), "site")

    assert (total.count.tolist(), total.exposure.tolist()) == ([3], [210.0])
    assert rates_of(total).per_100[0] == pytest.approx(1.428571428571, abs=1e-9)
    assert rate(3, 280.0).per_100 == pytest.approx(1.071428571429, abs=1e-9)  # what it is not


def test_no_exposure_allows_anything():
    one = rate(0, 0.0)

    assert (one.per_100, one.lower, one.upper, one.allows) == (None, 0.0, inf, inf)
