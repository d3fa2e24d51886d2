"""What is usually recommended for what is found: words to start from, which the technician changes.

Common practice with no published source, apart from the sizes: gaps of 6 mm let mice through and
of 12 mm rats, wool alone is a plug for the time being (extension guidance on rodent exclusion; 30
days are ours), and bins and growth stand clear of walls.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from visits.models import Finding, RemedyKind, WhoseMove

_Kind = Finding.Kind


@dataclass(frozen=True, slots=True)
class Remedy:
    """What is usually recommended, and whose move it usually is.

    ``finding`` is a kind of finding; empty: any. ``seen`` says at what in particular it is aimed,
    where it is, and ``interim`` what holds until the lasting work is done.
    """

    finding: str
    kind: str
    whose_move: str
    text: str
    seen: str = ""
    interim: tuple[str, ...] = ()


REMEDIES: tuple[Remedy, ...] = (
    Remedy(
        _Kind.ENTRY_POINT,
        RemedyKind.PROOFING,
        WhoseMove.US,
        "Seal the gap with steel mesh and mortar.",
        seen="Gap of 6 mm or more in a wall or round a pipe",
        interim=("a plug of steel or copper wool, looked at again within 30 days.",),
    ),
    Remedy(
        _Kind.ENTRY_POINT,
        RemedyKind.PROOFING,
        WhoseMove.US,
        "Fit a bristle strip to the door; no gap over 6 mm.",
    ),
    Remedy(
        _Kind.ENTRY_POINT,
        RemedyKind.PROOFING,
        WhoseMove.CLIENT,
        "Reinstate the ceiling and close the brickwork.",
        seen="No ceiling, knocked-out brickwork, rub marks",
        interim=(
            "a rodent station beside the opening.",
            "sticky traps, to follow the population over time.",
        ),
    ),
    Remedy(
        _Kind.ENTRY_POINT,
        RemedyKind.PROOFING,
        WhoseMove.CLIENT,
        "Replace the broken tiles of the false ceiling.",
        seen="Broken corner of a false ceiling",
    ),
    Remedy(
        _Kind.ENTRY_POINT,
        RemedyKind.REPAIR,
        WhoseMove.CLIENT,
        "Repair the door closer so that the door shuts by itself.",
    ),
    Remedy(
        _Kind.ENTRY_POINT, RemedyKind.REPAIR, WhoseMove.CLIENT, "Replace the torn insect screen."
    ),
    Remedy(
        _Kind.HARBOURAGE,
        RemedyKind.PROOFING,
        WhoseMove.US,
        "Run a bead of sealant along the open edge of the cover.",
        seen="Metal cover open at its bottom edge",
    ),
    Remedy(
        _Kind.HARBOURAGE,
        RemedyKind.HOUSEKEEPING,
        WhoseMove.CLIENT,
        "Take the stacked cardboard away and keep goods off the floor.",
    ),
    Remedy(
        _Kind.HARBOURAGE,
        RemedyKind.REPAIR,
        WhoseMove.CLIENT,
        "Close the hollow shelving legs with caps.",
    ),
    Remedy(
        _Kind.CONDUCIVE,
        RemedyKind.HOUSEKEEPING,
        WhoseMove.CLIENT,
        "Clean food debris from under and behind the equipment.",
    ),
    Remedy(
        _Kind.CONDUCIVE,
        RemedyKind.HOUSEKEEPING,
        WhoseMove.CLIENT,
        "Clean the drain and its grating, then weekly.",
    ),
    Remedy(_Kind.CONDUCIVE, RemedyKind.REPAIR, WhoseMove.CLIENT, "Repair the leak."),
    Remedy(
        _Kind.CONDUCIVE,
        RemedyKind.HOUSEKEEPING,
        WhoseMove.CLIENT,
        "Keep bins shut and goods and growth clear of the outside wall.",
    ),
    Remedy(
        _Kind.LIVE_PESTS,
        RemedyKind.TREATMENT_FOLLOW_UP,
        WhoseMove.US,
        "Follow up within 14 days to see what is left.",
    ),
    Remedy(
        _Kind.LIVE_PESTS,
        RemedyKind.PROOFING,
        WhoseMove.US,
        "Seal the pipe chase that they come from.",
    ),
    Remedy(
        _Kind.SIGNS,
        RemedyKind.TREATMENT_FOLLOW_UP,
        WhoseMove.US,
        "Set monitors here and look again within 14 days.",
    ),
    Remedy(
        _Kind.SIGNS,
        RemedyKind.ADVICE,
        WhoseMove.CLIENT,
        "Call us the same day if anything is seen here.",
    ),
    Remedy(
        "",
        RemedyKind.ACCESS,
        WhoseMove.CLIENT,
        "Move the equipment, or have somebody there with the key, on the next visit.",
    ),
)


def remedy_table() -> Sequence[dict[str, Any]]:
    """The table as the phone gets it: what holds in the meantime stands after what lasts."""
    return [
        {
            "finding": one.finding,
            "kind": one.kind,
            "whose_move": whose_move,
            "text": text,
        }
        for one in REMEDIES
        for whose_move, text in (
            (one.whose_move, one.text),
            *((WhoseMove.US, f"Meanwhile: {text}") for text in one.interim),
        )
    ]
