"""Flags for lists, by lateness, in the four groups of the office's day."""

from dataclasses import dataclass

from django.db.models import F, QuerySet

from compliance.models import Flag

Kind = Flag.Kind


@dataclass(frozen=True, slots=True)
class FlagGroup:
    """Kinds of flags that are looked at together, and the words when there are none."""

    key: str
    title: str
    nothing: str
    kinds: tuple[Kind, ...]


GROUPS = (
    FlagGroup(
        "late",
        "Late",
        "Nothing is past its day.",
        (Kind.CALL_OUT_LATE, Kind.VISIT_OVERDUE, Kind.ACTION_OVERDUE, Kind.BAIT_REVIEW),
    ),
    FlagGroup(
        "stuck",
        "Stuck",
        "Nothing waits for anybody.",
        (
            Kind.QUESTION_OPEN,
            Kind.DECISION_STALE,
            Kind.CHECK_MISSED,
            Kind.NOT_REACHED_AGAIN,
            Kind.VISIT_UNBOOKED,
            Kind.FOLLOW_UP_OPEN,
        ),
    ),
    FlagGroup(
        "alarming",
        "Alarming",
        "Nothing is out of order.",
        (
            Kind.AGAINST_LABEL,
            Kind.THRESHOLD_BREACHED,
            Kind.TREND_ALARM,
            Kind.TREND_REVIEW_DUE,
            Kind.JOB_FAILED,
            Kind.RECORD_LATE,
            Kind.MONITOR_UNREAD,
            Kind.TRAP_SILENT,
            Kind.COMPETENCE_EXPIRING,
            Kind.DOCUMENT_EXPIRING,
        ),
    ),
    FlagGroup("unplaced", "Unplaced", "Every record from a phone has its place.", (Kind.TO_PLACE,)),
)
KINDS_OF_GROUP = {group.key: group.kinds for group in GROUPS}


def by_lateness(flags: QuerySet[Flag]) -> QuerySet[Flag]:
    """What has been late longest first; what has no day comes last. One query, with the sites."""
    return flags.select_related("site", "acknowledged_by").order_by(
        F("late_since").asc(nulls_last=True), "pk"
    )


def flags_listed(
    flags: QuerySet[Flag], *, state: str = "", group: str = "", kind: str = ""
) -> QuerySet[Flag]:
    """Flags as the list shows them; without a state whatever is not cleared."""
    flags = flags.filter(state=state) if state else flags.exclude(state=Flag.State.CLEARED)
    if group:
        flags = flags.filter(kind__in=KINDS_OF_GROUP[group])
    if kind:
        flags = flags.filter(kind=kind)
    return by_lateness(flags)
