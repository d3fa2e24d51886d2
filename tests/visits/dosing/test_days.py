"""Days as people read them, and the same day in another year."""

from datetime import date

import pytest

from visits.dosing.days import day_words, years_later


def test_a_day_is_written_out_without_a_zero():
    assert day_words(date(2026, 12, 3)) == "3 December 2026"


@pytest.mark.parametrize(
    ("day", "years", "later"),
    [
        (date(2026, 3, 4), 3, date(2029, 3, 4)),
        (date(2024, 2, 29), 4, date(2028, 2, 29)),
        (date(2024, 2, 29), 3, date(2027, 3, 1)),
    ],
)
def test_a_leap_day_is_never_cut_short(day, years, later):
    assert years_later(day, years) == later


def test_a_day_typed_wrongly_stays_a_day():
    assert years_later(date(9999, 12, 31), 5) == date(9999, 12, 31)
