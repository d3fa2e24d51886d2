"""The code on a monitor's label: how it is spelt, and the character that guards its typing.

Source of the check: the Luhn scheme for any even number of characters ("Luhn mod N"); it finds
every single wrong character and nearly every swap of neighbours.
"""

ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Thirty characters that are hard to take for one another."""

_GROUP = 4


def check_character(code: str) -> str:
    """The character that guards a code. Raises ``ValueError`` for one that is no code."""
    return ALPHABET[-_weight(code, first_factor=2) % len(ALPHABET)]


def spelt(code: str) -> str:
    """The code as a person reads it: groups of four, then a dash and the check character."""
    groups = [code[at : at + _GROUP] for at in range(0, len(code), _GROUP)]
    return f"{' '.join(groups)}-{check_character(code)}"


def typed(text: str) -> str | None:
    """The code that somebody typed from a label, or None if it cannot be right.

    Case, spaces and dashes do not matter; the check character must be there.
    """
    characters = "".join(text.upper().split()).replace("-", "")
    if len(characters) < 2 or not set(characters) <= set(ALPHABET):
        return None
    if _weight(characters, first_factor=1) % len(ALPHABET):
        return None
    return characters[:-1]


def _weight(characters: str, *, first_factor: int) -> int:
    """The sum of the characters from the right, every other one doubled and its digits added."""
    size = len(ALPHABET)
    total, factor = 0, first_factor
    for character in reversed(characters):
        if character not in ALPHABET:
            raise ValueError(f"{character!r} is not a character of a label")
        value = factor * ALPHABET.index(character)
        total += value // size + value % size
        factor = 3 - factor
    return total
