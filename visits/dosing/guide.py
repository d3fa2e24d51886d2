"""The method guide: which formulation and method suit a place, which do not, and what to mind.

A table and one rule. The starting set is ``guide_rows.STARTING_SET``; the office keeps and amends
its own copy, and the phone judges by the same rule (static/js/phone/guide.js, held to this one by
tests/js/guide-cases.json). docs/algorithms/method-guide.md explains both with an example. It says
what is usual and why, never what is lawful: the label and the licensed technician decide.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

from visits.dosing.units import DosingError
from visits.dosing.vocabulary import (
    BOUNDARIES,
    FORMULATIONS,
    METHODS,
    PEST_GROUPS,
    SURFACES,
    SURROUNDINGS,
    ZONE_KINDS,
)

Verdict = Literal["prefer", "rule_out", "precondition", "caution"]

LAST_WORD = "The label and the licensed technician decide."
NOTHING_SUITS = "The guide knows nothing that suits here. Ask the office before you treat."

_CONDITIONS: Mapping[str, tuple[str, ...]] = {
    "zone_kinds": ZONE_KINDS,
    "surfaces": SURFACES,
    "pest_groups": PEST_GROUPS,
    "surroundings": tuple(SURROUNDINGS),
    "but_not": tuple(SURROUNDINGS),
}


class GuideError(DosingError):
    """What a row, or a question, cannot say. ``field`` names that of the form."""


@dataclass(frozen=True, slots=True)
class Situation:
    """The place that is to be treated, and what is round it.

    Words are those of ``vocabulary``; ``pest`` is the slug of a pest. What is left empty is not
    known, and then no row that asks for it holds.
    """

    zone_kind: str
    surface: str = ""
    pest: str = ""
    pest_group: str = ""
    boundary: str = "within"
    openings: bool = False
    diners: bool = False
    electrics: bool = False
    food_contact: bool = False
    height: bool = False
    children: bool = False
    outdoors: bool = False
    stored_goods: bool = False
    flames: bool = False
    droppings: bool = False
    wet: bool = False
    sealed_ventilation: bool = False
    old_building: bool = False
    sensitive: bool = False

    def __post_init__(self) -> None:
        _check("zone_kind", self.zone_kind, ZONE_KINDS)
        _check("boundary", self.boundary, BOUNDARIES)
        if self.surface:
            _check("surface", self.surface, SURFACES)
        if self.pest_group:
            _check("pest_group", self.pest_group, PEST_GROUPS)

    @property
    def surroundings(self) -> frozenset[str]:
        """What is round the place, in words of ``vocabulary.SURROUNDINGS``."""
        return frozenset(
            word
            for word in SURROUNDINGS
            if (
                word == f"boundary_{self.boundary}"
                if word.startswith("boundary_")
                else getattr(self, word)
            )
        )


@dataclass(frozen=True, slots=True)
class GuideRow:
    """One row of the table: when it holds, and what it then says.

    An empty set of conditions always holds. ``zone_kinds``, ``surfaces``, ``pest_groups`` and
    ``pests`` must contain the situation's word; all of ``surroundings`` must be there and none of
    ``but_not``. "prefer" names a formulation and a method, "rule_out" a formulation and perhaps a
    method. A precondition or caution that names one counts only where such a thing is suggested.
    The lowest ``rank`` comes first. ``key`` is never renamed: it says which row an office amended,
    and a caution that was confirmed is recorded by it.
    """

    key: str
    verdict: Verdict
    words: str
    zone_kinds: frozenset[str] = frozenset()
    surfaces: frozenset[str] = frozenset()
    pest_groups: frozenset[str] = frozenset()
    pests: frozenset[str] = frozenset()
    surroundings: frozenset[str] = frozenset()
    but_not: frozenset[str] = frozenset()
    formulation: str = ""
    method: str = ""
    rank: int = 0
    source: str = ""

    def __post_init__(self) -> None:
        if not self.key.strip():
            raise GuideError("key", "Give the row a key of its own.")
        if not self.words.strip():
            raise GuideError("words", "Say in words what this row tells the technician.")
        _check("verdict", self.verdict, get_args(Verdict))
        for field, known in _CONDITIONS.items():
            for word in sorted(getattr(self, field)):
                _check(field, word, known)
        if self.surroundings & self.but_not:
            raise GuideError("but_not", "The same cannot be asked for and excluded.")
        if self.formulation:
            _check("formulation", self.formulation, FORMULATIONS)
        elif self.verdict in ("prefer", "rule_out"):
            raise GuideError("formulation", "Say which formulation suits, or does not.")
        if self.method:
            _check("method", self.method, METHODS)
        elif self.verdict == "prefer":
            raise GuideError("method", "Say by which method it is applied.")


@dataclass(frozen=True, slots=True)
class Suggested:
    """A formulation and a method that suit, and why; the first of a list suits best."""

    formulation: str
    method: str
    reason: str
    rank: int


@dataclass(frozen=True, slots=True)
class RuledOut:
    """A formulation that does not suit, and why; by whichever method, if none is named."""

    formulation: str
    method: str
    reason: str


@dataclass(frozen=True, slots=True)
class Mind:
    """A caution to confirm. It belongs to one formulation and method, or to all if empty."""

    key: str
    words: str
    formulation: str = ""
    method: str = ""


@dataclass(frozen=True, slots=True)
class Advice:
    """What a careful senior colleague would say; ``nothing`` says that no row suits."""

    preferred: tuple[Suggested, ...]
    ruled_out: tuple[RuledOut, ...]
    cautions: tuple[Mind, ...]
    preconditions: tuple[str, ...]
    nothing: str
    last_word: str = LAST_WORD


def holds(row: GuideRow, situation: Situation) -> bool:
    """Whether a row speaks of this situation: the whole rule of the table."""
    around = situation.surroundings
    return (
        (not row.zone_kinds or situation.zone_kind in row.zone_kinds)
        and (not row.surfaces or situation.surface in row.surfaces)
        and (not row.pest_groups or situation.pest_group in row.pest_groups)
        and (not row.pests or situation.pest in row.pests)
        and row.surroundings <= around
        and not row.but_not & around
    )


def advise(situation: Situation, rows: Sequence[GuideRow]) -> Advice:
    """What the table says of a situation.

    Suggestions come by rank, and within a rank in the order of the table; each formulation and
    method once, by its first row. What any row rules out is not suggested, however well it suits,
    and each formulation and method is ruled out once, by the first reason in the table.
    """
    held = [row for row in rows if holds(row, situation)]
    ruled_out = [row for row in held if row.verdict == "rule_out"]
    best: dict[tuple[str, str], GuideRow] = {}
    for row in sorted((row for row in held if row.verdict == "prefer"), key=lambda row: row.rank):
        if not any(_speaks_of(bar, row) for bar in ruled_out):
            best.setdefault((row.formulation, row.method), row)

    first: dict[tuple[str, str], GuideRow] = {}
    for row in ruled_out:
        first.setdefault((row.formulation, row.method), row)

    def counts(row: GuideRow) -> bool:
        named = row.formulation or row.method
        return not named or any(_speaks_of(row, chosen) for chosen in best.values())

    return Advice(
        preferred=tuple(
            Suggested(row.formulation, row.method, row.words, row.rank) for row in best.values()
        ),
        ruled_out=tuple(RuledOut(row.formulation, row.method, row.words) for row in first.values()),
        cautions=tuple(
            Mind(row.key, row.words, row.formulation, row.method)
            for row in held
            if row.verdict == "caution" and counts(row)
        ),
        preconditions=tuple(
            dict.fromkeys(
                row.words for row in held if row.verdict == "precondition" and counts(row)
            )
        ),
        nothing="" if best else NOTHING_SUITS,
    )


def row_as_data(row: GuideRow) -> dict[str, Any]:
    """A row as JSON keeps it: the database's table, and the phone's."""
    return {
        "key": row.key,
        "verdict": row.verdict,
        "zone_kinds": sorted(row.zone_kinds),
        "surfaces": sorted(row.surfaces),
        "pest_groups": sorted(row.pest_groups),
        "pests": sorted(row.pests),
        "surroundings": sorted(row.surroundings),
        "but_not": sorted(row.but_not),
        "formulation": row.formulation,
        "method": row.method,
        "rank": row.rank,
        "words": row.words,
        "source": row.source,
    }


def row_from_data(data: Mapping[str, Any]) -> GuideRow:
    """A row again; other keys are passed over. Raises ``GuideError`` for what no row can say."""
    sets = ("zone_kinds", "surfaces", "pest_groups", "pests", "surroundings", "but_not")
    return GuideRow(
        key=data["key"],
        verdict=data["verdict"],
        words=data["words"],
        formulation=data.get("formulation", ""),
        method=data.get("method", ""),
        rank=data.get("rank", 0),
        source=data.get("source", ""),
        **{name: frozenset(data.get(name, ())) for name in sets},
    )


def _speaks_of(row: GuideRow, chosen: GuideRow) -> bool:
    """Whether what a row names, if it names any, is what another one suggests."""
    return row.formulation in ("", chosen.formulation) and row.method in ("", chosen.method)


def _check(field: str, word: str, known: Iterable[str]) -> None:
    if word not in known:
        raise GuideError(field, f"“{word}” is not a word that the guide knows.")
