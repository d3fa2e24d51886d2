"""The gaps that finished work has closed, as they are reported."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal

from accounts.refusals import Unusable
from compliance.models import CorrectiveAction, SealedGap
from compliance.proofing.gaps import in_words, too_wide
from compliance.queries.work import gaps_of, risk_of
from visits.models import RemedyKind, WhoseMove

MOST_GAPS = 12
WIDEST_MM = Decimal("9999.9")
TENTH = Decimal("0.1")


@dataclass(frozen=True, slots=True)
class GapGiven:
    """One gap as it is reported. Widths in millimetres, to a tenth."""

    place: str
    material: str
    before_mm: Decimal
    after_mm: Decimal
    risk: str


def keep_gaps(action: CorrectiveAction, given: Sequence[GapGiven]) -> list[SealedGap]:
    """Keep the gaps of the report that is being made; the caller has locked the action.

    A gap is held to the narrower limit of the pest named beside it and of the one that the
    action's finding names. Raises ``Unusable`` for a gap left wider than that, for one without its
    place, material or widths, and for our own proofing against rodents that names no gap.
    """
    found = risk_of(action)
    if len(given) > MOST_GAPS:
        raise Unusable(f"Report at most {MOST_GAPS} gaps at once.", code="gaps_too_many")
    ours = action.kind == RemedyKind.PROOFING and action.whose_move == WhoseMove.US
    if found and ours and not given:
        raise Unusable(
            "Say which gaps were closed, each with its width before and after: this work is to "
            "keep rodents out.",
            code="gap_missing",
        )
    cleaned = [_cleaned(gap, found) for gap in given]
    return SealedGap.objects.bulk_create(
        SealedGap(
            action=action,
            attempt=action.attempt,
            position=position,
            place=gap.place,
            material=gap.material,
            before_mm=gap.before_mm,
            after_mm=gap.after_mm,
            risk=gap.risk,
        )
        for position, gap in enumerate(cleaned, start=1)
    )


def are_kept(action: CorrectiveAction, given: Sequence[GapGiven]) -> bool:
    """Whether just these gaps stand in the report that was made. One query."""
    return [
        (gap.place, gap.material, gap.before_mm, gap.after_mm, gap.risk) for gap in gaps_of(action)
    ] == [
        (gap.place.strip(), gap.material.strip(), gap.before_mm, gap.after_mm, gap.risk)
        for gap in given
    ]


def _cleaned(gap: GapGiven, found: str | None) -> GapGiven:
    """The gap as it will be kept. Raises ``Unusable``."""
    place, material = gap.place.strip(), gap.material.strip()
    if not place or not material:
        raise Unusable("Say of each gap where it is and what closes it.", code="gap_unsaid")
    if max(len(place), len(material)) > 160:
        raise Unusable("Keep place and material under 160 characters.", code="gap_too_long")
    if gap.risk not in SealedGap.Risk.values:
        raise Unusable("Say of each gap whom it is to keep out.", code="gap_without_risk")
    before, after = (one.quantize(TENTH, ROUND_HALF_UP) for one in (gap.before_mm, gap.after_mm))
    if not 0 < before <= WIDEST_MM or not 0 <= after <= before:
        raise Unusable(
            f"{place}: give the width before, more than nothing, and after, no more than before.",
            code="gap_out_of_order",
        )
    # Judged as it was given: a width is never rounded to where it would pass.
    limit = too_wide(gap.after_mm, gap.risk, found)
    if limit:
        raise Unusable(
            f"{place}: {in_words(gap.after_mm)} is left. Where {limit.kept_out} are a risk, "
            f"a gap is closed to {in_words(limit.widest_mm)} or less. Close it further before you "
            "report it done; what cannot be finished is an action of its own, which the office "
            "raises.",
            code="gap_too_wide",
            place=place,
            after_mm=str(gap.after_mm),
            widest_mm=str(limit.widest_mm),
        )
    return replace(gap, place=place, material=material, before_mm=before, after_mm=after)
