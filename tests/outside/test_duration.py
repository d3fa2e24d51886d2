"""How long things stay open against a published trial and against constructed days to close.

Freireich EJ et al. (1963) Blood 21:699-716: weeks of remission of 21 patients on 6-mercaptopurine
and 21 on placebo (data set drug6mp of R package KMsurv, Klein and Moeschberger). Shares, standard
errors and limits stand in printed output of R; the log-rank 16.79 is from memory. All of it was
recomputed with survival 3.5-3 of R 4.2.2 and lifelines 0.30.3. The other days are constructed.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from compliance.trends.duration import Spans, log_rank, still_open

with (Path(__file__).parent / "data" / "leukaemia-remission.csv").open() as lines:
    ROWS = list(csv.DictReader(lines))


def spans_of(days: list[int], done: list[bool]) -> Spans:
    return Spans(np.array(days, dtype=np.int64), np.array(done, dtype=np.bool_))


def arm(name: str) -> Spans:
    rows = [row for row in ROWS if row["group"] == name]
    return spans_of([int(row["weeks"]) for row in rows], [row["event"] == "1" for row in rows])


TREATED, PLACEBO = arm("6-MP"), arm("placebo")


def test_the_share_in_remission_on_6_mp():
    """Printed to three figures; recomputed to twelve."""
    curve = still_open(TREATED)

    assert curve.days.tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert curve.at_risk.tolist() == [21, 17, 15, 12, 11, 7, 6]
    assert curve.done.tolist() == [3, 1, 1, 1, 1, 1, 1]
    assert curve.share == pytest.approx([0.857, 0.807, 0.753, 0.69, 0.627, 0.538, 0.448], abs=6e-4)
    assert curve.share == pytest.approx(
        [
            *(0.857142857143, 0.806722689076, 0.752941176471, 0.690196078431),
            *(0.627450980392, 0.53781512605, 0.448179271709),
        ],
        abs=1e-12,
    )


def test_its_standard_errors_and_limits():
    """Greenwood's errors, printed and recomputed; limits by log minus log, recomputed; and the
    printed limits, which are taken on the log and come from the same errors."""
    curve = still_open(TREATED)
    ratio = np.exp(1.959963984540054 * curve.error / curve.share)

    assert curve.error == pytest.approx(
        [0.0764, 0.0869, 0.0963, 0.1068, 0.1141, 0.1282, 0.1346], abs=6e-5
    )
    assert curve.error == pytest.approx(
        [
            *(0.07636035483, 0.08693528518, 0.09634965299, 0.10681470778),
            *(0.11405386526, 0.12823375169, 0.13459145676),
        ],
        abs=1e-10,
    )
    assert curve.lower == pytest.approx(
        [
            *(0.619717955266, 0.563146564622, 0.5031995108, 0.431610222486),
            *(0.367510855988, 0.267778936767, 0.188052005959),
        ],
        abs=1e-11,
    )
    assert curve.upper == pytest.approx(
        [
            *(0.951551747647, 0.922809019203, 0.889361835169, 0.849065963349),
            *(0.804912189472, 0.746790717635, 0.680142628495),
        ],
        abs=1e-11,
    )
    assert curve.share / ratio == pytest.approx(
        [0.72, 0.653, 0.586, 0.51, 0.439, 0.337, 0.249], abs=6e-4
    )
    assert np.minimum(curve.share * ratio, 1) == pytest.approx(
        [1, 0.996, 0.968, 0.935, 0.896, 0.858, 0.807], abs=6e-4
    )


def test_the_placebo_arm_without_anybody_left():
    """Without open ones the curve is the plain share: 19, 17, 16 … of 21, and 0 at the end."""
    curve = still_open(PLACEBO)

    assert curve.days.tolist() == [1, 2, 3, 4, 5, 8, 11, 12, 15, 17, 22, 23]
    assert curve.share * 21 == pytest.approx([19, 17, 16, 14, 12, 8, 6, 4, 3, 2, 1, 0], abs=1e-9)
    assert (curve.error[-1], curve.lower[-1], curve.upper[-1]) == (0, 0, 0)


def test_medians_and_quartiles():
    """23 and 8 weeks; 6-MP 13 by a quarter, and three quarters are not reached."""
    treated, placebo = still_open(TREATED), still_open(PLACEBO)

    assert (treated.within(), placebo.within()) == (23, 8)
    assert (treated.within(0.25), treated.within(0.75)) == (13, None)


def test_restricted_means_are_the_area_below_the_curve():
    """To 35 weeks: 23.28739 and 8.66667 (R)."""
    for spans, mean in ((TREATED, 23.28739), (PLACEBO, 8.66667)):
        curve = still_open(spans)
        steps = np.diff(np.concatenate([[0], curve.days, [35]]))
        assert steps @ np.concatenate([[1.0], curve.share]) == pytest.approx(mean, abs=5e-6)


def test_log_rank():
    """16.79294099, p 4.1688e-05, 19.2505 and 10.7495 expected, in either order of the arms."""
    test = log_rank([TREATED, PLACEBO])

    assert test.statistic == pytest.approx(16.79294099, abs=1e-8)
    assert test.p == pytest.approx(4.1688091e-05, rel=1e-7)
    assert test.expected == pytest.approx((19.25050095, 10.74949905), abs=1e-8)
    assert log_rank([PLACEBO, TREATED]).statistic == pytest.approx(test.statistic)


def test_fifteen_actions_of_which_five_are_open():
    """Constructed. The median of the ten that were closed is 11 days; of all it is 14."""
    closed, open_ = [3, 5, 5, 8, 10, 12, 14, 21, 30, 45], [4, 9, 20, 40, 60]
    curve = still_open(spans_of(closed + open_, [True] * 10 + [False] * 5))

    assert curve.days.tolist() == [3, 5, 8, 10, 12, 14, 21, 30, 45]
    assert curve.at_risk.tolist() == [15, 13, 11, 9, 8, 7, 5, 4, 2]
    assert curve.done.tolist() == [1, 2, 1, 1, 1, 1, 1, 1, 1]
    assert curve.share == pytest.approx(
        [
            *(14 / 15, 154 / 195, 28 / 39, 224 / 351, 196 / 351),
            *(56 / 117, 224 / 585, 56 / 195, 28 / 195),
        ],
        abs=1e-12,
    )
    assert (np.median(closed), curve.within()) == (11.0, 14)


def test_where_exactly_half_are_left_the_first_day_counts():
    """1, 2, 3, 4 days: R says 2.5, lifelines 2. Half of them are done by the second day."""
    curve = still_open(spans_of([1, 2, 3, 4], [True] * 4))

    assert curve.share == pytest.approx([0.75, 0.5, 0.25, 0], abs=1e-12)
    assert curve.within() == 2


def test_nothing_done_and_nothing_there():
    """All open: the share stays 1, the median is not reached. Nothing: nothing to say."""
    for days in ([4, 9], []):
        curve = still_open(spans_of(days, [False] * len(days)))
        assert (len(curve.days), curve.within()) == (0, None)
