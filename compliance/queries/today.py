"""What needs the office now: late, stuck, alarming, unplaced, each by lateness."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from django.db.models import Count
from django.urls import reverse

from accounts.models import User
from compliance.access import actions_visible_to, flags_visible_to
from compliance.models import Flag
from compliance.queries.actions import DONE_UNCHECKED, TO_PRICE, URGENT, action_filter
from compliance.queries.flags import GROUPS, FlagGroup, by_lateness
from visits.models import FollowUp
from visits.queries.follow_ups import proposed_to

SHOWN = 6


@dataclass(frozen=True, slots=True)
class Counted:
    """How many of something, and where they are listed."""

    label: str
    number: int
    url: str


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the page: the first open flags of a group, how many, and what else waits."""

    group: FlagGroup
    number: int
    acknowledged: int
    url: str
    counts: Sequence[Counted]
    flags: Sequence[Flag]

    @property
    def tone(self) -> str:
        if not self.number:
            return "sound"
        return "late" if self.group.key in {"late", "alarming"} else "soon"

    @property
    def note(self) -> str:
        return f"and {self.acknowledged} acknowledged" if self.acknowledged else ""


def follow_ups_of(user: User) -> tuple[Sequence[FollowUp], int]:
    """The first proposed follow-ups that wait for this person, soonest first, and how many.

    Two queries, whatever the size.
    """
    waiting = proposed_to(user)
    number = waiting.count()
    return (list(waiting[:SHOWN]) if number else []), number


def flags_address(**filters: str) -> str:
    """The list of flags, narrowed."""
    return f"{reverse('compliance:flags')}?{urlencode(filters)}"


def actions_address(**filters: str) -> str:
    """The list of actions, narrowed."""
    return f"{reverse('compliance:actions')}?{urlencode(filters)}"


def today_of(user: User) -> list[Part]:
    """The four parts of the page, for what this person may see. Six queries, whatever the size.

    Flags come from the last reconciliation; what is to price, to check and urgent is counted now.
    """
    flags = flags_visible_to(user)
    counted: dict[tuple[str, str], int] = {
        (row["kind"], row["state"]): row["number"]
        for row in flags.exclude(state=Flag.State.CLEARED)
        .order_by()
        .values("kind", "state")
        .annotate(number=Count("pk"))
    }
    beside = _beside(user)
    open_flags = by_lateness(flags.filter(state=Flag.State.OPEN))
    parts = []
    for group in GROUPS:
        counts = [
            Counted(
                kind.label,
                counted.get((kind, Flag.State.OPEN), 0),
                flags_address(state=Flag.State.OPEN, kind=kind),
            )
            for kind in group.kinds
        ]
        number = sum(count.number for count in counts)
        parts.append(
            Part(
                group=group,
                number=number,
                acknowledged=sum(
                    counted.get((kind, Flag.State.ACKNOWLEDGED), 0) for kind in group.kinds
                ),
                url=flags_address(state=Flag.State.OPEN, group=group.key),
                counts=[one for one in [*counts, *beside.get(group.key, [])] if one.number],
                flags=list(open_flags.filter(kind__in=group.kinds)[:SHOWN]) if number else [],
            )
        )
    return parts


def _beside(user: User) -> dict[str, list[Counted]]:
    """What waits for the office and is no flag. One query."""
    waiting = actions_visible_to(user).aggregate(
        to_price=Count("pk", filter=action_filter(TO_PRICE)),
        to_check=Count("pk", filter=action_filter(DONE_UNCHECKED)),
        urgent=Count("pk", filter=action_filter(URGENT)),
    )
    return {
        "stuck": [
            Counted("Actions to price", waiting["to_price"], actions_address(state=TO_PRICE)),
            Counted(
                "Finished work to check", waiting["to_check"], actions_address(state=DONE_UNCHECKED)
            ),
        ],
        "alarming": [
            Counted("Open actions found urgent", waiting["urgent"], actions_address(state=URGENT))
        ],
    }
