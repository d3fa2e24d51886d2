"""The bars that the settings were chosen by, in a form small enough for every run.

The seed stands here, so that a failure is a change of ours and not chance. The full tables are in
docs/algorithms/trends.md, by ``python -m compliance.trends.simulate --seed 4``.
"""

import runpy
import sys
from dataclasses import replace
from math import inf
from pathlib import Path

import numpy as np
import pytest

from compliance.trends.settings import CHOSEN
from compliance.trends.simulate import (
    BAR,
    KINDS,
    RULES,
    SLOW,
    TABLES,
    TRAPS,
    Clumps,
    Share,
    alarms,
    companies,
    could_be_seen,
    drawn,
    false_alarms,
    false_in_season,
    in_season,
    leaning,
    main,
    seen,
)


@pytest.fixture
def random():
    return np.random.default_rng(4)


@pytest.mark.parametrize("clumps", KINDS, ids=str)
@pytest.mark.parametrize("zones", [1, 40])
def test_where_nothing_has_changed_at_most_one_zone_month_in_200_alarms(random, clumps, zones):
    shares = [
        false_alarms(random, mean, clumps, zones, rows=800, after=(12, 24))
        for mean in (0.3, 1.2, 6)
    ]
    mean = float(np.mean([one.part for one in shares]))

    assert mean <= BAR + 2 * Share(BAR, sum(one.of for one in shares)).error


@pytest.mark.parametrize(("zones", "means"), [(1, (20, 60)), (20, (4, 20))])
def test_a_season_alone_keeps_the_same_bar(random, zones, means):
    """Two or three years of it. Taken as known, as it was once, a single zone breaks the bar."""
    shares = [
        false_in_season(random, mean, Clumps(4), zones, rows=240, before=24) for mean in means
    ]
    mean = float(np.mean([one.part for one in shares]))

    assert mean <= BAR + 2 * Share(BAR, sum(one.of for one in shares)).error


def test_a_careless_judge_would_break_the_bar(random):
    """The tests above could fail: with an alarm ten times as easy the bar is broken by far."""
    careless = replace(CHOSEN, most_false=0.045, share_false=0.9)
    shares = [
        false_alarms(random, 1.2, clumps, 40, rows=800, after=(12, 24), settings=careless)
        for clumps in KINDS
    ]

    assert min(one.part for one in shares) > BAR + 4 * Share(BAR, shares[0].of).error


def test_a_deaf_judge_would_miss_what_rises(random):
    """With an alarm five hundred times as hard a fivefold rise is missed, and a slow one is."""
    deaf = replace(CHOSEN, most_false=CHOSEN.most_false / 500)
    level = 0.2 * TRAPS
    sudden = seen(random, level, Clumps(4), [5.0] * 3, zones=40, runs=100, before=24, settings=deaf)
    slow = seen(random, 2 * level, Clumps(4), SLOW, zones=20, runs=60, before=24, settings=deaf)

    assert np.isfinite(sudden).mean() < 0.8 - 3 * 0.04
    assert np.isfinite(slow).mean() < 0.8 - 3 * 0.05


def test_other_rules_cry_wolf_on_the_same_clumped_counts(random):
    """What the bar is worth: the usual rules break it by far, so that this test could fail."""
    parts = {
        name: false_alarms(random, 4.0, Clumps(1, "zone"), 1, rows=500, after=(12,), rule=rule).part
        for name, rule in RULES.items()
    }

    assert min(parts.values()) > 2 * BAR
    assert parts["three sigma"] > 10 * BAR


@pytest.mark.parametrize("clumps", KINDS[:3], ids=str)
def test_a_fivefold_rise_is_seen_within_three_visits(random, clumps):
    """0.2 to 1 a trap-month over six traps, after two years, in a company of 40 zones: at least
    80 % of runs where traps clump by themselves, less three standard errors of 100 runs."""
    visit = seen(random, 0.2 * TRAPS, clumps, [5.0] * 3, zones=40, runs=100, before=24)

    assert np.isfinite(visit).mean() >= 0.8 - 3 * 0.04


@pytest.mark.parametrize("clumps", KINDS[:2], ids=str)
def test_a_slow_rise_is_seen_within_twelve_visits(random, clumps):
    """A tenth more each month from 0.4 a trap-month over six traps, after two years."""
    visit = seen(random, 0.4 * TRAPS, clumps, SLOW, zones=20, runs=60, before=24)

    assert np.isfinite(visit).mean() >= 0.8 - 3 * 0.05


def test_a_tenfold_rise_is_mostly_seen_at_the_first_visit(random):
    visit = seen(random, 0.2 * TRAPS, Clumps(), [10.0], zones=40, runs=60, before=24)

    assert (visit == 1).mean() > 0.9


def test_nothing_planted_is_hardly_ever_seen(random):
    visit = seen(random, 0.2 * TRAPS, Clumps(), [1.0] * 3, zones=40, runs=60, before=24)

    assert np.isinf(visit).mean() > 0.9


@pytest.mark.parametrize(
    ("clumps", "part"), [(Clumps(), 0.99), (Clumps(1), 0.92), (Clumps(1, "zone"), 0.6)], ids=str
)
def test_who_knows_all_sees_no_more_than_this(random, clumps, part):
    """Where a whole zone clumps with k = 1, no rule can see the fivefold rise in 80 of 100."""
    best = could_be_seen(random, 0.2 * TRAPS, clumps, [5.0] * 3, runs=20_000)

    assert best == pytest.approx(part, abs=0.03)


def test_draws_have_the_mean_and_the_variance_they_are_asked_for(random):
    counts = drawn(random, np.array(4.0), Clumps(2, "zone"), (50_000,))

    assert counts.mean() == pytest.approx(4.0, rel=0.03)
    assert counts.var() == pytest.approx(4.0 + 16.0 / 2, rel=0.06)
    assert (Clumps(1).of_zone, Clumps(1, "zone").of_zone, Clumps().of_zone) == (TRAPS, 1, inf)


def test_populations_that_grow_and_fade_vary_as_they_are_asked_to(random):
    counts = leaning(random, 20.0, 4.0, 0.6, (20_000, 8))
    along = [np.corrcoef(counts[:, 4], counts[:, 4 + later])[0, 1] for later in (1, 2)]

    assert counts.mean() == pytest.approx(20.0, rel=0.03)
    assert counts[:, -1].var() == pytest.approx(20 + 400 / 4, rel=0.1)
    # A count varies around its level, so that counts lean on each other a little less.
    assert along == pytest.approx([0.6 * 100 / 120, 0.36 * 100 / 120], abs=0.03)
    assert leaning(random, 20.0, 4.0, 0.0, (9_000, 2))[:, 1].var() == pytest.approx(120, rel=0.1)


def test_months_that_lean_on_each_other_alarm_more_often(random):
    """Growing and fading with k = 1 and a memory of 0.6: a single zone breaks the bar by far, which
    the document says, as nothing here knows of memory."""
    parts = [
        alarms(leaning(random, 4.0, 1.0, memory, (4_000, 25)), 1).mean() for memory in (0.0, 0.6)
    ]

    assert parts[0] <= BAR + 2 * Share(BAR, 4_000).error
    assert 2 * BAR < parts[1] < 0.05


def test_a_season_has_its_mean_and_its_peak():
    level = in_season(4.0, 24)

    assert level.mean() == pytest.approx(4.0)
    assert level.max() / level.min() == pytest.approx(np.exp(2))
    assert (level.argmax(), level[:12].argmin()) == (0, 6)


def test_a_rise_in_season_is_planted_in_one_zone_only(random):
    """What the season brings is usual for all; five times as much in one is not."""
    usual = in_season(4.0, 27) / 4.0
    quiet = seen(random, 4.0, Clumps(), usual[-3:], zones=20, runs=20, before=24, usual=usual)
    risen = seen(random, 4.0, Clumps(), 5 * usual[-3:], zones=20, runs=20, before=24, usual=usual)

    assert np.isinf(quiet).mean() > 0.8
    assert np.isfinite(risen).mean() > 0.9


def test_each_company_is_judged_by_itself(random):
    counts = drawn(random, np.array(1.2), Clumps(), (80, 25))
    counts[0, -1] = counts[40, -1] = 30

    marks = alarms(counts, 40)

    assert np.flatnonzero(marks).tolist() == [0, 40]
    assert companies(counts, 40).groups == 2


def test_a_share_that_never_came_about_is_still_uncertain():
    assert Share(0.0, 400).error == pytest.approx(1 / 400)


def test_the_command_writes_every_table_the_same_for_the_same_seed(capsys):
    main(["--seed", "4", "--part", "100000"])
    first = capsys.readouterr().out
    main(["--seed", "4", "--part", "100000", "--only", "4"])
    fourth = capsys.readouterr().out

    assert [line[4:] for line in first.splitlines() if line.startswith("### ")] == list(TABLES)
    assert fourth in first
    assert CHOSEN.share_false == 0.2


def test_it_runs_as_a_command(monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["simulate", "--help"])
    monkeypatch.delitem(sys.modules, "compliance.trends.simulate")

    with pytest.raises(SystemExit, match="0"):
        runpy.run_module("compliance.trends.simulate", run_name="__main__")

    assert "--seed" in capsys.readouterr().out


def test_the_document_has_every_table_and_the_settings_they_were_made_with():
    text = (Path(__file__).parents[3] / "docs" / "algorithms" / "trends.md").read_text()

    assert [name for name in TABLES if f"### {name}\n" not in text] == []
    assert "python -m compliance.trends.simulate --seed 4" in text
    assert f"must reach {CHOSEN.most_false} by itself" in text
    assert f"Chosen: {CHOSEN.share_false}." in text
    assert f"has {CHOSEN.least_readings} readings in {CHOSEN.least_months} months" in text
    assert f"at most {CHOSEN.longest_baseline} months" in text
