"""How often limits hold, changes are claimed and trends are told, by simulation.

    python -m compliance.trends.simulate_effects --seed 4            # all tables of the document
    python -m compliance.trends.simulate_effects --seed 4 --part 20  # a twentieth of the runs

Counts are Poisson or negative binomial, reading by reading; the dispersion is taken as known where
nothing else is said. They go through the same functions that stand behind the pages. The tables are
printed in docs/algorithms/rates-and-effects.md.
"""

import argparse
import sys
from collections.abc import Callable, Sequence
from math import inf, isinf, log

import numpy as np

from compliance.trends.effect import Ratio, Window, rate_ratio, ratio_of_ratios
from compliance.trends.exposure import Floats, Ints
from compliance.trends.rates import limits
from compliance.trends.simulate import table
from compliance.trends.trend import YEAR, trend_of

DAYS = 28.0
"""Trap-days of one reading."""

RUNS = 1000

PLACES: tuple[tuple[float, float, int], ...] = (
    (0.2, inf, 20),
    (2.0, inf, 10),
    (0.2, 1.0, 24),
    (0.5, 1.0, 24),
    (2.0, 1.0, 12),
    (2.0, 0.5, 12),
)
"""Mean of a reading, its k (``inf``: one by one), and readings before and again after; the zones
without the work have twice as many."""

SERIES: tuple[tuple[str, float, float, float, float, float], ...] = (
    # name, mean of the first month, k, growth a month, height of the season, memory
    ("0.3 a month, nothing changes", 0.3, inf, 1.0, 0.0, 0.0),
    ("3 a month, nothing changes", 3.0, inf, 1.0, 0.0, 0.0),
    ("3 a month, k = 1, nothing changes", 3.0, 1.0, 1.0, 0.0, 0.0),
    ("5 a month, season of nine to one", 5.0, inf, 1.0, 0.8, 0.0),
    ("5 a month, memory of 0.3", 5.0, inf, 1.0, 0.0, 0.3),
    ("5 a month, memory of 0.6", 5.0, inf, 1.0, 0.0, 0.6),
    ("1 a month, a tenth more each month", 1.0, inf, 1.1, 0.0, 0.0),
    ("3 a month, a tenth more each month", 3.0, inf, 1.1, 0.0, 0.0),
    ("3 a month, k = 1, a tenth more each month", 3.0, 1.0, 1.1, 0.0, 0.0),
    ("10 a month, a tenth less each month", 10.0, inf, 0.9, 0.0, 0.0),
    ("10 a month, season, 3 in 100 less each month", 10.0, inf, 0.97, 0.8, 0.0),
)


def dispersion(mean: float, k: float) -> float:
    """Variance over mean of a reading."""
    return 1.0 if isinf(k) else 1.0 + mean / k


def drawn(
    random: np.random.Generator, mean: Floats | float, k: float, shape: Sequence[int]
) -> Ints:
    """Counts of single readings."""
    level = np.broadcast_to(np.asarray(mean, dtype=np.float64), tuple(shape))
    if not isinf(k):
        level = level * random.gamma(k, 1.0 / k, tuple(shape))
    return random.poisson(level).astype(np.int64)


def limits_table(random: np.random.Generator, part: int) -> str:
    """How often the limits of a rate hold the true rate: with the true dispersion, with that of
    the same readings, and with none."""
    rows = []
    for mean, k, readings in PLACES:
        counts = drawn(random, mean, k, (20 * RUNS // part, readings))
        total = counts.sum(axis=1)
        own = counts.var(axis=1, ddof=1) / np.maximum(counts.mean(axis=1), 1.0 / readings)
        cells = []
        for phi in (dispersion(mean, k), own, 1.0):
            low, high = limits(total, phi=phi)
            held = (low <= mean * readings) & (mean * readings <= high)
            cells.append(_share(float(held.mean())))
        rows.append([*_place(mean, k, readings), *cells])
    head = ["a reading", "counts", "readings", "dispersion known", "of these readings", "none"]
    return table(head, rows)


def effects_table(random: np.random.Generator, part: int) -> str:
    """How often a change is claimed, where rates stay or fall to a half or a fifth."""
    rows = []
    for mean, k, readings in PLACES:
        phi, cells = dispersion(mean, k), []
        for true in (1.0, 0.5, 0.2):
            alone = against = 0
            runs = max(RUNS // part, 2)
            for here, others in _works(random, mean, k, readings, true, runs):
                alone += _claims(rate_ratio(*here, phi=phi))
                against += _claims(ratio_of_ratios(here, others, phi=phi))
            cells.append(f"{_share(alone / runs)}; {_share(against / runs)}")
        rows.append([*_place(mean, k, readings), *cells])
    head = ["a reading", "counts", "readings", "stays", "falls to a half", "falls to a fifth"]
    return table(head, rows)


def trends_table(random: np.random.Generator, part: int) -> str:
    """How often a trend is told, rising and falling, after one, two and three years."""
    rows = []
    for name, mean, k, growth, season, memory in SERIES:
        cells = []
        for years in (1, 2, 3):
            runs, months = max(RUNS // part, 2), np.arange(years * YEAR)
            level = np.exp(log(mean) + months * log(growth))
            level = level * (1.0 + season * np.sin(months * np.pi / 6.0))
            carried = np.exp(0.7 * _remembering(random, memory, (runs, len(months))))
            counts = drawn(random, level * (carried if memory else 1.0), k, (runs, len(months)))
            told = [trend_of(row.tolist()).direction for row in counts]
            rising, falling = told.count("rising") / runs, told.count("falling") / runs
            cells.append(f"{_share(rising)}; {_share(falling)}")
        rows.append([name, *cells])
    return table(["months", "12 months", "24 months", "36 months"], rows)


TABLES: dict[str, Callable[[np.random.Generator, int], str]] = {
    "Limits of a rate hold it": limits_table,
    "A change is claimed, alone; against zones without the work": effects_table,
    "A trend is told, rising; falling": trends_table,
}


def main(arguments: Sequence[str] | None = None) -> None:
    """Write the tables, each from a stream of random numbers of its own."""
    parser = argparse.ArgumentParser(prog="python -m compliance.trends.simulate_effects")
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--part", type=int, default=1, help="run only one in so many")
    chosen = parser.parse_args(arguments)
    for number, (name, made) in enumerate(TABLES.items(), start=1):
        random = np.random.default_rng([chosen.seed, number])
        sys.stdout.write(f"### {name}\n\n{made(random, chosen.part)}\n")


def _works(
    random: np.random.Generator, mean: float, k: float, readings: int, true: float, runs: int
) -> list[tuple[tuple[Window, Window], tuple[Window, Window]]]:
    """Windows before and after, here and in the zones without the work, run for run."""
    means = ((mean, readings), (mean * true, readings), (mean, 2 * readings), (mean, 2 * readings))
    sides = [
        [Window(int(count), DAYS * of) for count in drawn(random, level, k, (runs, of)).sum(axis=1)]
        for level, of in means
    ]
    return [
        ((before, after), (other_before, other_after))
        for before, after, other_before, other_after in zip(*sides, strict=True)
    ]


def _claims(ratio: Ratio) -> bool:
    return ratio.change != "not_known"


def _remembering(random: np.random.Generator, memory: float, shape: tuple[int, int]) -> Floats:
    """Standard normal months that each hang on the one before."""
    fresh = random.standard_normal(shape)
    for month in range(1, shape[1]):
        fresh[:, month] = memory * fresh[:, month - 1] + np.sqrt(1 - memory**2) * fresh[:, month]
    return fresh


def _place(mean: float, k: float, readings: int) -> list[str]:
    return [f"{mean:g}", "one by one" if isinf(k) else f"k = {k:g}", str(readings)]


def _share(part: float) -> str:
    return f"{100 * part:.1f} %"


if __name__ == "__main__":
    main()
