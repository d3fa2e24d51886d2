"""Identifiers that sort by the time they were made. Source: RFC 9562, section 5.7."""

import secrets
import time
from uuid import UUID


def uuid7() -> UUID:
    """A version 7 UUID: 48 bits of Unix milliseconds, then 74 random bits."""
    milliseconds = time.time_ns() // 1_000_000
    value = (milliseconds & (2**48 - 1)) << 80 | secrets.randbits(80)
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return UUID(int=value)
