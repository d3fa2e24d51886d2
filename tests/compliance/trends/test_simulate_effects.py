"""The tables of docs/algorithms/rates-and-effects.md, in a smaller form."""

import re
import runpy
import sys
from pathlib import Path

import numpy as np
import pytest

from compliance.trends import simulate_effects
from compliance.trends.simulate_effects import (
    PLACES,
    SERIES,
    TABLES,
    dispersion,
    drawn,
    limits_table,
    main,
)

DOCUMENT = Path(__file__).parents[3] / "docs/algorithms/rates-and-effects.md"


def shares(table: str) -> list[list[float]]:
    """The percentages of a table, row for row."""
    rows = [re.findall(r"([\d.]+) %", line) for line in table.splitlines()[2:]]
    return [[float(one) for one in row] for row in rows]


def test_known_dispersion_holds_its_promise_in_every_place():
    """95 of 100, give or take what 2,000 runs can tell; without it, clumped places fall short."""
    rows = shares(limits_table(np.random.default_rng(4), 10))

    assert len(rows) == len(PLACES)
    assert min(known for known, _, _ in rows) > 93.5
    assert min(none for _, _, none in rows) < 75.0


@pytest.mark.parametrize("k", [np.inf, 1.0])
def test_counts_have_the_mean_and_the_dispersion_that_is_said(k):
    counts = drawn(np.random.default_rng(4), 2.0, k, (200_000,))

    assert counts.mean() == pytest.approx(2.0, abs=0.03)
    assert counts.var() / counts.mean() == pytest.approx(dispersion(2.0, k), rel=0.03)


def test_the_same_seed_writes_the_same_tables(capsys):
    main(["--seed", "9", "--part", "500"])
    first = capsys.readouterr().out
    main(["--seed", "9", "--part", "500"])

    assert capsys.readouterr().out == first
    assert [line[4:] for line in first.splitlines() if line.startswith("###")] == list(TABLES)
    assert len(first.splitlines()) > 2 * len(PLACES) + len(SERIES)


@pytest.mark.filterwarnings("ignore:.*found in sys.modules:RuntimeWarning")
def test_it_is_a_command_that_says_what_it_takes(capsys, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["simulate_effects", "--help"])

    with pytest.raises(SystemExit) as ended:
        runpy.run_module("compliance.trends.simulate_effects", run_name="__main__")

    assert ended.value.code == 0
    assert "--seed SEED" in capsys.readouterr().out


def test_the_document_prints_the_tables_that_the_command_writes():
    """The first table whole, and of all tables every row with what it is about."""
    text = DOCUMENT.read_text()

    assert limits_table(np.random.default_rng([4, 1]), 1) in text
    for name in TABLES:
        assert f"### {name}\n" in text
    for name, *_ in SERIES:
        assert f"| {name} |" in text
    assert f"python -m {simulate_effects.__name__} --seed 4" in text
