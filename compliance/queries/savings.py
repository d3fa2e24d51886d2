"""What checked sealing has saved so far at some sites: each piece of work, and all together.

A sealing is proofing that was checked, unless the client chose to carry on treating. Its day parts
the record: up to a year before it, and all days since. Work is left unmeasured where another job of
proofing was done in the same place in that time. Days are the site's own.
Docs: docs/algorithms/savings.md.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from math import ceil, floor
from uuid import UUID

from django.db.models import Prefetch

from compliance.economics.ranges import Range
from compliance.economics.savings import (
    MOST_BEFORE,
    Between,
    Saving,
    Sealing,
    Side,
    Total,
    saving_of,
    spells_of,
    total_of,
)
from compliance.models import ActionOption, CorrectiveAction, Decision
from compliance.queries.burden import Asked, Burden, burdens_of
from compliance.sitefile.words import counted, day, money
from sites.models import Site
from visits.models import RemedyKind

DAYS_A_MONTH = Decimal(365) / 12
STATES = {
    "fewer": "Fewer extra visits",
    "may_be_nothing": "May be nothing",
    "more": "More extra visits",
    "not_known": "Not yet known",
}


@dataclass(frozen=True, slots=True)
class Sealed:
    """One checked sealing, and what it has saved. ``words``: sentences, money included."""

    action: CorrectiveAction
    on: date
    saving: Saving
    words: tuple[str, ...]

    @property
    def state_words(self) -> str:
        return STATES[self.saving.state]


@dataclass(frozen=True, slots=True)
class Savings:
    """The sealings of some sites by the site's id, and what all have saved together."""

    of_site: Mapping[UUID, tuple[Sealed, ...]]
    total: Total
    words: tuple[str, ...]


def savings_at(sites: Sequence[Site], *, currency: str, now: datetime) -> Savings:
    """What sealing has saved at these sites up to now, latest work first.

    At most ten queries, however many sites and sealings.
    """
    done = _proofing_done(sites)
    works = [one for one in done if _is_sealing(one)]
    windows = {one.pk: _windows(one, now) for one in works}
    asked = [Asked(one.site, one.zone, *part) for one in works for part in windows[one.pk] if part]
    burdens = iter(burdens_of(asked))
    of_site: dict[UUID, list[Sealed]] = defaultdict(list)
    for work in works:
        before, after = (next(burdens) if part else None for part in windows[work.pk])
        found = _sealed(work, before, after, _other_work(work, done, windows[work.pk]), currency)
        of_site[work.site_id].append(found)
    total = total_of([[one.saving for one in some] for some in of_site.values()])
    return Savings(
        of_site={key: tuple(some) for key, some in of_site.items()},
        total=total,
        words=tuple(_total_words(total, currency)),
    )


Window = tuple[date, date]
Windows = tuple[Window, Window | None]


def _proofing_done(sites: Sequence[Site]) -> list[CorrectiveAction]:
    """All proofing that was reported done, checked or not, latest first. Two queries."""
    chosen = Decision.objects.filter(outcome=Decision.Outcome.GO_AHEAD).select_related("option")
    return list(
        CorrectiveAction.objects.filter(
            site__in=sites,
            kind=RemedyKind.PROOFING,
            done_at__isnull=False,
            state__in=[CorrectiveAction.State.DONE, CorrectiveAction.State.CHECKED],
        )
        .select_related("site", "zone")
        .prefetch_related(Prefetch("decisions", chosen.order_by("revision"), to_attr="orders"))
        .order_by("-done_at", "pk")
    )


def _option_of(action: CorrectiveAction) -> ActionOption | None:
    """What the client ordered last; None where nobody was asked."""
    orders: list[Decision] = action.orders  # type: ignore[attr-defined]  # prefetched above
    return orders[-1].option if orders else None


def _is_sealing(action: CorrectiveAction) -> bool:
    option = _option_of(action)
    seals = option is None or option.kind in {ActionOption.Kind.LASTING, ActionOption.Kind.INTERIM}
    return seals and action.state == CorrectiveAction.State.CHECKED


def _done_on(action: CorrectiveAction) -> date:
    return action.site.day_of(action.done_at or action.created_at)


def _windows(action: CorrectiveAction, now: datetime) -> Windows:
    """First and last day of either side; the day of the work is in neither.

    The time since ends with the site or the zone, where these are no longer in use.
    """
    on = _done_on(action)
    ends = [action.site.day_of(now), action.site.closed_on]
    ends.append(action.zone.retired_on if action.zone else None)
    last = min(one for one in ends if one)
    one_day = timedelta(days=1)
    before = (on - timedelta(days=MOST_BEFORE), on - one_day)
    return before, (on + one_day, last) if last > on else None


def _other_work(
    action: CorrectiveAction,
    done: Sequence[CorrectiveAction],
    windows: Windows,
) -> str:
    """Why the sides cannot be set against each other, if other proofing lies within them."""
    before, after = windows
    last = after[1] if after else _done_on(action)
    for other in done:
        here = other.zone_id == action.zone_id or None in (other.zone_id, action.zone_id)
        same_site = other.site_id == action.site_id and other.pk != action.pk
        if same_site and here and before[0] <= _done_on(other) <= last:
            return (
                f"Other proofing in the same place, action {other.number} on "
                f"{day(_done_on(other))}, lies within the time that is compared."
            )
    return ""


def _sealed(
    action: CorrectiveAction,
    before: Burden | None,
    after: Burden | None,
    barred: str,
    currency: str,
) -> Sealed:
    sides = _side(before), _side(after)
    cost = _cost_of(action, sides[1].days)
    saving = saving_of(Sealing(*sides, cost=cost, barred=barred))
    words = tuple(_words(saving, before, after, cost, currency))
    return Sealed(action, _done_on(action), saving, words)


def _side(burden: Burden | None) -> Side:
    if burden is None or not burden.days:
        return Side(0)
    unpriced = burden.unpriced or burden.money is None
    return Side(
        days=burden.days,
        spells=spells_of(one.on for one in burden.attendances),
        money=None if unpriced else burden.money,
    )


def _cost_of(action: CorrectiveAction, days: int) -> Range | None:
    """What was ordered: once, and by the month for the days since. None where nothing was."""
    option = _option_of(action)
    if option is None:
        return None
    months = Decimal(days) / DAYS_A_MONTH

    def summed(once: Decimal | None, monthly: Decimal | None) -> Decimal:
        now = option.cost_once if once is None else once
        return now + months * (option.cost_monthly if monthly is None else monthly)

    return Range(
        low=summed(option.cost_once_low, option.cost_monthly_low),
        likely=summed(None, None),
        high=summed(option.cost_once_high, option.cost_monthly_high),
    )


# --- in words -----------------------------------------------------------------------------------


def _words(
    saving: Saving,
    before: Burden | None,
    after: Burden | None,
    cost: Range | None,
    currency: str,
) -> Sequence[str]:
    if saving.yearly is None or before is None or after is None:
        return [saving.reason]
    said = [
        f"{counted(before.visits, 'extra visit')} and {counted(before.treatments, 'treatment')} in "
        f"the {counted(before.days, 'day')} before, {counted(after.visits, 'extra visit')} and "
        f"{counted(after.treatments, 'treatment')} in the {counted(after.days, 'day')} since.",
        _yearly_words(saving.yearly),
    ]
    if saving.money:
        said.append(f"Not spent on extra visits since: {_about(saving.money, currency)}.")
    if saving.net and cost:
        said.append(f"Less {_exact(cost, currency)} for the work: {_about(saving.net, currency)}.")
    if saving.reason:
        said.append(saving.reason)
    if saving.not_whole_year:
        said.append("It is less than a year, so the season may have had a part in it.")
    return said


def _yearly_words(yearly: Between) -> str:
    low, high = _visits(yearly.lower), _visits(yearly.upper)
    if yearly.state == "may_be_nothing":
        return f"That may be nothing: between {low} and {high} a year."
    return f"That is {_visits(yearly.likely)} a year, between {low} and {high}."


def _visits(number: float) -> str:
    """6.2 fewer, 0.4 more."""
    return f"{abs(number):.1f} {'more' if number < 0 else 'fewer'}"


def _about(between: Between, currency: str) -> str:
    """Whole units, the limits rounded outwards."""
    low, high = _signed(floor(between.lower), currency), _signed(ceil(between.upper), currency)
    doubt = "; it may be nothing" if between.state == "may_be_nothing" else ""
    return f"about {_signed(round(between.likely), currency)}, between {low} and {high}{doubt}"


def _signed(whole: int, currency: str) -> str:
    minus = "\N{MINUS SIGN}" if whole < 0 else ""
    return f"{minus}{money(Decimal(abs(whole)), currency).removesuffix('.00')}"


def _exact(cost: Range, currency: str) -> str:
    if cost.low == cost.high:
        return money(cost.likely, currency)
    return f"{money(cost.low, currency)} to {money(cost.high, currency)}"


def _total_words(total: Total, currency: str) -> Sequence[str]:
    """What all sealings have saved together, and of how many that can be said."""
    if not total.sealings:
        return ["No sealing has been done and checked yet."]
    if total.money is None:
        return [f"Not yet known for {counted(total.sealings, 'checked sealing')}."]
    said = [
        f"Not spent on extra visits since, for {total.measured} of "
        f"{counted(total.sealings, 'checked sealing')}: {_about(total.money, currency)}."
    ]
    if total.net:
        said.append(f"Less the work, for {total.with_cost} of them: {_about(total.net, currency)}.")
    if total.measured < total.sealings:
        said.append("Of the others it is not yet known.")
    return said
