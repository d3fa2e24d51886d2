"""The cost comparison against figures worked out elsewhere.

Source of the inputs and of 40 months: constructed; worked out with numpy-financial 1.0.0 and plain
formulae, not with this code.
Source of the rounding example: the textbook half-up rule that printed money follows.
"""

from decimal import Decimal

from compliance.economics.costs import Way, compare, line_of

PROOF = Way("proof", "Lasting work", Decimal(4800), Decimal(60))
TREAT = Way("treat", "Carry on treating", Decimal(0), Decimal(180))


def test_simple_payback_of_proofing_is_forty_months():
    """Constructed: 4,800 now and 60 a month against 180 a month; simple payback 40.0 months."""
    assert compare([PROOF, TREAT], years=5).break_even.month == 40


def test_net_saving_without_discount_after_sixty_months():
    """Constructed: at a rate of zero, proofing is worth 2,400 over 60 months."""
    assert compare([PROOF, TREAT], years=5).break_even.saved == 2400


def test_proofing_that_saves_sixty_a_month_does_not_pay_within_sixty_months():
    """Constructed: a saving of 60 a month does not bring 4,800 back in 60 months."""
    little = Way("treat", "Carry on treating", Decimal(0), Decimal(120))

    meeting = compare([PROOF, little], years=5).break_even

    assert meeting.month is None
    assert meeting.saved == -1200


def test_the_yearly_equivalent_of_treating_is_twelve_months_of_it():
    """Constructed: the monthly equivalent of treating at 180 a month is 180.00 at any rate."""
    assert line_of(TREAT, 5).per_year == 12 * 180


def test_money_is_rounded_half_up():
    """Half up: 2.675 -> 2.68 and 1.005 -> 1.01, where binary floats give 2.67 and 1.00."""
    half = [Way("w", "Way", Decimal(text) * 2, Decimal(0)) for text in ("2.675", "1.005")]

    assert [line_of(way, 2).per_year for way in half] == [Decimal("2.68"), Decimal("1.01")]
