"""Tables and parts of a paper, ready for a template that only shows.

A column's kind gives its width and its alignment in the stylesheet; a cell's look is a class there.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

Pages = Mapping[str, int]
"""On which page an anchor stands; empty while that is not known yet."""


@dataclass(frozen=True, slots=True)
class Column:
    """``kind`` is a class of the stylesheet; ``figure`` is set against the right edge."""

    title: str
    kind: str = "words"

    @property
    def is_figure(self) -> bool:
        return self.kind in {"figure", "page", "reading"}


@dataclass(frozen=True, slots=True)
class Cell:
    """``look`` is a class; ``anchor`` is the place in the paper to which the text leads."""

    text: str
    look: str = ""
    anchor: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """The first cell of a row heads it. ``none`` is printed instead of rows where there are none:
    an empty section must say that nothing is on record, and an empty body would break the tags."""

    name: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    none: str
    caption: str = ""


def table(
    name: str,
    columns: Sequence[Column],
    rows: Iterable[Sequence[str | Cell]],
    *,
    none: str,
    caption: str = "",
) -> Table:
    """A table from rows of words; figures get their alignment from their column."""
    laid_out = []
    for row in rows:
        if len(row) != len(columns):
            raise ValueError(f"table {name}: a row of {len(row)} for {len(columns)} columns")
        cells = [cell if isinstance(cell, Cell) else Cell(cell) for cell in row]
        laid_out.append(
            tuple(
                Cell(cell.text, f"figure {cell.look}".strip(), cell.anchor)
                if column.is_figure
                else cell
                for column, cell in zip(columns, cells, strict=True)
            )
        )
    return Table(name, tuple(columns), tuple(laid_out), none, caption)


@dataclass(frozen=True, slots=True)
class Fact:
    """A label and what stands beside it."""

    label: str
    text: str


@dataclass(frozen=True, slots=True)
class FactPair:
    """Two facts side by side; the last may stand alone."""

    left: Fact
    right: Fact | None


def side_by_side(all_facts: Sequence[Fact]) -> tuple[FactPair, ...]:
    """Facts in two columns, read across."""
    return tuple(
        FactPair(all_facts[at], all_facts[at + 1] if at + 1 < len(all_facts) else None)
        for at in range(0, len(all_facts), 2)
    )


def facts(*pairs: tuple[str, str]) -> tuple[Fact, ...]:
    """Those pairs that say something."""
    return tuple(Fact(label, text) for label, text in pairs if text.strip())


@dataclass(frozen=True, slots=True)
class Part:
    """A piece of the paper that is laid out by itself and starts a page.

    ``context`` gives the template's variables once it is told on which page each anchor stands.
    A part with a ``title`` opens a section, which ``number`` counts; one without goes on with the
    section before it, whose name is in its running head. ``subtitle`` adds a line to the contents
    below the section.
    """

    template: str
    context: Callable[[Pages], Mapping[str, object]]
    says: str
    title: str = ""
    anchor: str = ""
    subtitle: str = ""
    sub_anchor: str = ""
    number: int = 0
    section: str = ""
    prints_pages: bool = False
