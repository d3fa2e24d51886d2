"""How long actions stay open, those that still are counted in, by kind and by client or site.

Closed is what was checked. What the client turned down and what was withdrawn leaves the count on
that day without having been closed, as what is open still does today. Days are whole days of the
site. The shares are those of ``compliance.trends.duration`` (Kaplan and Meier).
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import QuerySet

from compliance.days import SiteDays
from compliance.models import CorrectiveAction
from compliance.trends.duration import Spans, StillOpen, still_open

State = CorrectiveAction.State

QUARTER, HALF, THREE_QUARTERS = 0.25, 0.5, 0.75
READ_AT = (7, 14, 30, 60, 90, 180, 365)
"""The days after which the table beside the curve says how much is open still. Ours; no source."""
DAYS_A_MONTH = 30.4375


@dataclass(frozen=True, slots=True)
class Age:
    """One action: how many days it has been seen open, whether it was closed then, and its state
    now. ``group`` is the client's or the site's id, with its name."""

    kind: str
    group: tuple[Any, str]
    days: int
    is_closed: bool
    is_open: bool
    is_overdue: bool


@dataclass(frozen=True, slots=True)
class Ageing:
    """A group of actions. ``quarter``, ``half`` and ``three_quarters`` are the days within which so
    many are closed; None while that is not known. ``left`` were turned down or withdrawn."""

    name: str
    raised: int
    open: int
    overdue: int
    closed: int
    left: int
    quarter: int | None
    half: int | None
    three_quarters: int | None


@dataclass(frozen=True, slots=True)
class CurveRow:
    """How much is open still after so many days, with what holds it at 95 %, in percent."""

    days: int
    seen: int
    share: float
    lower: float
    upper: float


def ages(
    actions: QuerySet[CorrectiveAction],
    *,
    now: datetime,
    by_site: bool = False,
    months: int | None = None,
    kind: str = "",
    client: Any = None,
) -> list[Age]:
    """The age of each action, narrowed; ``months`` are those before now in which it was raised.

    Two queries: the zones in use, and the rows.
    """
    days = SiteDays(now)
    if months:
        actions = actions.filter(raised_at__gt=now - timedelta(days=months * DAYS_A_MONTH))
    if kind:
        actions = actions.filter(kind=kind)
    if client:
        actions = actions.filter(site__client=client)
    rows = actions.order_by().values(
        "kind",
        "state",
        "declined",
        "due_on",
        "raised_at",
        "decided_at",
        "checked_at",
        "withdrawn_at",
        "site_id",
        "site__name",
        "site__client_id",
        "site__client__name",
        "site__time_zone",
    )
    return [_age(row, days, by_site=by_site) for row in rows.iterator(chunk_size=2000)]


def _age(row: Mapping[str, Any], days: SiteDays, *, by_site: bool) -> Age:
    zone = row["site__time_zone"]
    today = days.today(zone)
    ended = _ended_at(row)
    last = _day(ended, zone) if ended else today
    is_open = row["state"] in CorrectiveAction.OPEN_STATES and not row["declined"]
    at = ("site_id", "site__name") if by_site else ("site__client_id", "site__client__name")
    return Age(
        kind=row["kind"],
        group=(row[at[0]], row[at[1]]),
        days=max((last - _day(row["raised_at"], zone)).days, 0),
        is_closed=row["state"] == State.CHECKED,
        is_open=is_open,
        is_overdue=is_open and row["state"] != State.DONE and row["due_on"] < today,
    )


def _ended_at(row: Mapping[str, Any]) -> datetime | None:
    """When an action left the count, closed or not; None while it is open."""
    found: datetime | None = None
    if row["state"] == State.CHECKED:
        found = row["checked_at"]
    elif row["state"] == State.WITHDRAWN:
        found = row["withdrawn_at"]
    elif row["declined"]:
        found = row["decided_at"]
    return found


def _day(at: datetime, zone: str) -> date:
    return at.astimezone(ZoneInfo(zone)).date()


def spans_of(found: Sequence[Age]) -> Spans:
    """The days that each was seen open, and whether it was closed then."""
    return Spans(
        np.array([one.days for one in found], dtype=np.int64),
        np.array([one.is_closed for one in found], dtype=np.bool_),
    )


def ageing_of(name: str, found: Sequence[Age]) -> Ageing:
    """The figures of one group."""
    curve = still_open(spans_of(found))
    is_open = sum(one.is_open for one in found)
    closed = sum(one.is_closed for one in found)
    return Ageing(
        name=name,
        raised=len(found),
        open=is_open,
        overdue=sum(one.is_overdue for one in found),
        closed=closed,
        left=len(found) - is_open - closed,
        quarter=curve.within(QUARTER),
        half=curve.within(HALF),
        three_quarters=curve.within(THREE_QUARTERS),
    )


def by_kind(found: Iterable[Age]) -> list[tuple[str, list[Age]]]:
    """The actions of each kind that there is, in the order of the kinds."""
    grouped = _grouped(found, lambda one: one.kind)
    return [
        (str(kind.label), grouped[kind.value])
        for kind in CorrectiveAction.Kind
        if kind.value in grouped
    ]


def by_group(found: Iterable[Age]) -> list[tuple[str, list[Age]]]:
    """The actions of each client or site, by name."""
    grouped = _grouped(found, lambda one: one.group)
    ordered = sorted(grouped, key=lambda group: (group[1].casefold(), str(group[0])))
    return [(group[1], grouped[group]) for group in ordered]


def _grouped(found: Iterable[Age], key: Callable[[Age], Any]) -> dict[Any, list[Age]]:
    grouped: dict[Any, list[Age]] = {}
    for one in found:
        grouped.setdefault(key(one), []).append(one)
    return grouped


def curve_rows(curve: StillOpen, spans: Spans) -> list[CurveRow]:
    """The curve as a table, at days on which some were seen still, or their like."""
    longest = int(spans.days.max()) if len(spans) else 0
    rows = []
    for days in READ_AT:
        if days > longest:
            break
        at = int(np.searchsorted(curve.days, days, side="right")) - 1
        share, lower, upper = (
            (float(values[at]) if at >= 0 else 1.0)
            for values in (curve.share, curve.lower, curve.upper)
        )
        seen = int((spans.days >= days).sum())
        rows.append(CurveRow(days, seen, 100 * share, 100 * lower, 100 * upper))
    return rows
