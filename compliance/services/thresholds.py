"""Action thresholds are set and ended; where they were reached is found, followed up and answered.

A threshold is never changed, only ended and another set, so that what was breached can be read as
it was. Days are the site's own, or the company's for what holds everywhere.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Min, QuerySet
from django.utils import timezone

from accounts.access import require_administrator, require_office
from accounts.models import Company, User
from accounts.refusals import NotAllowed, Unusable, WrongState
from accounts.trail import record, record_each
from compliance.access import breaches_visible_to, thresholds_visible_to
from compliance.models import ActionThreshold, Breach, CorrectiveAction
from compliance.queries.thresholds import LOOK_BACK_DAYS, Reached, key_of, reached_by
from compliance.services.actions import raise_by_rule
from sites.models import Contract, Site, Zone
from sites.services.sites import require_open_site, site_to_keep
from visits.models import Pest, Visit
from visits.services.booking import add_follow_up_by_rule, look_for_also

Per = ActionThreshold.Per
Then = ActionThreshold.Then
State = Breach.State

# Until when somebody looks again after a breach, in days. Ours; no source.
LOOK_AGAIN_DAYS = 7
LOOK_AGAIN_LAST_DAYS = 14

MOST_WORDS = 120
MOST_ANSWER = 300
MOST_LINES = 5
SITES_AT_ONCE = 100
GROUPS_AT_ONCE = 200
FIGURES = ("count", "half_days", "at_least", "words")


@dataclass(frozen=True, slots=True)
class ThresholdGiven:
    """What a threshold is to be. Identifiers are None, texts and lists empty, for "any"."""

    name: str
    per: str
    least: Decimal
    then: str = Then.FLAG
    pest_id: UUID | None = None
    group: str = ""
    site_id: UUID | None = None
    zone_id: UUID | None = None
    contract_id: UUID | None = None
    zone_kinds: Sequence[str] = field(default_factory=tuple)


# --- set and ended ------------------------------------------------------------------------------


@transaction.atomic
def set_threshold(
    given: ThresholdGiven, *, by: User, begins_on: date | None = None, at: datetime | None = None
) -> ActionThreshold:
    """Set a threshold, as the office; as an administrator where it holds for the whole company.

    It holds from today unless ``begins_on`` says another day, at most 62 days back. Raises
    ``NotAllowed``, ``Site.DoesNotExist``, ``WrongState`` for a closed site, ``Unusable``.
    """
    site = _site_to_set_for(given.site_id, by=by)
    today = _today(site, at or timezone.now())
    begins_on = begins_on or today
    if begins_on < today - timedelta(days=LOOK_BACK_DAYS):
        raise Unusable(
            f"Nothing further back than {LOOK_BACK_DAYS} days is looked at; choose a later day.",
            code="begins_too_early",
            field="begins_on",
        )
    return _set(given, site, by=by, begins_on=begins_on, instead_of=None)


@transaction.atomic
def end_threshold(threshold_id: UUID, *, by: User, at: datetime | None = None) -> ActionThreshold:
    """End a threshold: today is the first day on which it does not hold.

    What it has caught before stays. Ended twice is ended once. Raises ``NotAllowed``,
    ``ActionThreshold.DoesNotExist`` for one that this person may not see.
    """
    threshold = _threshold_to_end(threshold_id, by=by)
    if threshold.ended_on is None:
        _end(threshold, by=by, at=at or timezone.now())
    return threshold


@transaction.atomic
def change_threshold(
    threshold_id: UUID, given: ThresholdGiven, *, by: User, at: datetime | None = None
) -> ActionThreshold:
    """End a threshold and set another in its place, from today on. Answers with the new one.

    Raises what the two raise, and ``WrongState`` once it has been ended, ``Unusable`` if the new
    one is for another site.
    """
    old = _threshold_to_end(threshold_id, by=by)
    if old.ended_on is not None:
        raise WrongState(f"“{old.name}” was ended on {old.ended_on:%-d %b %Y}; set a new one.")
    if given.site_id != old.site_id:
        raise Unusable("A threshold stays where it was agreed; set another for another site.")
    begins_on = _end(old, by=by, at=at or timezone.now())
    return _set(given, old.site, by=by, begins_on=begins_on, instead_of=old)


def _site_to_set_for(site_id: UUID | None, *, by: User) -> Site | None:
    if site_id is None:
        _require_may_set_for_all(by)
        return None
    site = site_to_keep(site_id, by=by)
    require_open_site(site)
    return site


def _require_may_set_for_all(by: User) -> None:
    require_office(by)
    try:
        require_administrator(by)
    except NotAllowed:
        raise NotAllowed("What the whole company acts upon is an administrator's to set.") from None


def _threshold_to_end(threshold_id: UUID, *, by: User) -> ActionThreshold:
    """The threshold, locked, of somebody who may end it."""
    found = thresholds_visible_to(by).get(pk=threshold_id)
    require_office(by)
    if found.site_id is None:
        _require_may_set_for_all(by)
    return (
        ActionThreshold.objects.select_for_update(of=("self",))
        .select_related("site")
        .get(pk=threshold_id)
    )


def _today(site: Site | None, at: datetime) -> date:
    if site:
        return site.day_of(at)
    company = Company.objects.first() or Company()
    return at.astimezone(ZoneInfo(company.time_zone)).date()


def _end(threshold: ActionThreshold, *, by: User, at: datetime) -> date:
    """End it as of today, and say which day that is."""
    ended_on = max(_today(threshold.site, at), threshold.begins_on)
    threshold.ended_on = ended_on
    threshold.save(update_fields=["ended_on"])
    record(by, "threshold.ended", threshold, name=threshold.name, ended_on=ended_on)
    return ended_on


def _set(
    given: ThresholdGiven,
    site: Site | None,
    *,
    by: User,
    begins_on: date,
    instead_of: ActionThreshold | None,
) -> ActionThreshold:
    _require_usable(given, site)
    threshold = ActionThreshold.objects.create(
        **{**asdict(given), "name": given.name.strip(), "zone_kinds": sorted(given.zone_kinds)},
        begins_on=begins_on,
        set_by=by,
    )
    record(
        by,
        "threshold.set",
        threshold,
        name=threshold.name,
        per=threshold.per,
        least=threshold.least,
        then=threshold.then,
        pest=threshold.pest.name if threshold.pest else threshold.group,
        zone=threshold.zone.name if threshold.zone else None,
        zone_kinds=threshold.zone_kinds,
        contract=threshold.contract.number if threshold.contract else None,
        begins_on=begins_on,
        instead_of=instead_of.pk if instead_of else None,
    )
    return threshold


def _require_usable(given: ThresholdGiven, site: Site | None) -> None:
    """Raise ``Unusable`` for what no threshold can be."""
    name = given.name.strip()
    if not name:
        raise Unusable("Give it a name that people know it by.", field="name")
    if len(name) > MOST_WORDS:
        raise Unusable(f"Keep the name under {MOST_WORDS} characters.", field="name")
    if given.per not in Per.values or given.then not in Then.values:
        raise Unusable("Choose what is counted and what follows from the lists.")
    _require_usable_number(given)
    if given.pest_id and given.group:
        raise Unusable("Choose one pest or a group of pests, not both.", field="group")
    if given.group and given.group not in Pest.Group.values:
        raise Unusable("There is no such group of pests.", field="group")
    if given.zone_id and given.zone_kinds:
        raise Unusable("Choose one zone or kinds of zones, not both.", field="zone_kinds")
    if not set(given.zone_kinds) <= set(Zone.Kind.values):
        raise Unusable("There is no such kind of zone.", field="zone_kinds")
    if given.zone_id and not (
        site and Zone.objects.filter(pk=given.zone_id, site=site, retired_on=None).exists()
    ):
        raise Unusable("That zone belongs to another site.", code="zone_elsewhere", field="zone")
    if given.contract_id and not (
        site and Contract.objects.filter(pk=given.contract_id, site=site).exists()
    ):
        raise Unusable("That contract belongs to another site.", field="contract")


def _require_usable_number(given: ThresholdGiven) -> None:
    if not 0 < given.least < 10**6 or given.least != round(given.least, 2):
        raise Unusable(
            "A threshold lies above 0 and below a million, with two figures after the point.",
            field="least",
        )
    if given.per == Per.READING and given.least != int(given.least):
        raise Unusable("Individuals at one reading are whole numbers.", field="least")


# --- reached ------------------------------------------------------------------------------------


def find_breaches(*, now: datetime | None = None) -> int:
    """Find what has reached its threshold, follow it up, and say how many are new. Safe to repeat.

    Looks at readings of the last 62 days and at the months that ended within them, and again at
    what open breaches stand upon, whatever their age: where readings were corrected so that
    nothing was reached, the breach is gone. An answer stays. Where the threshold says so, an action
    is raised for each pest and zone whose breaches have no open one, or a follow-up visit put on
    the plan, one for each site.

    The number of queries does not grow with readings, thresholds or breaches, only with the actions
    and visits that come of them, and by a few for each hundred sites where something changed.
    """
    now = now or timezone.now()
    reached = reached_by(_today(None, now))
    changed = _sites_with_changes(reached)
    new = sum(
        _write(changed[start : start + SITES_AT_ONCE], reached, now=now)
        for start in range(0, len(changed), SITES_AT_ONCE)
    )
    raise_wanted_actions(now=now)
    plan_wanted_follow_ups(now=now)
    return new


def _sites_with_changes(reached: Reached) -> list[UUID]:
    standing = {key_of(one): one for one in reached.standing()}
    sites = {one.site_id for one in standing.values() if reached.takes_back(one)}
    for key, found in reached.found.items():
        one = standing.get(key)
        if (one is None and reached.is_new_enough(found)) or (
            one is not None and (one.state == State.GONE or _is_corrected(one, found))
        ):
            sites.add(found.site_id)
    return sorted(sites)


def _is_corrected(one: Breach, found: Breach) -> bool:
    return one.state == State.OPEN and _figures(one) != _figures(found)


def _figures(one: Breach) -> dict[str, Any]:
    return {name: getattr(one, name) for name in FIGURES}


@transaction.atomic
def _write(site_ids: Sequence[UUID], reached: Reached, *, now: datetime) -> int:
    """Bring the breaches of these sites in step with what was reached. Answers with the new ones.

    Under the locks of the sites, taken in order, the breaches are looked at again: of two runs at
    once the second finds what the first has written.
    """
    list(
        Site.objects.select_for_update(no_key=True)
        .filter(pk__in=site_ids)
        .order_by("pk")
        .only("pk")
    )
    standing = {key_of(one): one for one in reached.standing().filter(site__in=site_ids)}
    wanted = set(site_ids)
    found = {key: one for key, one in reached.found.items() if one.site_id in wanted}
    new = [one for key, one in found.items() if key not in standing and reached.is_new_enough(one)]
    known = [(standing[key], one) for key, one in found.items() if key in standing]
    back = [pair for pair in known if pair[0].state == State.GONE]
    corrected = [pair for pair in known if _is_corrected(*pair)]
    gone = [one for one in standing.values() if reached.takes_back(one)]
    if new:
        _add(new, now)
    if back:
        _bring_up_to_date(back, "breach.reached", now)
    if corrected:
        _bring_up_to_date(corrected, "breach.corrected", now)
    if gone:
        Breach.objects.filter(pk__in=[one.pk for one in gone]).update(state=State.GONE)
        record_each(None, "breach.gone", gone)
    return len(new)


def _add(new: Sequence[Breach], now: datetime) -> None:
    for one in new:
        one.raised_at = now
    Breach.objects.bulk_create(new, batch_size=500)
    record_each(None, "breach.reached", new, own=[_told(one) for one in new])


def _bring_up_to_date(pairs: Sequence[tuple[Breach, Breach]], verb: str, now: datetime) -> None:
    """Give breaches the figures that now stand, and open those that had gone."""
    told = [{"old": _figures(one), "new": _figures(found)} for one, found in pairs]
    rows = [one for one, _ in pairs]
    for one, found in pairs:
        if one.state == State.GONE:
            one.state, one.raised_at = State.OPEN, now
        for name, value in _figures(found).items():
            setattr(one, name, value)
    Breach.objects.bulk_update(rows, ["state", "raised_at", *FIGURES], batch_size=500)
    record_each(None, verb, rows, own=told)


def _told(one: Breach) -> dict[str, Any]:
    return {
        "threshold": one.threshold_id,
        "zone": one.zone_id,
        "monitor": one.monitor_id,
        "pest": one.pest_id,
        "on": one.on,
        "count": one.count,
    }


# --- followed up --------------------------------------------------------------------------------


def raise_wanted_actions(*, now: datetime | None = None) -> int:
    """Raise the actions that breached thresholds ask for, one for each site, zone and pest.

    A breach joins the open action that an earlier one of its zone and pest has raised. Safe to
    repeat; answers with how many were raised.
    """
    groups = (
        _wanting(Then.ACTION)
        .values("site", "zone", "pest")
        .annotate(first=Min("raised_at"))
        .order_by("first", "site", "zone", "pest")
        .values_list("site", "zone", "pest")[:GROUPS_AT_ONCE]
    )
    return sum(_raise_for(*group, now=now or timezone.now()) for group in list(groups))


def plan_wanted_follow_ups(*, now: datetime | None = None) -> int:
    """Put the follow-up visits on the plan that breached thresholds ask for, one for each site.

    A breach joins the visit that an earlier one has led to while nobody has begun it. Safe to
    repeat; answers with how many were planned.
    """
    sites = (
        _wanting(Then.FOLLOW_UP)
        .values("site")
        .annotate(first=Min("raised_at"))
        .order_by("first", "site")
        .values_list("site", flat=True)[:GROUPS_AT_ONCE]
    )
    return sum(_plan_for(site, now=now or timezone.now()) for site in list(sites))


def _wanting(then: str) -> QuerySet[Breach]:
    """Open breaches whose threshold asks for this and that nothing has come of yet."""
    return Breach.objects.filter(
        state=State.OPEN,
        threshold__then=then,
        action=None,
        follow_up=None,
        site__closed_on=None,
    )


@transaction.atomic
def _raise_for(site_id: UUID, zone_id: UUID, pest_id: UUID, *, now: datetime) -> int:
    site = Site.objects.select_for_update(no_key=True).get(pk=site_id)
    # Looked at again under the lock: another worker may have raised it meanwhile.
    rows = list(
        _wanting(Then.ACTION)
        .filter(site=site, zone=zone_id, pest=pest_id)
        .select_related("zone", "pest", "monitor")
        .order_by("on", "pk")
    )
    if not rows:
        return 0
    open_one = (
        CorrectiveAction.objects.filter(
            site=site,
            state__in=CorrectiveAction.OPEN_STATES,
            breaches__zone=zone_id,
            breaches__pest=pest_id,
        )
        .order_by("pk")
        .first()
    )
    zone, pest = rows[0].zone, rows[0].pest
    action = open_one or raise_by_rule(
        site,
        at=now,
        kind=CorrectiveAction.Kind.TREATMENT_FOLLOW_UP,
        title=f"{pest} in {zone}: action threshold reached",
        detail=_lines(rows),
        zone=zone,
    )
    Breach.objects.filter(pk__in=[one.pk for one in rows]).update(action=action)
    record_each(None, "breach.action_raised", rows, action=action.pk)
    return 0 if open_one else 1


@transaction.atomic
def _plan_for(site_id: UUID, *, now: datetime) -> int:
    site = Site.objects.select_for_update(no_key=True).get(pk=site_id)
    rows = list(
        _wanting(Then.FOLLOW_UP)
        .filter(site=site)
        .select_related("zone", "pest", "monitor")
        .order_by("on", "pk")
    )
    if not rows:
        return 0
    note = "\n".join(dict.fromkeys(f"Look again for {one.pest} in {one.zone}." for one in rows))
    shared = (
        Visit.objects.filter(
            after_breaches__site=site, state__in=[Visit.State.PLANNED, Visit.State.BOOKED]
        )
        .order_by("due_on", "pk")
        .first()
    )
    today = site.day_of(now)
    if shared:
        visit = look_for_also(shared.pk, note=note)
    else:
        visit = add_follow_up_by_rule(
            site.pk,
            due_on=today + timedelta(days=LOOK_AGAIN_DAYS),
            opens_on=today,
            closes_on=today + timedelta(days=LOOK_AGAIN_LAST_DAYS),
            office_note=f"An action threshold was reached.\n{note}",
        )
    Breach.objects.filter(pk__in=[one.pk for one in rows]).update(follow_up=visit)
    record_each(None, "breach.follow_up_planned", rows, visit=visit.pk, due=visit.due_on)
    return 0 if shared else 1


def _lines(rows: Sequence[Breach]) -> str:
    """What was reached, a line each, and how many more there are."""
    lines = [
        f"{one.on:%-d %b %Y}{f', {one.monitor}' if one.monitor else ''}: {one.words}"
        for one in rows[:MOST_LINES]
    ]
    more = len(rows) - MOST_LINES
    return "\n".join([*lines, f"And {more} more."] if more > 0 else lines)


# --- answered -----------------------------------------------------------------------------------


@transaction.atomic
def answer_breach(
    breach_id: UUID,
    *,
    by: User,
    answer: str,
    with_the_rest: bool = False,
    at: datetime | None = None,
) -> list[Breach]:
    """Say, as the office, what was done about a breach; answers with those that were answered.

    ``with_the_rest``: the same is said of all open breaches of this pest in this zone. The same
    answer twice is one. Raises ``NotAllowed``, ``Unusable`` without an answer, ``WrongState`` once
    it is gone or somebody has answered otherwise.
    """
    require_office(by)
    seen = breaches_visible_to(by).filter(pk=breach_id).only("site").first()
    if seen is None:
        raise NotAllowed("Only the office of this site's branch answers its breaches.")
    answer = answer.strip()
    if not answer:
        raise Unusable(
            "Say what was done; it stays on the record.", code="answer_missing", field="answer"
        )
    if len(answer) > MOST_ANSWER:
        raise Unusable(
            f"Keep the answer under {MOST_ANSWER} characters.",
            code="answer_too_long",
            field="answer",
        )
    # The site's lock, as the sweep takes it, so that neither writes over the other.
    Site.objects.select_for_update(no_key=True).only("pk").get(pk=seen.site_id)
    first = Breach.objects.select_related("answered_by").get(pk=breach_id)
    if first.state == State.GONE:
        raise WrongState("The readings were corrected; nothing is left to answer.")
    if first.state == State.ANSWERED:
        if (first.answered_by_id, first.answer) == (by.pk, answer):
            return []
        raise WrongState(f"{first.answered_by} has answered this already.", state=first.state)
    rows = [first]
    if with_the_rest:
        rows += list(
            Breach.objects.filter(zone=first.zone_id, pest=first.pest_id, state=State.OPEN)
            .exclude(pk=first.pk)
            .order_by("on", "pk")
        )
    for one in rows:
        one.state, one.answer = State.ANSWERED, answer
        one.answered_at, one.answered_by = at or timezone.now(), by
    Breach.objects.bulk_update(
        rows, ["state", "answer", "answered_at", "answered_by"], batch_size=500
    )
    record_each(by, "breach.answered", rows, answer=answer)
    return rows
