"""How a record is turned into one exact text, and how one record is chained to the one before.

Pure: no Django, no clock. Anyone can repeat it with a JSON library and SHA-256.
Source: FIPS 180-4 (SHA-256); the text form follows the habits of RFC 8785 (sorted keys, no spaces).
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any
from uuid import UUID

NOTHING_BEFORE = "0" * 64


def plain(value: Any) -> Any:
    """The same value in the few types that JSON knows; instants become UTC with a ``Z``.

    Decimals become text, so that no digit is lost. Raises ``TypeError`` for floats that are not
    finite and for anything else that has no exact text.
    """
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        if value != value or value in (float("inf"), float("-inf")):
            raise TypeError(f"{value!r} has no exact text")
        return value
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise TypeError(f"{value!r} does not say its zone")
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, Sequence | set | frozenset):
        return [
            plain(item) for item in (sorted(value) if isinstance(value, set | frozenset) else value)
        ]
    raise TypeError(f"{type(value).__name__} has no exact text")


def canonical(value: Any) -> str:
    """One text for one record: keys sorted, no spaces, UTF-8 as it is."""
    return json.dumps(
        plain(value), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def digest(text: str | bytes) -> str:
    """SHA-256 in 64 lower-case hexadecimal digits."""
    data = text.encode() if isinstance(text, str) else text
    return hashlib.sha256(data).hexdigest()


def chained(previous: str, text: str) -> str:
    """The seal of a text after another: SHA-256 of the previous seal, a line end, the text."""
    return digest(f"{previous}\n{text}")
