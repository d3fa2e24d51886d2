"""How long things stay open, with those that still are."""

from datetime import date, timedelta

import numpy as np
import pytest

from compliance.trends.duration import Spans, duration_words, log_rank, spans, still_open

TODAY = date(2026, 6, 30)


def of(closed: list[int], open_: list[int] = ()) -> Spans:
    opened = TODAY - timedelta(days=100)
    return spans(
        [
            *((opened, opened + timedelta(days=days)) for days in closed),
            *((TODAY - timedelta(days=days), None) for days in open_),
        ],
        TODAY,
    )


def drawn(random, number: int, mean: float) -> Spans:
    ends = np.rint(random.exponential(mean, number)).astype(np.int64)
    seen = random.integers(1, 40, number)
    return Spans(np.minimum(ends, seen), ends <= seen)


def test_days_run_to_the_day_it_was_done_or_to_today():
    one = of([0, 3], [7])

    assert one.days.tolist() == [0, 3, 7]
    assert one.done.tolist() == [True, True, False]


def test_nothing_is_done_before_it_is_opened():
    with pytest.raises(ValueError, match="before it is opened"):
        spans([(TODAY, TODAY - timedelta(days=1))], TODAY)
    with pytest.raises(ValueError, match="before it is opened"):
        spans([(TODAY + timedelta(days=1), None)], TODAY)


def test_who_was_last_seen_open_on_a_day_was_open_on_it():
    curve = still_open(of([5, 8], [5, 5]))

    assert curve.at_risk.tolist() == [4, 1]
    assert curve.share == pytest.approx([0.75, 0.0])


def test_statsmodels_says_the_same():
    from statsmodels.duration.survfunc import SurvfuncRight, survdiff

    random = np.random.default_rng(11)
    groups = [drawn(random, number, mean) for number, mean in ((40, 9), (55, 14), (30, 30))]

    for one in groups:
        theirs, ours = SurvfuncRight(one.days, one.done), still_open(one)
        places = np.searchsorted(theirs.surv_times, ours.days)
        assert ours.share == pytest.approx(theirs.surv_prob[places], abs=1e-12)
        assert ours.at_risk.tolist() == theirs.n_risk[places].tolist()
        # Theirs is undefined once all are done, where ours is 0.
        errors = np.nan_to_num(theirs.surv_prob_se[places])
        assert ours.error == pytest.approx(errors, abs=1e-12)
    statistic, p = survdiff(
        np.concatenate([one.days for one in groups]),
        np.concatenate([one.done for one in groups]),
        np.repeat([0, 1, 2], [len(one) for one in groups]),
    )
    ours = log_rank(groups)
    assert 0 < p < 0.05
    assert (ours.statistic, ours.p) == pytest.approx((statistic, p), rel=1e-9)
    assert sum(ours.expected) == pytest.approx(sum(one.done.sum() for one in groups))


@pytest.mark.parametrize(
    "groups",
    [
        pytest.param([of([1, 2])], id="one group"),
        pytest.param([of([], [3]), of([], [4])], id="nothing done"),
        pytest.param([of([9]), of([], [4])], id="nobody left to compare with"),
    ],
)
def test_what_cannot_be_compared_is_refused(groups):
    with pytest.raises(ValueError, match=r"two groups|nothing open"):
        log_rank(groups)


@pytest.mark.parametrize(
    ("some", "words"),
    [
        (of([]), "There was nothing to do."),
        (of([0, 0, 4]), "Half of them were done on the day itself. None of 3 is open still."),
        (of([1, 1, 9]), "Half of them were done within 1 day. None of 3 is open still."),
        (
            of([3, 5, 5, 8, 10, 12, 14, 21, 30, 45], [4, 9, 20, 40, 60]),
            "Half of them were done within 14 days. 5 of 15 are open still; the oldest has been so "
            "for 60 days.",
        ),
        (
            of([2], [30, 30]),
            "Fewer than half are done so far. 2 of 3 are open still; the oldest has been so for "
            "30 days.",
        ),
        (
            of([2, 2], [1]),
            "Half of them were done within 2 days. 1 of 3 is open still; it has been so for 1 day.",
        ),
        (
            of([], [0]),
            "Fewer than half are done so far. 1 of 1 is open still; it has been so since today.",
        ),
    ],
)
def test_in_words(some, words):
    assert duration_words(some) == words
