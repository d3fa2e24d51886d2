"""Which of many tests stand out, when so many are looked at that some must by chance alone.

Of 1,500 zones where nothing has changed, 75 have a p-value below 0.05. So the p-values are judged
together: averaged over many looks, no more than a given share of what stands out is chance. A look
where nothing stands out counts as a share of none, so that where nothing has changed anywhere the
promise is another one: hardly any look finds anything, but what it finds is chance.

Source: Benjamini Y, Hochberg Y (1995) Controlling the false discovery rate: a practical and
powerful approach to multiple testing, J. R. Statist. Soc. B 57:289-300. It keeps its promise for
tests that are independent or rise and fall together (from memory: Benjamini and Yekutieli 2001),
and for counts, whose p-values come in steps, it is stricter than it need be.
Docs: docs/algorithms/rates-and-effects.md (Many at once).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from compliance.trends.exposure import Bools, Floats

LEVEL = 0.05
"""The share of false alarms among all alarms that is put up with: common practice, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class Many:
    """What stands out among all that were looked at.

    ``adjusted`` and ``stands_out`` have the shape of the p-values: the smallest level at which each
    would stand out (NaN where there was none), and whether it does at ``level``. ``looked_at`` and
    ``not_known``: how many had a p-value, and how many had none yet.
    """

    adjusted: Floats
    stands_out: Bools
    looked_at: int
    not_known: int
    level: float

    @property
    def found(self) -> int:
        """How many stand out."""
        return int(np.count_nonzero(self.stands_out))


def judged_together(p_values: ArrayLike, *, level: float = LEVEL) -> Many:
    """Judge p-values together, step-up after Benjamini and Hochberg.

    NaN stands for what is not yet known: it is not looked at, and does not make the others harder.
    Raises ``ValueError`` for a p-value outside 0 to 1, or a level that is not between the two.
    """
    p = np.asarray(p_values, dtype=np.float64)
    known = ~np.isnan(p)
    values = p[known]
    if np.any((values < 0) | (values > 1)) or not 0 < level < 1:
        raise ValueError("p-values lie between 0 and 1, and so does the level")
    adjusted = np.full(p.shape, np.nan)
    adjusted[known] = _adjusted(values)
    return Many(
        adjusted=adjusted,
        stands_out=adjusted <= level,
        looked_at=int(values.size),
        not_known=int(p.size - values.size),
        level=level,
    )


def many_words(many: Many) -> str:
    """How many were looked at and how many stand out, with how far that is to be believed."""
    sentences = []
    if many.looked_at == 0:
        sentences.append("None could be looked at.")
    elif many.found == 0:
        sentences.append(f"{many.looked_at:,} looked at; none stands out.")
    else:
        stand = "stands out" if many.found == 1 else "stand out"
        sentences.append(
            f"{many.looked_at:,} looked at; {many.found:,} {stand}. "
            "The limit is set so that, averaged over many such looks, chance makes up no more than "
            f"{many.level * 100:g} in 100 of what stands out."
        )
    if many.not_known:
        sentences.append(f"{many.not_known:,} not yet known.")
    return " ".join(sentences)


def _adjusted(p: Floats) -> Floats:
    """For each p-value the smallest m p(j) / j over all j from its own rank upwards."""
    order = np.argsort(p, kind="stable")
    steps = p[order] * (p.size / np.arange(1.0, p.size + 1.0))
    answer = np.empty_like(p)
    answer[order] = np.minimum.accumulate(steps[::-1])[::-1]
    return answer
