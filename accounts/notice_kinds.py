"""The kinds of things that people are told; each room declares its own, as with trail verbs."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class NoticeKind:
    """``words`` say on the page of wishes what it tells.

    ``usual`` names the roles that are told at all, each with the way that holds while a person has
    not wished otherwise (``Notice.How``). ``waits``: the daily summary lists such things for as
    long as they wait, so it does not name the notice beside them.
    """

    key: str
    words: str
    usual: Mapping[str, str]
    waits: bool = False


_kinds: dict[str, NoticeKind] = {}


def declare(kind: NoticeKind) -> None:
    """Make a kind known."""
    _kinds[kind.key] = kind


def kind_of(key: str) -> NoticeKind:
    """The kind of that key; raises ``KeyError`` for an unknown one."""
    return _kinds[key]


def kinds_for(role: str) -> list[NoticeKind]:
    """What people of a role are told, in the order in which it was declared."""
    return [kind for kind in _kinds.values() if role in kind.usual]


def keys_that_wait() -> list[str]:
    """The keys of kinds that the daily summary lists by itself."""
    return [kind.key for kind in _kinds.values() if kind.waits]
