"""Lists as CSV run no formula in a spreadsheet. Source: OWASP ASVS 5.0, 1.2.10."""

import csv
from datetime import date
from decimal import Decimal

import pytest

from accounts.sheets import as_cell, csv_answer, csv_lines


@pytest.mark.parametrize(
    "text",
    [
        "=1+1",
        "+44 1632 960001",
        "-2+3",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        "  =1",
        "\ufeff=1",
        '"=1"',
        "'=1",
        "＝1",
        "＠x",
    ],
)
def test_what_would_run_is_text(text):
    assert as_cell(text) == f"'{text}"


@pytest.mark.parametrize("value", ["Quay 1", "a=b", -3, 2.5, Decimal("-1.50"), date(2026, 1, 5)])
def test_what_is_harmless_stays_as_it_is(value):
    assert as_cell(value) == value


def test_nothing_is_an_empty_cell():
    assert as_cell(None) == ""


def test_the_lines_can_be_read_again():
    lines = list(csv_lines(["name", "note"], [["Bo, Marsh", 'said "no"'], ["Kit", "two\nlines"]]))

    assert lines[0].startswith("\ufeff")
    text = "".join(lines).removeprefix("\ufeff")
    assert list(csv.reader(text.splitlines(keepends=True))) == [
        ["name", "note"],
        ["Bo, Marsh", 'said "no"'],
        ["Kit", "two\nlines"],
    ]


def test_the_name_of_the_file_is_harmless():
    answer = csv_answer('monitors ../S"1\n', ["number"], [])

    assert answer["Content-Disposition"] == 'attachment; filename="monitors ..-S\\"1.csv"'
