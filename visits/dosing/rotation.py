"""Whether a pest at a site meets the same mode of action window after window.

Resistance grows where one group is used again and again; another product with the same group is no
change (regional plant-health fact sheet and extension bait guidance, text-seen). A window is as
long as a generation of the pest, about: 90 days for the German cockroach (ours, and the company may
choose another). Main groups are compared, since a change of sub-group is no rotation (from memory:
only where there is nothing else). Days are dates in the site's own zone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from visits.dosing.modes import ANTICOAGULANT, Mode, modes_of, not_on_our_list

WINDOW_DAYS = 90

Level = Literal["clear", "again", "third"]


@dataclass(frozen=True, slots=True)
class Used:
    """One application against the pest at the site: its day and the names of its actives."""

    on: date
    actives: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Rotation:
    """``again``: the same main group in two windows running, which asks for a reason.

    ``third``: in three, which asks for a supervisor's. ``groups`` are the main groups that are
    repeated. ``words`` is empty where there is nothing to say.
    """

    level: Level
    groups: tuple[str, ...]
    unknown: tuple[str, ...]
    words: str


def rotation(
    actives: Sequence[str],
    used: Sequence[Used],
    *,
    on: date,
    window_days: int = WINDOW_DAYS,
) -> Rotation:
    """What using these actives on a day would mean after what was used before.

    ``used`` is everything applied against the pest at the site, in any order; what came after that
    day is passed over. The current window is the ``window_days`` that end with ``on``, the one
    before it ends the day before it begins; within a window a group may be used as often as the
    label allows. A mixture counts as each group in it; synergists, borates and physical dusts never
    count. Raises ``ValueError`` for a window of less than a day.
    """
    if window_days < 1:
        raise ValueError("a window lasts a day at least")
    planned = modes_of(actives)
    before = [_in_window(used, on, window_days, back) for back in (1, 2)]
    again = [main for main in planned if main in before[0]]
    third = [main for main in again if main in before[1]]
    groups = third or again
    level: Level = "third" if third else "again" if again else "clear"
    unknown = not_on_our_list(actives)
    sentences = [
        *_repeated([planned[main] for main in groups], level, window_days),
        *(
            f"{name} is not on our list, so that nothing can be said about its group."
            for name in unknown
        ),
    ]
    return Rotation(level, tuple(groups), unknown, " ".join(sentences))


def _in_window(used: Sequence[Used], on: date, days: int, back: int) -> frozenset[str]:
    """The main groups of a window; ``back`` counts windows from the current one."""
    last_on = on - timedelta(days=days * back)
    first_on = last_on - timedelta(days=days - 1)
    return frozenset(
        main for one in used if first_on <= one.on <= last_on for main in modes_of(one.actives)
    )


def _repeated(modes: Sequence[Mode], level: Level, window_days: int) -> list[str]:
    if level == "clear":
        return []
    names = " and ".join(mode.words for mode in modes)
    many = "three" if level == "third" else "two"
    said = [f"The same mode of action in {many} windows of {window_days} days running: {names}."]
    if any(mode.main == ANTICOAGULANT for mode in modes):
        said.append(
            "Another anticoagulant is no change. Rule out poor coverage, competing food and "
            "reinvasion before you suspect resistance."
        )
    else:
        said.append("Another product of that group is no change.")
    said.append("A supervisor gives the reason." if level == "third" else "Say why.")
    return said
