"""Present values, annuities, equivalent costs and payback against published worked examples.

Sources: the docstring examples of numpy-financial 1.0.0 (seen); an annuity table of an accounting
textbook (Blocher and others, chapter 12, table 2, three places, seen); worked answers of exam and
engineering-economy texts (web copies, seen); one open encyclopaedia's example (from memory, its
arithmetic done again). The constructed case was worked out with numpy-financial and plain formulae,
not with this code.
"""

from decimal import Decimal

import pytest

from compliance.economics.costs import Way
from compliance.economics.flows import annuity_factor, equivalent, payback, per_month, present_value
from compliance.economics.turning import turning_points
from compliance.economics.worth import Terms, weigh

PROOF = Way("proof", "Lasting work", Decimal(4800), Decimal(60))
TREAT = Way("treat", "Carry on treating", Decimal(0), Decimal(180))
SIX = Terms(years=5, yearly_rate=Decimal("0.06"))


def decimals(*values: float) -> list[Decimal]:
    return [Decimal(str(value)) for value in values]


def close(found: Decimal | None, wanted: float, within: float) -> bool:
    return found is not None and abs(float(found) - wanted) <= within


def test_net_present_value():
    """numpy-financial, npv: 3065.22267."""
    flows = decimals(-40000, 5000, 8000, 12000, 30000)
    assert close(present_value(flows, Decimal("0.08")), 3065.22267, 0.00001)


def test_flows_that_all_come_a_period_later_are_worth_a_period_less():
    """The same flows the way a spreadsheet's NPV counts, from period 1: 2838.169137 (computed)."""
    flows = decimals(0, -40000, 5000, 8000, 12000, 30000)
    assert close(present_value(flows, Decimal("0.08")), 2838.169137203262, 1e-6)


@pytest.mark.parametrize(
    ("rate", "flows"),
    [
        (0.28095, (-100, 39, 59, 55, 20)),
        (-0.0955, (-100, 0, 0, 74)),
        (-0.0833, (-100, 100, 0, -7)),
        (0.06206, (-100, 100, 0, 7)),
    ],
)
def test_at_the_internal_rate_flows_are_worth_nothing(rate, flows):
    """numpy-financial, irr: 0.28095, -0.0955, -0.0833, 0.06206, printed to so many places."""
    assert close(present_value(decimals(*flows), Decimal(str(rate))), 0, 0.01)


def test_the_payment_that_a_present_value_buys():
    """numpy-financial, pmt: 200,000 over 180 months at 7.5 %/12 costs 1854.0247 a month."""
    rate = Decimal("0.075") / 12
    assert close(equivalent(Decimal(200000), rate, 180), 1854.024720005462, 1e-6)


def test_what_a_hundred_a_month_is_worth():
    """numpy-financial, pv: 100 a month, 120 months, 5 %/12, against 15,692.93 then: 100.0007."""
    rate = Decimal("0.05") / 12
    months = [Decimal(0)] + [Decimal(-100)] * 119 + [Decimal(-100) + Decimal("15692.93")]
    assert close(present_value(months, rate), 100.000671316258, 1e-6)


def test_how_long_a_loan_is_paid_back():
    """numpy-financial, nper: 8,000 at 7 %/12 takes 64.07335 payments of 150. It counts a part of a
    month by the logarithm, ours in proportion, so they differ in the fourth place."""
    flows = [Decimal(-8000), *[Decimal(150)] * 100]
    assert close(payback(flows, Decimal("0.07") / 12), 64.07335, 0.0005)


FIVE_PLACES = {
    9: {1: 0.91743, 5: 3.88965, 10: 6.41766, 20: 9.12855, 30: 10.27365},
    10: {1: 0.90909, 5: 3.79079, 10: 6.14457, 20: 8.51356, 30: 9.42691},
    12: {1: 0.89286, 5: 3.60478, 10: 5.65022, 20: 7.46944, 30: 8.05518},
    14: {1: 0.87719, 5: 3.43308, 10: 5.21612, 20: 6.62313, 30: 7.00266},
}


@pytest.mark.parametrize("percent", FIVE_PLACES)
def test_annuity_factors_of_a_longer_table(percent):
    """A textbook's appendix of interest tables (web copy, seen), to 30 periods, five places."""
    row = FIVE_PLACES[percent]
    found = {periods: float(annuity_factor(Decimal(percent) / 100, periods)) for periods in row}
    assert found == pytest.approx(row, abs=0.0000051)


@pytest.mark.parametrize(
    ("percent", "years", "wanted"),
    [
        (8, 5, 0.250456454567),
        (8, 10, 0.149029488697),
        (10, 15, 0.131473776887),
        (5, 3, 0.367208564631),
        (5, 8, 0.154721813628),
    ],
)
def test_what_recovers_one_unit_of_capital(percent, years, wanted):
    """Capital recovery factors, computed by the plain formula and not with this code."""
    assert close(equivalent(Decimal(1), Decimal(percent) / 100, years), wanted, 1e-12)


THREE_PLACES = {
    4: (0.962, 1.886, 2.775, 3.63, 4.452, 5.242, 6.002, 6.733, 7.435, 8.111),
    5: (0.952, 1.859, 2.723, 3.546, 4.329, 5.076, 5.786, 6.463, 7.108, 7.722),
    6: (0.943, 1.833, 2.673, 3.465, 4.212, 4.917, 5.582, 6.21, 6.802, 7.36),
    8: (0.926, 1.783, 2.577, 3.312, 3.993, 4.623, 5.206, 5.747, 6.247, 6.71),
    10: (0.909, 1.736, 2.487, 3.17, 3.791, 4.355, 4.868, 5.335, 5.759, 6.145),
    12: (0.893, 1.69, 2.402, 3.037, 3.605, 4.111, 4.564, 4.968, 5.328, 5.65),
    15: (0.87, 1.626, 2.283, 2.855, 3.352, 3.784, 4.16, 4.487, 4.772, 5.019),
}


@pytest.mark.parametrize("percent", THREE_PLACES)
def test_annuity_factors_of_a_printed_table(percent):
    """The accounting textbook's table, one to ten periods, three places."""
    found = [float(annuity_factor(Decimal(percent) / 100, periods)) for periods in range(1, 11)]
    assert found == pytest.approx(THREE_PLACES[percent], abs=0.00051)


def test_at_no_interest_the_factor_is_the_number_of_periods():
    """The rule of the same table's first column; a(n, 0) = n."""
    assert [annuity_factor(Decimal(0), number) for number in (1, 7, 10)] == [1, 7, 10]


@pytest.mark.parametrize(
    ("capital", "yearly", "salvage", "years", "rate", "printed", "within"),
    [
        (25000, 500, 2000, 10, 0.08, 4087.69, 0.02),  # five-place factors: a cent off
        (8000, 5500, 500, 5, 0.08, 7418.45, 0.03),
        (50000, 13000, 0, 3, 0.05, 31360, 0.5),  # the encyclopaedia's, from memory
        (150000, 7500, 0, 8, 0.05, 30708, 0.5),  # likewise
    ],
)
def test_equivalent_yearly_cost(capital, yearly, salvage, years, rate, printed, within):
    """Engineering-economy worked answers: capital, running cost, salvage, as one sum a year."""
    flows = decimals(capital, *[yearly] * (years - 1), yearly - salvage)
    rate = Decimal(str(rate))
    assert close(equivalent(present_value(flows, rate), rate, years), printed, within)


def test_cost_that_comes_only_in_later_years():
    """Engineering-economy exercise: present 5276.8 and 693.76 a year over fifteen years."""
    flows = decimals(*[0] * 6, *[1000] * 5, *[2000] * 5)
    present = present_value(flows, Decimal("0.1"))
    assert close(present, 5276.8, 0.05)
    assert close(equivalent(present, Decimal("0.1"), 15), 693.76, 0.005)


@pytest.mark.parametrize(
    ("flows", "rate", "years", "within"),
    [
        # Professional-exam answer; its printed running sum crosses nil between years 3 and 4.
        ((-200000, 60000, 80000, 70000, 60000, 50000), "0.12", 3.860936533333, 1e-9),
        ((-2324000, *[600000] * 6), "0.11", 5.331879466937, 1e-9),
        ((-210, 85, 75, 85, 105), "0.11", 3.15, 0.005),  # printed
        # The web answer, 4.9, turned the fraction round: at year 5 it is still 143.95 behind.
        ((-10000, *[2600] * 6), "0.1", 5.098086153846, 1e-9),
        ((-10000, *[2600] * 6), "0", 3.846153846154, 1e-9),
    ],
)
def test_payback_in_todays_money(flows, rate, years, within):
    """Worked answers of exams; where none was printed so exactly, by plain formulae."""
    assert close(payback(decimals(*flows), Decimal(rate)), years, within)


def test_what_never_comes_back():
    """The same 2,600 a year at 15 %: not within six years."""
    assert payback(decimals(-10000, *[2600] * 6), Decimal("0.15")) is None


def test_printed_running_sum():
    """The exam answer's printed present values year by year add up to what is left: 33,673.98."""
    flows = decimals(-200000, 60000, 80000, 70000, 60000, 50000)
    assert close(present_value(flows, Decimal("0.12")), 33673.98, 0.005)


def test_sealing_against_treating_in_todays_money():
    """Constructed: 4,800 and 60 a month against 180 a month, 60 months, 6 % effective."""
    weighed = weigh([PROOF, TREAT], SIX)
    proof, treat = weighed.worths
    assert close(per_month(Decimal("0.06")), 0.004867550565, 1e-12)
    assert close(proof.present, 7915.429295384804, 1e-8)
    assert close(treat.present, 9346.287886154414, 1e-8)
    assert weighed.payback is not None
    assert close(weighed.payback.present_saved, 1430.85859076961, 1e-8)
    exact = payback([Decimal(-4800), *[Decimal(120)] * 60], per_month(Decimal("0.06")))
    assert close(exact, 44.59580769098, 1e-9)
    # Whole months are told, so the end of month 45.
    assert (weighed.payback.month, weighed.payback.discounted_month) == (40, 45)
    monthly = equivalent(proof.present, per_month(Decimal("0.06")), 60)
    assert close(monthly, 152.443118650339, 1e-9)


def test_a_nominal_rate_over_twelve_is_another_convention():
    """Constructed, 6 %/12 a month: twelve of these make 6.168 % a year, so later money weighs
    less, and sealing saves 1407.07 where an effective 6 % makes it 1430.86."""
    nominal = Terms(years=5, yearly_rate=Decimal("1.005") ** 12 - 1)
    weighed = weigh([PROOF, TREAT], nominal)
    assert close(weighed.worths[0].present, 7903.533645067927, 1e-6)
    assert close(weighed.worths[1].present, 9310.600935203778, 1e-6)
    assert weighed.payback is not None
    assert close(weighed.payback.present_saved, 1407.067290135851, 1e-6)
    exact = payback([Decimal(-4800), *[Decimal(120)] * 60], Decimal("0.005"))
    assert close(exact, 44.740668676851, 1e-9)


def test_savings_taken_at_the_end_of_each_year_come_too_late():
    """Constructed: twelve savings of 120 as one of 1,440 a year make 1265.80, not 1430.86."""
    flows = [Decimal(-4800), *[Decimal(1440)] * 5]
    assert close(present_value(flows, Decimal("0.06")), 1265.803851214633, 1e-8)


def test_what_treating_may_cost_before_sealing_pays():
    """Constructed: a saving of 92.443118 a month just pays, so treating at 152.44 is the turn."""
    turns = {(turn.key, turn.what): turn.at for turn in turning_points([PROOF, TREAT], SIX)}
    assert turns["treat", "monthly"] == Decimal("152.44")


def test_a_saving_of_sixty_a_month_never_pays():
    """Constructed: 4,800 against 60 saved each month is 1,684.57 short after 60 months."""
    little = Way("treat", "Carry on treating", Decimal(0), Decimal(120))
    back = weigh([PROOF, little], SIX).payback
    assert back is not None
    assert back.discounted_month is None
    assert close(back.present_saved, -1684.570704615195, 1e-8)
