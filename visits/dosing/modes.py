"""How an active ingredient works, and which of a product's count when groups are to be changed.

The table is ``mode_data``. A name that is not on it is said not to be; nothing is guessed from how
a name ends.
"""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from visits.dosing.mode_data import (
    ACTIVES,
    FIRST_GENERATION,
    GROUPS,
    NEVER_COUNT,
    OTHER_RODENTICIDES,
    SECOND_GENERATION,
    SPELLINGS,
)

ANTICOAGULANT = "anticoagulant"

_GREEK = {"α": "alpha ", "β": "beta ", "γ": "gamma ", "δ": "delta ", "ζ": "zeta ", "λ": "lambda "}
_SIGNS = str.maketrans(dict.fromkeys("()[],_-‐‑–—", " "))


@dataclass(frozen=True, slots=True)
class Mode:
    """How one active ingredient works.

    ``group`` is the sub-group's code ("4A"), ``main`` the main group that counts in rotation ("4").
    Each rodenticide that is no anticoagulant is a group of its own; all anticoagulants are one.
    ``counts`` is false for what never asks for a change of group.
    """

    active: str
    group: str
    main: str
    name: str
    works: str
    confirmed: str
    kind: Literal["insecticide", "rodenticide"]
    counts: bool

    @property
    def words(self) -> str:
        """The group as a person reads it: "group 3 (pyrethroids and pyrethrins)"."""
        name = self.name[0].lower() + self.name[1:]
        return f"group {self.main} ({name})" if self.kind == "insecticide" else name


def mode_of(active: str) -> Mode | None:
    """How the active of this name works; None if it is not on our list."""
    return _MODES.get(plain_name(active))


def modes_of(actives: Iterable[str]) -> dict[str, Mode]:
    """By main group, the modes of a product that count: one of each, in the order of the names."""
    found: dict[str, Mode] = {}
    for active in actives:
        mode = mode_of(active)
        if mode is not None and mode.counts:
            found.setdefault(mode.main, mode)
    return found


def not_on_our_list(actives: Iterable[str]) -> tuple[str, ...]:
    """The names that the table does not have, as they were written."""
    return tuple(name for name in actives if mode_of(name) is None)


def plain_name(active: str) -> str:
    """A name without case, hyphens, brackets and Greek letters, and in the list's spelling."""
    text = unicodedata.normalize("NFKC", active).casefold()
    for letter, name in _GREEK.items():
        text = text.replace(letter, name)
    text = " ".join(text.translate(_SIGNS).split())
    return _SPELT.get(text, text)


def _key(name: str) -> str:
    return " ".join(name.translate(_SIGNS).split())


def _insecticide(active: str, group: str, confirmed: str) -> Mode:
    name, works = GROUPS[group]
    main = group.rstrip("ABCD") if group[0].isdigit() else group
    counts = group not in NEVER_COUNT
    return Mode(active, group, main, name, works, confirmed, "insecticide", counts)


def _anticoagulant(active: str, generation: str) -> Mode:
    return Mode(
        active,
        f"{generation} generation",
        ANTICOAGULANT,
        "Anticoagulants",
        "stop vitamin K from being renewed, so that blood does not clot",
        "text-seen",
        "rodenticide",
        counts=True,
    )


def _other_rodenticide(active: str) -> Mode:
    confirmed = "from memory" if active == "alphachloralose" else "text-seen"
    works = "works in its own way, not as an anticoagulant"
    return Mode(
        active, active, active, active.capitalize(), works, confirmed, "rodenticide", counts=True
    )


_SPELT = {spelt: _key(name) for spelt, name in SPELLINGS.items()}
_MODES = {
    _key(mode.active): mode
    for mode in (
        *(_insecticide(name, group, confirmed) for name, (group, confirmed) in ACTIVES.items()),
        *(_anticoagulant(name, "first") for name in FIRST_GENERATION),
        *(_anticoagulant(name, "second") for name in SECOND_GENERATION),
        *(_other_rodenticide(name) for name in OTHER_RODENTICIDES),
    )
}
