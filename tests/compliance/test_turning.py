"""What would turn the ranking: by hand, and whether it does turn."""

from dataclasses import replace
from decimal import Decimal

from hypothesis import given, settings

from compliance.economics.turning import turning_points
from compliance.economics.worth import Terms, weigh
from tests.compliance.economics_cases import PROOF, TREAT, ZERO, some_ways, terms


def test_what_would_turn_sealing_against_treating():
    """By hand at 0 %: sealing saves 2,400 over 60 months, so it may cost 7,200, or 100 a month to
    keep; treating may cost 140 a month; in three years nothing is paid back yet (40 months)."""
    found = {(turn.key, turn.what): turn for turn in turning_points([PROOF, TREAT], Terms(5))}
    assert found["proof", "once"].at == 7200
    assert found["proof", "monthly"].at == 100
    assert found["treat", "monthly"].at == 140
    assert found[None, "years"].at == 3
    # The internal rate of 4,800 now against 120 a month is 18.709 % (SciPy's root finder).
    assert found[None, "yearly_rate"].at == Decimal("0.188")
    assert all(turn.then_cheapest == "treat" for turn in found.values())
    # Treating costs nothing at its start; no sum there makes it cheaper, and it is already nothing.
    assert ("treat", "once") not in found


@settings(deadline=None, max_examples=60)
@given(some_ways(least=2), terms)
def test_what_is_said_to_turn_the_ranking_turns_it(ways, under):
    weighed = weigh(ways, under)
    shares = []
    for turn in turning_points(ways, under):
        moved, then = ways, under
        at = int(turn.at) if turn.what in {"life_months", "years"} else turn.at
        if turn.key is None:
            then = replace(under, **{turn.what: at})
        else:
            moved = [replace(w, **{turn.what: at}) if w.key == turn.key else w for w in ways]
        presents = {one.way.key: one.present for one in weigh(moved, then).worths}
        # Sums are told to the cent, and each may be paid in every one of 120 months and renewals.
        slack = Decimal(0) if turn.what in {"life_months", "years"} else Decimal(20)
        assert presents[turn.then_cheapest] - min(presents.values()) <= slack
        assert turn.then_cheapest != weighed.cheapest[0]
        shares.append(turn.share)
    assert shares == sorted(shares)


def test_a_life_that_ends_too_soon_turns_the_ranking():
    lasting = replace(PROOF, life_months=120)
    found = {(turn.key, turn.what): turn for turn in turning_points([lasting, TREAT], Terms(5))}
    # Bought twice within five years sealing costs 13,200 against 10,800.
    assert found["proof", "life_months"].at == 59
    assert found["proof", "life_months"].then_cheapest == "treat"


def test_growing_prices_turn_it_for_whoever_treats():
    little = replace(TREAT, monthly=Decimal(130))
    found = {(turn.key, turn.what): turn for turn in turning_points([PROOF, little], Terms(5))}
    turn = found[None, "yearly_growth"]
    assert turn.then_cheapest == "proof"
    assert weigh([PROOF, little], Terms(5, ZERO, turn.at)).cheapest == ("proof",)
    before = turn.at - Decimal("0.001")
    assert weigh([PROOF, little], Terms(5, ZERO, before)).cheapest == ("treat",)
