"""Did it help? What was caught after a treatment or a checked proofing against what was before.

The answer is a ratio of rates with its limits, said in words, and "not known" where the limits
leave it open. Whether the work did it is only asked against zones that had none in the same time,
since pests also go by themselves, with the season and with the weather.

Sources: one ratio: exact limits given the total, as in Gu K, Ng HKT, Tang ML, Schucany WR (2008)
Testing the ratio of two Poisson rates, Biometrical J. 50:283-298, and R's poisson.test. A ratio of
two ratios is 1 minus the corrected efficacy of Henderson CF, Tilton EW (1955) J. Econ. Entomol.
48:157-161 (formula from memory); its exact limits are those of a conditional odds ratio, as in R's
fisher.test. Where individuals come in clumps, the limits of a ratio of ratios are put together from
those of the two ratios after Zou GY, Donner A (2008) Stat. Med. 27:1693-1702 (from memory).
Docs: docs/algorithms/rates-and-effects.md (Did it help?).
"""

from dataclasses import dataclass
from math import exp, hypot, inf, isinf, log, nan
from typing import Literal

import numpy as np

from compliance.trends.rates import CONFIDENCE, short

Change = Literal["fewer", "more", "not_known"]

FAR = 300.0
"""Natural logarithm: no odds that counts can tell lie further out than this."""


@dataclass(frozen=True, slots=True)
class Window:
    """What was caught in how many trap-days, before the work or after it.

    The window before should be a stretch of ordinary readings, and not only the high one that
    called for the work: the highest of many is followed by a lower one whatever is done.
    ``full``: a trap was full, so that there may have been more.
    """

    count: int
    exposure: float
    full: bool = False


@dataclass(frozen=True, slots=True)
class Ratio:
    """After over before: 0.5 is half of what it was. ``lower`` may be 0, ``upper`` may be ``inf``.

    ``value`` is None where nothing was caught that it could be told from.
    """

    value: float | None
    lower: float
    upper: float

    @property
    def change(self) -> Change:
        """Which way it went, if the limits leave no doubt."""
        if self.upper < 1.0:
            return "fewer"
        if self.lower > 1.0:
            return "more"
        return "not_known"


@dataclass(frozen=True, slots=True)
class Effect:
    """What can be said of a piece of work.

    ``p``: how likely so large a change is where there is none, both ways counted, NaN where nothing
    can be told; for judging many together. ``against_others`` is the ratio to the zones that had no
    such work, None where none was compared. ``words`` say it all, for the client's page.
    """

    ratio: Ratio
    p: float
    others: Ratio | None
    against_others: Ratio | None
    words: str


def effect(
    before: Window,
    after: Window,
    *,
    others: tuple[Window, Window] | None = None,
    confidence: float = CONFIDENCE,
    phi: float = 1.0,
) -> Effect:
    """What a piece of work did, as far as can be told.

    ``others``: before and after, summed over zones like these that had no such work in that time.
    ``phi``: variance over mean of the readings, as for ``rates.limits``.
    """
    ratio = rate_ratio(before, after, confidence=confidence, phi=phi)
    theirs = against = None
    if others is not None:
        theirs = rate_ratio(*others, confidence=confidence, phi=phi)
        against = ratio_of_ratios((before, after), others, confidence=confidence, phi=phi)
    p = nan
    if ratio.value is not None:
        fewer, more = p_fewer(before, after, phi=phi), p_more(before, after, phi=phi)
        p = min(1.0, 2.0 * min(fewer, more))
    words = " ".join([_change_words(before, after, ratio), *_others_words(ratio, theirs, against)])
    return Effect(ratio=ratio, p=p, others=theirs, against_others=against, words=words)


def rate_ratio(
    before: Window, after: Window, *, confidence: float = CONFIDENCE, phi: float = 1.0
) -> Ratio:
    """The rate after over the rate before, with limits that are exact where ``phi`` is 1.

    Given how many were caught in all, how many of them fall after is binomial (Clopper-Pearson).
    A full trap before leaves no lower limit, and one after no upper one. Raises ``ValueError`` for
    a count without exposure, or either below 0.
    """
    from scipy.special import betaincinv

    _require_sound(before, after)
    if not _told(before, after):
        return Ratio(None, 0.0, inf)
    early, late = before.count / max(phi, 1.0), after.count / max(phi, 1.0)
    tail = (1.0 - confidence) / 2.0
    scale = before.exposure / after.exposure
    lower, upper = 0.0, inf
    if late and not before.full:
        lower = _odds(float(betaincinv(late, early + 1.0, tail))) * scale
    if early and not after.full:
        # By way of the share that falls before, as that of after may round to all of it.
        odds_before = _odds(float(betaincinv(early, late + 1.0, tail)))
        upper = scale / odds_before if odds_before else inf
    return Ratio(late / early * scale if early else inf, lower, upper)


def p_more(before: Window, after: Window, *, phi: float = 1.0) -> float:
    """How likely it is to catch as many after, or more, where the rate has not changed."""
    from scipy.special import betainc

    _require_sound(before, after)
    early, late = before.count / max(phi, 1.0), after.count / max(phi, 1.0)
    if not late:
        return 1.0
    return float(betainc(late, early + 1.0, after.exposure / (before.exposure + after.exposure)))


def p_fewer(before: Window, after: Window, *, phi: float = 1.0) -> float:
    """How likely it is to catch as few after, or fewer, where the rate has not changed."""
    return p_more(after, before, phi=phi)


def ratio_of_ratios(
    here: tuple[Window, Window],
    others: tuple[Window, Window],
    *,
    confidence: float = CONFIDENCE,
    phi: float = 1.0,
) -> Ratio:
    """How the change here compares with the change in the zones that had no such work.

    Both are (before, after). Exact where ``phi`` is 1: given what was caught in all before and
    after, here and there, the count here and after follows Fisher's noncentral hypergeometric
    distribution. Raises ``ValueError`` as ``rate_ratio`` does.
    """
    _require_sound(*here, *others)
    if not (_told(*here) and _told(*others)):
        return Ratio(None, 0.0, inf)
    scale = (here[0].exposure * others[1].exposure) / (here[1].exposure * others[0].exposure)
    top, bottom = here[1].count * others[0].count, here[0].count * others[1].count
    value = top / bottom * scale if bottom else inf if top else None
    if phi > 1.0:
        lower, upper = _clumped_limits(here, others, confidence, phi)
    else:
        tail = (1.0 - confidence) / 2.0
        lower, upper = _odds_limits(here[1].count, here[0].count, others, tail)
        lower, upper = lower * scale, upper * scale
    return Ratio(
        value,
        0.0 if here[0].full or others[1].full else lower,
        inf if here[1].full or others[0].full else upper,
    )


def _require_sound(*windows: Window) -> None:
    for one in windows:
        if one.count < 0 or one.exposure < 0 or (one.count and not one.exposure):
            raise ValueError(f"a count needs days that it was gathered in: {one}")


def _told(before: Window, after: Window) -> bool:
    """Whether anything was caught, in a time that was looked at both before and after."""
    return bool(before.exposure and after.exposure and before.count + after.count)


def _odds(share: float) -> float:
    return share / (1.0 - share)


def _odds_limits(
    after: int, before: int, others: tuple[Window, Window], tail: float
) -> tuple[float, float]:
    """Exact limits of the odds ratio of a table of four counts, its margins given."""
    from scipy.optimize import brentq
    from scipy.special import gammaln, logsumexp

    here, there = after + before, others[0].count + others[1].count
    late = after + others[1].count
    span = np.arange(max(0, late - there), min(here, late) + 1, dtype=np.float64)
    ways = -(
        gammaln(span + 1)
        + gammaln(here - span + 1)
        + gammaln(late - span + 1)
        + gammaln(there - late + span + 1)
    )

    def beyond(log_odds: float, outer: slice) -> float:
        weights = ways + span * log_odds
        return float(logsumexp(weights[outer]) - logsumexp(weights)) - log(tail)

    def solved(outer: slice) -> float:
        return exp(brentq(beyond, -FAR, FAR, args=(outer,), xtol=1e-12))

    place = after - int(span[0])
    lower = solved(slice(place, None)) if place > 0 else 0.0
    upper = solved(slice(None, place + 1)) if place < len(span) - 1 else inf
    return lower, upper


def _clumped_limits(
    here: tuple[Window, Window], others: tuple[Window, Window], confidence: float, phi: float
) -> tuple[float, float]:
    """Limits of a ratio of ratios out of the limits of both, on the scale of logarithms.

    Where none was caught, half a clump stands in for it in the middle, never in the limits.
    """
    middles, limits = [], []
    for before, after in (here, others):
        early, late = max(before.count, phi / 2.0), max(after.count, phi / 2.0)
        middles.append(log(late / early * before.exposure / after.exposure))
        one = rate_ratio(
            Window(before.count, before.exposure),
            Window(after.count, after.exposure),
            confidence=confidence,
            phi=phi,
        )
        limits.append((log(one.lower) if one.lower else -inf, log(one.upper)))
    (ours, theirs), ((low, high), (their_low, their_high)) = middles, limits
    return (
        exp(ours - theirs - hypot(ours - low, their_high - theirs)),
        exp(ours - theirs + hypot(high - ours, theirs - their_low)),
    )


# How large a ratio is, in words: fractions "of what it was", multiples "what it was".
_FRACTIONS: tuple[tuple[float, str], ...] = (
    (1 / 100, "a hundredth"),
    (1 / 50, "a fiftieth"),
    (1 / 20, "a twentieth"),
    (1 / 10, "a tenth"),
    (1 / 8, "an eighth"),
    (1 / 6, "a sixth"),
    (1 / 5, "a fifth"),
    (1 / 4, "a quarter"),
    (3 / 10, "three tenths"),
    (1 / 3, "a third"),
    (2 / 5, "two fifths"),
    (1 / 2, "half"),
    (3 / 5, "three fifths"),
    (2 / 3, "two thirds"),
    (3 / 4, "three quarters"),
    (4 / 5, "four fifths"),
    (9 / 10, "nine tenths"),
)
_MULTIPLES: tuple[tuple[float, str], ...] = (
    (1.1, "one and a tenth times"),
    (1.25, "one and a quarter times"),
    (1.5, "one and a half times"),
    (1.75, "one and three quarter times"),
    (2.0, "twice"),
    (2.5, "two and a half times"),
    (3.0, "three times"),
    (4.0, "four times"),
    (5.0, "five times"),
    (6.0, "six times"),
    (7.0, "seven times"),
    (8.0, "eight times"),
    (9.0, "nine times"),
    (10.0, "ten times"),
)
_STEPS = (*_FRACTIONS, (1.0, ""), *_MULTIPLES)
_SLACK = 1e-9
"""Where binary fractions fall a hair beside a step, they stand for that step."""


def size_words(
    ratio: float, towards: Literal["near", "down", "up"] = "near", *, of: str = "what it was"
) -> str:
    """A ratio above 0 in words: "a third of what it was", "twice what it was".

    ``down`` and ``up`` round to the next step on that side, so that limits in words are never
    tighter than in figures. With ``of`` empty: "a third", "twice".
    """
    if ratio < _STEPS[0][0] * (1 - _SLACK) and towards != "up":
        return _joined("less than a hundredth", "of", of)
    if 0.9 * (1 + _SLACK) < ratio < 1.0 and towards == "up":
        return f"nearly {of or 'all of it'}"
    if 1.0 < ratio < 1.1 * (1 - _SLACK) and towards == "down":
        return f"a little more than {of}" if of else "slightly more"
    if ratio > _STEPS[-1][0] * (1 + _SLACK):
        return _joined(f"{short(ratio, towards)} times", "", of)
    if towards == "down":
        step, words = [one for one in _STEPS if one[0] <= ratio * (1 + _SLACK)][-1]
    elif towards == "up":
        step, words = next(one for one in _STEPS if one[0] >= ratio * (1 - _SLACK))
    else:
        step, words = min(_STEPS, key=lambda one: abs(log(ratio / one[0])))
    if step == 1.0:
        return of or "as much"
    return _joined(words, "of" if step < 1.0 else "", of)


def _joined(words: str, link: str, of: str) -> str:
    return " ".join(part for part in (words, link if of else "", of) if part)


def _change_words(before: Window, after: Window, ratio: Ratio) -> str:
    if not before.exposure or not after.exposure:
        when = "before" if not before.exposure else "after"
        return f"Not known: nobody could look {when}."
    if ratio.value is None:
        return "Not known: none was caught before or after."
    if ratio.change == "not_known":
        return f"Not known whether it changed: {_open_words(ratio, 'what it was')}."
    if after.count == 0:
        return f"None was caught after; that still allows up to {size_words(ratio.upper, 'up')}."
    way = "Down" if ratio.change == "fewer" else "Up"
    return f"{way} to {_known_words(ratio, 'what it was')}."


def _others_words(ratio: Ratio, theirs: Ratio | None, against: Ratio | None) -> list[str]:
    """Whether the work did it, as far as that can be asked."""
    expected = "what was to be expected"
    changed = ratio.change != "not_known"
    if ratio.value is None:
        return []
    if theirs is None or against is None:
        if not changed:
            return []
        return ["Whether the work did it is not known, as no zone without it was compared."]
    if against.value is None:
        return ["The zones without the work tell nothing that it could be compared with."]
    if against.change != "not_known":
        return [f"Against the zones without the work it is {_known_words(against, expected)}."]
    open_words = f"Against the zones without the work {_open_words(against, expected)}"
    if not changed:
        return [f"{open_words}."]
    return [f"{open_words}, so that it is not known whether the work did it."]


def _known_words(ratio: Ratio, of: str) -> str:
    """A ratio that is known to lie on one side of 1; with one limit missing, the other alone."""
    if isinf(ratio.upper):
        return f"at least {size_words(ratio.lower, 'down', of=of)}"
    if ratio.lower == 0.0 or not ratio.value:
        return f"at most {size_words(ratio.upper, 'up', of=of)}"
    low, high = size_words(ratio.lower, "down", of=""), size_words(ratio.upper, "up", of="")
    return f"about {size_words(ratio.value, of=of)}; between {low} and {high}"


def _open_words(ratio: Ratio, of: str) -> str:
    """A ratio that may lie on either side of 1."""
    if ratio.lower == 0.0 and isinf(ratio.upper):
        return "it may be anything"
    if isinf(ratio.upper):
        return f"it may be anything from {size_words(ratio.lower, 'down', of=of)} upwards"
    if ratio.lower == 0.0:
        return f"it may be anything up to {size_words(ratio.upper, 'up', of=of)}"
    low, high = size_words(ratio.lower, "down", of=of), size_words(ratio.upper, "up", of="that")
    return f"it may be anything from {low} to {high}"
