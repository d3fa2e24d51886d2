"""The exact text of a record, and chains of them."""

import hashlib
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from uuid import UUID

import pytest

from accounts.sealing import NOTHING_BEFORE, canonical, chained, digest


@pytest.mark.parametrize(
    ("value", "text"),
    [
        pytest.param({"b": 1, "a": [True, None]}, '{"a":[true,null],"b":1}', id="keys sorted"),
        pytest.param("Café ≤ 5 °C", '"Café ≤ 5 °C"', id="letters as they are"),
        pytest.param(Decimal("1.50"), '"1.50"', id="no digit of an amount lost"),
        pytest.param(date(2026, 2, 28), '"2026-02-28"', id="day"),
        pytest.param(
            datetime(2026, 3, 1, 1, 30, tzinfo=timezone(timedelta(hours=1))),
            '"2026-03-01T00:30:00Z"',
            id="instant in UTC",
        ),
        pytest.param(UUID(int=7), '"00000000-0000-0000-0000-000000000007"', id="identifier"),
        pytest.param({"x": {3, 1, 2}}, '{"x":[1,2,3]}', id="sets in order"),
    ],
)
def test_one_text_for_one_record(value, text):
    assert canonical(value) == text


@pytest.mark.parametrize(
    "value",
    [float("nan"), float("inf"), datetime(2026, 1, 1), object()],
    ids=["no number", "endless", "no zone", "no text"],
)
def test_what_has_no_exact_text_is_refused(value):
    with pytest.raises(TypeError):
        canonical({"value": value})


def test_the_hash_is_sha_256():
    """FIPS 180-4 example values, as NIST publishes them for "abc"."""
    assert digest("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_anybody_can_repeat_a_chain_with_standard_tools():
    text = canonical({"at": datetime(2026, 1, 1, tzinfo=UTC)})

    by_hand = hashlib.sha256(f"{NOTHING_BEFORE}\n{text}".encode()).hexdigest()

    assert chained(NOTHING_BEFORE, text) == by_hand
