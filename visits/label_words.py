"""What a label states as people write and read it on one line. No query, no clock.

Import and export, the register's pages and the programs' lists all use these, so that what one of
them writes the others can read.
"""

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction

from visits.dosing.label import BASIS_WORDS, Active, Basis, RateLine
from visits.dosing.showing import as_typed, typed_quantity
from visits.dosing.units import UNIT_WORDS, DosingError, Quantity, read_number

_BASES: list[tuple[str, Basis]] = sorted(
    [
        *((words.casefold(), basis) for basis, words in BASIS_WORDS.items()),
        *((str(basis), basis) for basis in BASIS_WORDS),
    ],
    key=lambda one: -len(one[0]),
)
_STRENGTH = re.compile(r"\s(?P<strength>[\d.,]+)\s*$")


def actives_told(text: str) -> list[dict[str, str]]:
    """The active ingredients of one line: “permethrin 0.5 % w/w; cyphenothrin 1 g/kg”.

    Raises ``DosingError`` with a sentence that names the one that cannot be read.
    """
    return [_active_told(part) for part in re.split(r"[;\n]", text) if part.strip()]


def _active_told(part: str) -> dict[str, str]:
    told = " ".join(part.split())
    for ending, basis in _BASES:
        if told.casefold().endswith(ending):
            rest = told[: -len(ending)].rstrip()
            if found := _STRENGTH.search(f" {rest}"):
                strength = read_number(found["strength"])
                name = rest[: max(found.start() - 1, 0)].strip()
                Active(name, strength, basis)
                figure = Decimal(strength.numerator) / Decimal(strength.denominator)
                return {"name": name, "strength": f"{figure:f}", "basis": basis}
    raise DosingError(
        "actives",
        f"“{told[:60]}” cannot be read. Write the name, the strength and what it is measured in, "
        "as “permethrin 0.5 % w/w”; put ; between two.",
    )


def rate_words(line: RateLine) -> str:
    """How a line of rates reads: “0.2 to 0.5 g of the product for each point”."""
    most = typed_quantity(Quantity(line.most, line.unit))
    if line.least is not None and line.least != line.most:
        most = f"{as_typed(line.least)} to {most}"
    elif line.least is None:
        most = f"at most {most}"
    of = f" of {line.active or 'the active ingredient'}" if line.of == "active" else ""
    if line.per == "finished":
        told = f"{most}{of} in {_each(line.per_amount, line.per_unit)} of finished spray"
    else:
        told = f"{most}{of} for {_each(line.per_amount, line.per_unit)}"
    if line.cover is not None:
        spray = typed_quantity(Quantity(line.cover.amount, line.cover.unit))
        place = _each(line.cover.per_amount, line.cover.per_unit)
        told += f"; {spray} of finished spray over {place}"
    return told


def _each(amount: Fraction, unit: str) -> str:
    quantity = Quantity(amount, unit)
    if quantity.amount == 1:
        return f"each {'point' if unit == 'points' else UNIT_WORDS[unit]}"
    return f"each {typed_quantity(quantity)}"


def chosen_words(slugs: Sequence[str], words: Mapping[str, str]) -> str:
    """Slugs as a person reads them, in the order in which they are held."""
    return ", ".join(words.get(slug, slug) for slug in slugs)
