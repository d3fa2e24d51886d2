"""How often the alarms cry wolf and how soon they see a rise, by simulation.

    python -m compliance.trends.simulate --seed 4            # all tables of the document
    python -m compliance.trends.simulate --seed 4 --part 20  # a twentieth of the runs

A place has ``TRAPS`` monitors which are read once a month. It is clumped by trap (each trap-month
has a k of its own, so that the zone's month has ``TRAPS`` times as much) or by zone (all traps of a
month rise and fall together, which is the hardest). The counts go through the same functions that
judge a company's readings.
"""

import argparse
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf, isinf

import numpy as np

from compliance.trends.alarms import poisson_alarm, two_thirds_limit
from compliance.trends.exposure import Bools, Floats
from compliance.trends.judge import Series, stand_out, weigh
from compliance.trends.settings import CHOSEN, Settings

TRAPS = 6
DAYS = 30.0
ASKED = (2026, 1)

BAR = 1 / 200
"""False alarms for each zone and month that may be, where nothing has changed."""


@dataclass(frozen=True, slots=True)
class Clumps:
    """How counts clump: with k, by each trap's month or by the whole zone's."""

    k: float = inf
    by: str = "trap"

    @property
    def of_zone(self) -> float:
        """The k of the zone's month."""
        return self.k * TRAPS if self.by == "trap" else self.k

    def __str__(self) -> str:
        """As the tables name it."""
        return "Poisson" if isinf(self.k) else f"k = {self.k:g} by {self.by}"


KINDS = (Clumps(), Clumps(4), Clumps(1), Clumps(2, "zone"), Clumps(1, "zone"))


@dataclass(frozen=True, slots=True)
class Share:
    """A share of runs and how uncertain it is (one standard error)."""

    part: float
    of: int

    @property
    def error(self) -> float:
        """The standard error of ``part``."""
        return float(np.sqrt(max(self.part * (1 - self.part), 1 / self.of) / self.of))


def drawn(
    random: np.random.Generator, mean: Floats, clumps: Clumps, shape: tuple[int, ...]
) -> Floats:
    """Monthly counts of zones: Poisson, or negative binomial of the same mean."""
    k = clumps.of_zone
    if isinf(k):
        return random.poisson(mean, shape).astype(np.float64)
    return random.poisson(mean * random.gamma(k, 1 / k, shape)).astype(np.float64)


def companies(counts: Floats, zones: int) -> Series:
    """Rows of counts as zones of companies with ``zones`` each; each company is one group."""
    rows = len(counts)
    number = np.arange(rows)
    exposure = np.full(counts.shape, TRAPS * DAYS)
    readings = np.full(counts.shape, float(TRAPS))
    none = np.zeros(counts.shape, dtype=np.bool_)
    return Series(
        zones=rows,
        place=number,
        pest=np.zeros(rows, dtype=np.int64),
        group=number // zones,
        groups=rows // zones,
        counts=counts,
        exposure=exposure,
        readings=readings,
        full=none,
        past_counts=counts,
        past_exposure=exposure,
        past_readings=readings,
        aside=none,
        asked=ASKED,
    )


def alarms(counts: Floats, zones: int, settings: Settings = CHOSEN) -> Bools:
    """Which zones alarm in the last month, each company judged by itself."""
    weighed = weigh(companies(counts, zones), settings)
    marks = np.zeros(len(counts), dtype=np.bool_)
    if zones == 1:  # a step-up of one is the threshold itself
        marks[:] = weighed.able & (weighed.chance <= settings.most_false)
        return marks
    near = np.unique(np.flatnonzero(weighed.chance <= settings.most_false) // zones)
    for company in near:
        mine = slice(company * zones, (company + 1) * zones)
        marks[mine] = stand_out(weighed.chance[mine], weighed.able[mine], settings).stands_out
    return marks


def false_alarms(
    random: np.random.Generator,
    mean: float,
    clumps: Clumps,
    zones: int,
    *,
    rows: int,
    after: Sequence[int] = (12, 18, 24, 30, 36),
    settings: Settings = CHOSEN,
    rule: Callable[[Floats], Bools] | None = None,
) -> Share:
    """False alarms per zone-month where nothing has changed, after so many months.

    ``rule``: another rule than ours, which takes zones × months and marks zones.
    """
    companies_ = max(rows // zones, 1)
    marks = [
        (rule or (lambda counts: alarms(counts, zones, settings)))(
            drawn(random, np.array(mean), clumps, (companies_ * zones, months + 1))
        )
        for months in after
    ]
    return Share(float(np.mean(marks)), len(marks) * companies_ * zones)


def seen(
    random: np.random.Generator,
    mean: float,
    clumps: Clumps,
    rise: Sequence[float],
    *,
    zones: int,
    runs: int,
    before: int,
    settings: Settings = CHOSEN,
    usual: Floats | None = None,
) -> Floats:
    """When a rise in one zone of a company is seen: for each run the visit, or infinity.

    ``rise``: by what the mean is multiplied at the first, second, … visit after ``before`` quiet
    months. The company's other zones stay as they were, or go by ``usual``, a factor a month.
    """
    factors = np.ones((runs * zones, before + len(rise)))
    if usual is not None:
        factors *= usual
    first = np.arange(runs) * zones
    factors[first, before:] = rise
    counts = drawn(random, mean * factors, clumps, factors.shape)
    visit = np.full(runs, inf)
    for number in range(1, len(rise) + 1):
        marks = alarms(counts[:, : before + number], zones, settings)[first]
        visit = np.where(marks & np.isinf(visit), number, visit)
        if np.isfinite(visit).all():
            break
    return visit


def could_be_seen(
    random: np.random.Generator,
    mean: float,
    clumps: Clumps,
    rise: Sequence[float],
    *,
    runs: int,
    chance: float = BAR,
) -> float:
    """The share that would be seen by one who knows everything but whether it rose.

    Who knows the mean, k, how steep the rise is and when it would have begun, and at each visit
    takes the likelihood ratio at the level that one false alarm in 200 leaves, sees as much as can
    be seen at that visit (Neyman and Pearson); no rule with a baseline can do better.
    """
    steep = mean * np.asarray(rise)
    weights = _ratio(steep, clumps.of_zone) - _ratio(np.full(len(rise), mean), clumps.of_zone)
    shape = (runs, len(rise))
    quiet = np.cumsum(drawn(random, np.full(shape, mean), clumps, shape) * weights, axis=1)
    risen = np.cumsum(drawn(random, np.tile(steep, (runs, 1)), clumps, shape) * weights, axis=1)
    limit = np.quantile(quiet, 1 - chance, axis=0)
    return float((risen > limit + 1e-9).any(axis=1).mean())


def _ratio(mean: Floats, k: float) -> Floats:
    """What each individual adds to the log-likelihood of a mean."""
    share: Floats = np.log(mean) if isinf(k) else np.log(mean / (mean + k))
    return share


def three_sigma(counts: Floats) -> Bools:
    """A c chart: above the baseline's mean by three roots of it. For comparison."""
    mean = counts[:, :-1].mean(axis=1)
    marks: Bools = counts[:, -1] > mean + 3 * np.sqrt(mean)
    return marks


def poisson_limit(counts: Floats) -> Bools:
    """The Poisson limit of the baseline's mean, as if the mean were known. For comparison."""
    mean = np.maximum(counts[:, :-1].mean(axis=1), 1e-9)
    marks: Bools = counts[:, -1] >= poisson_alarm(mean, BAR)
    return marks


def two_thirds(counts: Floats) -> Bools:
    """The quasi-Poisson limit with the zone's own dispersion. For comparison."""
    past = counts[:, :-1]
    mean = np.maximum(past.mean(axis=1), 1e-9)
    phi = np.maximum(past.var(axis=1, ddof=1) / mean, 1.0)
    limit = two_thirds_limit(mean, phi, phi * mean / past.shape[1], z=2.5758)
    marks: Bools = counts[:, -1] > limit
    return marks


RULES: dict[str, Callable[[Floats], Bools]] = {
    "three sigma": three_sigma,
    "Poisson limit": poisson_limit,
    "quasi-Poisson, own dispersion": two_thirds,
}

MEANS = (0.1, 0.3, 1.2, 4.0, 20.0, 100.0)
SLOW = tuple(1.1**month for month in range(1, 13))


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table as the documents have it."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines) + "\n"


def percent(part: float) -> str:
    """A share in whole percent."""
    return f"{100 * part:.0f} %"


def false_alarm_table(random: np.random.Generator, part: int) -> str:
    """False alarms per 100 zone-years, by mean, clumping and size of company."""
    rows = []
    for zones in (1, 20, 200):
        for clumps in KINDS:
            shares = [
                false_alarms(random, mean, clumps, zones, rows=max(4000 // part, zones))
                for mean in MEANS
            ]
            rows.append([str(zones), str(clumps), *(f"{1200 * one.part:.1f}" for one in shares)])
    return table(["zones", "counts", *(f"{mean:g} a month" for mean in MEANS)], rows)


def other_rules_table(random: np.random.Generator, part: int) -> str:
    """The same for the rules that were not taken."""
    rows = []
    for name, rule in RULES.items():
        for clumps in (Clumps(), Clumps(1, "zone")):
            shares = [
                false_alarms(random, mean, clumps, 1, rows=max(4000 // part, 1), rule=rule)
                for mean in MEANS
            ]
            rows.append([name, str(clumps), *(f"{1200 * one.part:.0f}" for one in shares)])
    return table(["rule", "counts", *(f"{mean:g} a month" for mean in MEANS)], rows)


def visits_table(random: np.random.Generator, part: int) -> str:
    """Visits until a sudden rise from 0.2 a trap-month is seen, in a company of 40 zones."""
    rows = []
    for before in (12, 24, 36):
        for clumps in KINDS:
            cells = []
            for times in (2.0, 3.0, 5.0, 10.0):
                visit = seen(
                    random,
                    0.2 * TRAPS,
                    clumps,
                    [times] * 12,
                    zones=40,
                    runs=max(120 // part, 1),
                    before=before,
                )
                median = np.median(visit)
                words = f"{median:.0f}" if np.isfinite(median) else "over 12"
                cells.append(f"{words} ({percent(float((visit <= 12).mean()))})")
            rows.append([str(before), str(clumps), *cells])
    return table(["months before", "counts", "twofold", "threefold", "fivefold", "tenfold"], rows)


def fivefold_table(random: np.random.Generator, part: int) -> str:
    """A rise from 0.2 to 1 a trap-month over six traps: seen within three visits."""
    rows = []
    for clumps in KINDS:
        cells = [
            percent(
                float(
                    np.isfinite(
                        seen(
                            random,
                            0.2 * TRAPS,
                            clumps,
                            [5.0] * 3,
                            zones=zones,
                            runs=max(runs // part, 1),
                            before=before,
                        )
                    ).mean()
                )
            )
            for zones, runs in ((1, 2000), (40, 400), (200, 100))
            for before in (12, 24, 36)
        ]
        best = could_be_seen(random, 0.2 * TRAPS, clumps, [5.0] * 3, runs=max(200_000 // part, 50))
        rows.append([str(clumps), *cells, percent(best)])
    head = [
        f"{zones} zone{'s' if zones > 1 else ''}, {before} before"
        for zones in (1, 40, 200)
        for before in (12, 24, 36)
    ]
    return table(["counts", *head, "all known"], rows)


def slow_table(random: np.random.Generator, part: int) -> str:
    """A rise by a tenth each month: seen within twelve visits, by level and baseline."""
    rows = []
    for clumps in KINDS:
        for mean in (0.2, 0.4, 1.0, 3.0):
            cells = [
                percent(
                    float(
                        np.isfinite(
                            seen(
                                random,
                                mean * TRAPS,
                                clumps,
                                SLOW,
                                zones=40,
                                runs=max(200 // part, 1),
                                before=before,
                            )
                        ).mean()
                    )
                )
                for before in (12, 24, 36)
            ]
            best = could_be_seen(random, mean * TRAPS, clumps, SLOW, runs=max(50_000 // part, 50))
            rows.append([str(clumps), f"{mean:g}", *cells, percent(best)])
    return table(["counts", "a trap-month", "12 before", "24", "36", "all known"], rows)


def trade_off_table(random: np.random.Generator, part: int) -> str:
    """What a larger share of false alarms would buy: fivefold within three visits, 24 before."""
    rows = []
    for share in (0.05, 0.1, 0.2, 0.3, 0.5):
        settings = Settings(share_false=share)
        cells = []
        for zones, runs in ((40, 400), (200, 100)):
            for clumps in (Clumps(), Clumps(1)):
                quiet = false_alarms(
                    random,
                    0.2 * TRAPS,
                    clumps,
                    zones,
                    rows=max(8000 // part, zones),
                    settings=settings,
                )
                visit = seen(
                    random,
                    0.2 * TRAPS,
                    clumps,
                    [5.0] * 3,
                    zones=zones,
                    runs=max(runs // part, 1),
                    before=24,
                    settings=settings,
                )
                cells.append(
                    f"{percent(float(np.isfinite(visit).mean()))}; {1200 * quiet.part:.1f}"
                )
        rows.append([f"{share:g}", *cells])
    head = [f"{zones} zones, {clumps}" for zones in (40, 200) for clumps in (Clumps(), Clumps(1))]
    return table(["share false", *head], rows)


def in_season(mean: float, months: int) -> Floats:
    """Monthly means around ``mean``, of which the peak is seven times the trough; peak first."""
    of_year = np.exp(np.cos(2 * np.pi * np.arange(12) / 12))
    level: Floats = mean * of_year[np.arange(months) % 12] / of_year.mean()
    return level


def false_in_season(
    random: np.random.Generator,
    mean: float,
    clumps: Clumps,
    zones: int,
    *,
    rows: int,
    before: int,
) -> Share:
    """False alarms per zone-month in the twelve months after ``before``, where the season alone
    moves the mean."""
    runs = max(rows // zones, 1) * zones
    marks = [
        alarms(drawn(random, in_season(mean, months), clumps, (runs, months)), zones)
        for months in range(before + 1, before + 13)
    ]
    return Share(float(np.mean(marks)), len(marks) * runs)


def season_table(random: np.random.Generator, part: int) -> str:
    """False alarms per 100 zone-years where the peak month brings seven times the trough."""
    rows = []
    means = (1.2, 4.0, 20.0, 100.0)
    for clumps in (Clumps(4), Clumps(1)):
        for before in (12, 24, 36):
            for zones in (1, 20):
                shares = [
                    false_in_season(
                        random, mean, clumps, zones, rows=max(800 // part, 1), before=before
                    )
                    for mean in means
                ]
                cells = [f"{1200 * one.part:.1f}" for one in shares]
                rows.append([str(clumps), str(before), str(zones), *cells])
    return table(["counts", "months before", "zones", *(f"{m:g} a month" for m in means)], rows)


def risen_in_season_table(random: np.random.Generator, part: int) -> str:
    """Fivefold in one zone with that season, seen within three visits, by when it begins."""
    rows = []
    for clumps in (Clumps(4), Clumps(1)):
        for before in (24, 36):
            for zones, runs in ((1, 600), (20, 200)):
                cells = []
                for mean in (1.2, 4.0):
                    for later in (0, 3, 6, 9):
                        months = before + later + 3
                        level = in_season(mean, months)
                        rise = [5.0 * one / mean for one in level[-3:]]
                        visit = seen(
                            random,
                            mean,
                            clumps,
                            rise,
                            zones=zones,
                            runs=max(runs // part, 1),
                            before=before + later,
                            usual=level / mean,
                        )
                        cells.append(percent(float(np.isfinite(visit).mean())))
                rows.append([str(clumps), str(before), str(zones), *cells])
    head = [
        f"{mean:g}, {when}" for mean in (1.2, 4) for when in ("peak", "autumn", "trough", "spring")
    ]
    return table(["counts", "months before", "zones", *head], rows)


def leaning(
    random: np.random.Generator, mean: float, k: float, memory: float, shape: tuple[int, int]
) -> Floats:
    """Monthly counts of zones whose populations grow and fade around one mean.

    Each month's place among all levels is ``memory`` of the last one's (on the normal scale), and
    the rest is new; over years counts are those of a negative binomial with this k.
    """
    from scipy.special import gammaincinv, ndtr

    level = np.empty(shape)
    level[:, 0] = random.normal(size=shape[0])
    for month in range(1, shape[1]):
        new = random.normal(size=shape[0])
        level[:, month] = memory * level[:, month - 1] + np.sqrt(1 - memory**2) * new
    counts: Floats = random.poisson(mean * gammaincinv(k, ndtr(level)) / k).astype(np.float64)
    return counts


def leaning_table(random: np.random.Generator, part: int) -> str:
    """False alarms per 100 zone-years where each month leans on the one before."""
    rows = []
    means = (0.3, 1.2, 4.0, 20.0)
    for k in (4.0, 1.0):
        for memory in (0.0, 0.3, 0.6, 0.9):
            for zones in (1, 20):
                number = max(2000 // part // zones, 1) * zones
                cells = []
                for mean in means:
                    marks = [
                        alarms(leaning(random, mean, k, memory, (number, months + 1)), zones)
                        for months in (12, 18, 24, 30, 36)
                    ]
                    cells.append(f"{1200 * float(np.mean(marks)):.1f}")
                rows.append([f"{k:g}", f"{memory:g}", str(zones), *cells])
    return table(["k", "memory", "zones", *(f"{mean:g} a month" for mean in means)], rows)


TABLES: dict[str, Callable[[np.random.Generator, int], str]] = {
    "False alarms per 100 zone-years": false_alarm_table,
    "False alarms per 100 zone-years with a season": season_table,
    "Fivefold in a season, within three visits": risen_in_season_table,
    "False alarms per 100 zone-years where months lean on each other": leaning_table,
    "False alarms per 100 zone-years of other rules": other_rules_table,
    "Fivefold, within three visits": fivefold_table,
    "Visits until a rise is seen": visits_table,
    "A tenth more each month, within twelve visits": slow_table,
    "What a larger share would buy": trade_off_table,
}


def main(arguments: Sequence[str] | None = None) -> None:
    """Write the tables, each from a stream of random numbers of its own."""
    parser = argparse.ArgumentParser(prog="python -m compliance.trends.simulate")
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--part", type=int, default=1, help="run only one in so many")
    parser.add_argument("--only", type=int, choices=range(1, len(TABLES) + 1), help="one table")
    chosen = parser.parse_args(arguments)
    for number, (name, made) in enumerate(TABLES.items(), start=1):
        if chosen.only in (None, number):
            random = np.random.default_rng([chosen.seed, number])
            sys.stdout.write(f"### {name}\n\n{made(random, chosen.part)}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
