"""Identifiers."""

from accounts.ids import uuid7


def test_version_and_variant_are_those_of_rfc_9562():
    """RFC 9562, sections 4.1 (variant), 4.2 (version) and 5.7 (layout)."""
    made = uuid7()

    assert made.version == 7
    assert made.variant == "specified in RFC 4122"


def test_the_first_48_bits_are_unix_milliseconds(monkeypatch):
    """The example of RFC 9562, appendix A.6: 0x017F22E279B0 is 2022-02-22T19:22:22Z."""
    monkeypatch.setattr("time.time_ns", lambda: 0x017F22E279B0 * 1_000_000 + 999_999)

    assert str(uuid7()).startswith("017f22e2-79b0-7")


def test_many_differ():
    assert len({uuid7() for _ in range(5000)}) == 5000
