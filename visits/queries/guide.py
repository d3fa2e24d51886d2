"""The method guide as the office keeps it: as pure rows, for the phone, and for its page."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from sites.models import Zone
from visits.dosing.guide import GuideRow, row_as_data, row_from_data
from visits.dosing.vocabulary import SURROUNDINGS
from visits.models import GuideLine, Pest, Product, Treatment

# What a line and a row of the pure table have in common.
ROW_FIELDS = (
    "key",
    "verdict",
    "zone_kinds",
    "surfaces",
    "pest_groups",
    "pests",
    "surroundings",
    "but_not",
    "formulation",
    "method",
    "rank",
    "words",
    "source",
)


def pure_row(line: GuideLine) -> GuideRow:
    """A line of the database as the pure rule takes it. No query.

    Raises ``GuideError`` for what no row can say; services keep such lines out.
    """
    return row_from_data({name: getattr(line, name) for name in ROW_FIELDS})


def lines_in_use() -> QuerySet[GuideLine]:
    """The lines that hold, in the order in which they are read."""
    return in_order(GuideLine.objects.filter(retired_on=None))


def in_order(lines: QuerySet[GuideLine]) -> QuerySet[GuideLine]:
    """In the order of the table, which counts where two suit equally well."""
    return lines.order_by("position", "created_at", "pk")


def guide_rows() -> list[GuideRow]:
    """The whole table as pure rows, in order. One query."""
    return [pure_row(line) for line in lines_in_use()]


def guide_table() -> list[dict[str, Any]]:
    """The whole table as the phone gets it, in order. One query."""
    return [row_as_data(row) for row in guide_rows()]


def guide_words(keys: Iterable[str]) -> dict[str, str]:
    """By key, what lines say now, retired ones among them. One query, none without a key."""
    wanted = set(keys)
    if not wanted:
        return {}
    return dict(GuideLine.objects.filter(key__in=wanted).values_list("key", "words"))


@dataclass(frozen=True, slots=True)
class Told:
    """One line with what it names, and its conditions, in words."""

    line: GuideLine
    formulation: str
    method: str
    where: Sequence[str]
    against: Sequence[str]
    around: Sequence[str]


def told(lines: Iterable[GuideLine]) -> list[Told]:
    """Lines as the page shows them: an empty list of words means "always". One query."""
    pests = dict(Pest.objects.values_list("slug", "name"))
    return [
        Told(
            line,
            formulation=formulation_words(line.formulation),
            method=method_words(line.method),
            where=[
                *_labels(line.zone_kinds, dict(Zone.Kind.choices)),
                *_labels(line.surfaces, dict(Treatment.Surface.choices)),
            ],
            against=[
                *_labels(line.pest_groups, dict(Pest.Group.choices)),
                *_labels(line.pests, pests),
            ],
            around=[
                *_labels(line.surroundings, SURROUNDINGS),
                *(f"Not: {words}" for words in _labels(line.but_not, SURROUNDINGS)),
            ],
        )
        for line in lines
    ]


def formulation_words(word: str) -> str:
    """A formulation as people say it; nothing for none."""
    return dict(Product.Formulation.choices).get(word, word)


def method_words(word: str) -> str:
    """A method as people say it; nothing for none."""
    return dict(Treatment.Method.choices).get(word, word)


def _labels(words: Iterable[str], labels: dict[str, str]) -> list[str]:
    """In the order in which they are listed elsewhere; a word that is no longer known stays."""
    held = set(words)
    known = [label for word, label in labels.items() if word in held]
    return [*known, *sorted(held - labels.keys())]


def speaks_of_zone(line: GuideLine, zone_kind: str) -> bool:
    """Whether a line may hold in such a zone."""
    return not line.zone_kinds or zone_kind in line.zone_kinds
