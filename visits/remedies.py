"""What is usually recommended for what is found: words to start from, which the technician changes.

Common practice with no published source, apart from the sizes: gaps of 6 mm let mice through and
of 12 mm rats (extension guidance on rodent exclusion), and bins and growth stand clear of walls.
"""

from collections.abc import Sequence
from typing import Any

from visits.models import Finding, RemedyKind, WhoseMove

_Kind = Finding.Kind

# What was found: the kind of remedy, whose move it usually is, and the words.
REMEDIES: tuple[tuple[str, str, str, str], ...] = (
    (
        _Kind.ENTRY_POINT,
        RemedyKind.PROOFING,
        WhoseMove.US,
        "Seal the gap with steel mesh and mortar.",
    ),
    (
        _Kind.ENTRY_POINT,
        RemedyKind.PROOFING,
        WhoseMove.US,
        "Fit a bristle strip to the door; no gap over 6 mm.",
    ),
    (
        _Kind.ENTRY_POINT,
        RemedyKind.PROOFING,
        WhoseMove.CLIENT,
        "Reinstate the broken brickwork or ceiling tile.",
    ),
    (
        _Kind.ENTRY_POINT,
        RemedyKind.REPAIR,
        WhoseMove.CLIENT,
        "Repair the door closer so that the door shuts by itself.",
    ),
    (_Kind.ENTRY_POINT, RemedyKind.REPAIR, WhoseMove.CLIENT, "Replace the torn insect screen."),
    (
        _Kind.HARBOURAGE,
        RemedyKind.PROOFING,
        WhoseMove.US,
        "Run a bead of sealant along the open edge of the cover.",
    ),
    (
        _Kind.HARBOURAGE,
        RemedyKind.HOUSEKEEPING,
        WhoseMove.CLIENT,
        "Take the stacked cardboard away and keep goods off the floor.",
    ),
    (
        _Kind.HARBOURAGE,
        RemedyKind.REPAIR,
        WhoseMove.CLIENT,
        "Close the hollow shelving legs with caps.",
    ),
    (
        _Kind.CONDUCIVE,
        RemedyKind.HOUSEKEEPING,
        WhoseMove.CLIENT,
        "Clean food debris from under and behind the equipment.",
    ),
    (
        _Kind.CONDUCIVE,
        RemedyKind.HOUSEKEEPING,
        WhoseMove.CLIENT,
        "Clean the drain and its grating, then weekly.",
    ),
    (_Kind.CONDUCIVE, RemedyKind.REPAIR, WhoseMove.CLIENT, "Repair the leak."),
    (
        _Kind.CONDUCIVE,
        RemedyKind.HOUSEKEEPING,
        WhoseMove.CLIENT,
        "Keep bins shut and goods and growth clear of the outside wall.",
    ),
    (
        _Kind.LIVE_PESTS,
        RemedyKind.TREATMENT_FOLLOW_UP,
        WhoseMove.US,
        "Follow up within 14 days to see what is left.",
    ),
    (
        _Kind.LIVE_PESTS,
        RemedyKind.PROOFING,
        WhoseMove.US,
        "Seal the pipe chase that they come from.",
    ),
    (
        _Kind.SIGNS,
        RemedyKind.TREATMENT_FOLLOW_UP,
        WhoseMove.US,
        "Set monitors here and look again within 14 days.",
    ),
    (
        _Kind.SIGNS,
        RemedyKind.ADVICE,
        WhoseMove.CLIENT,
        "Call us the same day if anything is seen here.",
    ),
    (
        "",
        RemedyKind.ACCESS,
        WhoseMove.CLIENT,
        "Move the equipment, or have somebody there with the key, on the next visit.",
    ),
)


def remedy_table() -> Sequence[dict[str, Any]]:
    """The table as the phone gets it."""
    return [
        {"finding": finding, "kind": kind, "whose_move": whose_move, "text": text}
        for finding, kind, whose_move, text in REMEDIES
    ]
