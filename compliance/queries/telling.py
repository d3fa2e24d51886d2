"""Who should have been told what, and has not been: worked out anew from the record each time.

What happened is told to those who were there at that time, for fourteen days; reminders and
escalation go by the contract in force for as long as a decision is wanting. Nobody is told of what
they did themselves.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from uuid import UUID

from django.db.models import Q
from django.urls import reverse

from accounts.models import Notice, Role, TrailEntry, User
from compliance import told_kinds as kinds
from compliance.models import ActionMessage, CorrectiveAction, Decision
from sites.models import Contract, Site
from sites.queries import people_who_see
from visits.models import WhoseMove
from visits.queries.objections import words_of

TOLD_WITHIN = timedelta(days=14)
"""What is older is told to nobody any more: a list that starts late starts empty."""
MORNING = time(8)
"""Reminders are due from then on, by the site's clock, on the day to which the rule counts."""

State = CorrectiveAction.State


@dataclass(frozen=True, slots=True)
class Telling:
    """One thing to tell to these people. ``key`` is told to a person once.

    ``each``: whoever of ``to`` was not told is told, even where others were. ``undecided`` is the
    revision that must still wait for a decision when it is told.
    """

    kind: str
    key: str
    at: datetime
    action: CorrectiveAction
    to: tuple[User, ...]
    subject: str
    text: str = ""
    anchor: str = ""
    each: bool = False
    undecided: int | None = None

    @property
    def path(self) -> str:
        return f"{reverse('compliance:action', args=[self.action.pk])}{self.anchor}"


def untold(now: datetime) -> list[Telling]:
    """What is still to be told, oldest first. Twelve queries at most, whatever there is."""
    since = now - TOLD_WITHIN
    waiting = list(_actions(Q(state=State.PRICED)))
    put = _put_at(waiting)
    messages = list(
        ActionMessage.objects.filter(at__gt=since, at__lte=now)
        .select_related("by", "action__site__client")
        .order_by("at", "pk")
    )
    decisions = list(
        Decision.objects.filter(sign_off__at__gt=since, sign_off__at__lte=now)
        .select_related("sign_off", "action__site__client")
        .order_by("sign_off__at", "pk")
    )
    moved = list(
        _actions(
            Q(state=State.RAISED, whose_move=WhoseMove.CLIENT, raised_at__gt=since)
            | Q(state=State.DONE, done_at__gt=since)
            | Q(state=State.CHECKED, checked_at__gt=since)
        )
    )
    answered = [*(one.action for one in messages), *(one.action for one in decisions)]
    audience = Audience(action.site for action in [*waiting, *moved, *answered])
    by_name = {(one.action_id, one.asks_id) for one in messages if one.asks_id}
    found = [
        *(
            _asked(action, put[action.pk], audience)
            for action in waiting
            if put[action.pk] > since and (action.pk, action.asked_id) not in by_name
        ),
        *_by_rule(waiting, put, audience, now),
        *_written(messages, audience),
        *_decided(decisions, messages, audience),
        *(_moved(action, audience) for action in moved),
    ]
    return sorted(_not_yet(found), key=lambda one: (one.at, one.key))


class Audience:
    """Who reads notices about which site. Three queries, none where there are no sites."""

    def __init__(self, sites: Iterable[Site]) -> None:
        unique = {site.pk: site for site in sites}
        self._seeing = people_who_see(unique.values()) if unique else {}

    def office(self, action: CorrectiveAction) -> list[User]:
        return self._of(action, Role.OFFICE)

    def managers(self, action: CorrectiveAction) -> list[User]:
        return self._of(action, Role.CLIENT_MANAGER)

    def asked(self, action: CorrectiveAction) -> list[User]:
        """The manager who was asked by name, as long as that one can answer; else all of them."""
        managers = self.managers(action)
        return [one for one in managers if one.pk == action.asked_id] or managers

    def _of(self, action: CorrectiveAction, role: str) -> list[User]:
        # Whoever has not taken up the invitation reads nothing yet.
        return [
            person
            for person in self._seeing[action.site_id]
            if person.role == role and person.has_usable_password()
        ]


def _actions(condition: Q) -> Iterator[CorrectiveAction]:
    return (
        CorrectiveAction.objects.filter(condition, site__closed_on=None)
        .select_related("site__client", "done_by")
        .order_by("pk")
        .iterator()
    )


def _put_at(actions: Sequence[CorrectiveAction]) -> dict[UUID, datetime]:
    """When each priced action was put to the client as it now stands. One query.

    New options have their own instant; of changed words only the trail knows when.
    """
    put = {action.pk: action.priced_at or action.raised_at for action in actions}
    changed = TrailEntry.objects.filter(
        verb="action.changed", target_id__in=[str(action.pk) for action in actions]
    )
    for target_id, at, facts in changed.values_list("target_id", "at", "facts"):
        if facts.get("new"):
            put[UUID(target_id)] = max(put[UUID(target_id)], at)
    return put


# --- what happened ------------------------------------------------------------------------------


def _asked(action: CorrectiveAction, at: datetime, audience: Audience) -> Telling:
    return Telling(
        kinds.DECISION_ASKED,
        f"{kinds.DECISION_ASKED}:{action.pk}:{action.revision}",
        at,
        action,
        tuple(audience.asked(action)),
        f"Waits for your decision: {_named(action)}",
        f"The options and what each costs are on its page. Due by {words_of(action.due_on)}.",
        each=action.asked_id is not None,
        undecided=action.revision,
    )


def _written(messages: Sequence[ActionMessage], audience: Audience) -> Iterator[Telling]:
    """A client's words go to the office; the office's to the managers who wrote, or were asked."""
    writers: dict[UUID, set[UUID]] = defaultdict(set)
    threads = {message.action_id for message in messages}
    earlier = ActionMessage.objects.filter(action__in=threads, by__role=Role.CLIENT_MANAGER)
    for action_id, by_id in earlier.values_list("action_id", "by_id"):
        writers[action_id].add(by_id)
    for message in messages:
        action = message.action
        if message.asks_id:
            yield from _asked_by_name(message, audience)
            continue
        if message.by.role == Role.CLIENT_MANAGER:
            kind, to, subject = kinds.QUESTION, audience.office(action), f"{message.by} asks about"
        else:
            wrote = [one for one in audience.managers(action) if one.pk in writers[action.pk]]
            kind, to = kinds.ANSWER, wrote or audience.asked(action)
            subject = f"{message.by} writes about"
        yield Telling(
            kind,
            f"{kind}:{message.pk}",
            message.at,
            action,
            _without(to, message.by_id),
            f"{subject} {_named(action)}",
            message.text,
            anchor="#asked",
        )


def _asked_by_name(message: ActionMessage, audience: Audience) -> Iterator[Telling]:
    """Whoever is asked to decide by a colleague, or by the office on a colleague's word."""
    action = message.action
    if action.asked_id != message.asks_id:
        return
    yield Telling(
        kinds.DECISION_ASKED,
        f"{kinds.DECISION_ASKED}:{message.pk}",
        message.at,
        action,
        tuple(one for one in audience.managers(action) if one.pk == message.asks_id),
        f"{message.by} asks you to decide: {_named(action)}",
        message.text,
        undecided=message.revision,
    )


def _decided(
    decisions: Sequence[Decision], messages: Sequence[ActionMessage], audience: Audience
) -> Iterator[Telling]:
    """The office hears of it, and whoever was told to decide and now need not."""
    told: dict[UUID, set[UUID]] = defaultdict(set)
    asked = {f"{kinds.DECISION_ASKED}:{one.action_id}:{one.revision}": one for one in decisions}
    asked |= {
        f"{kinds.DECISION_ASKED}:{message.pk}": one
        for one in decisions
        for message in messages
        if message.asks_id and message.action_id == one.action_id
    }
    for key, person_id in Notice.objects.filter(key__in=asked).values_list("key", "person_id"):
        told[asked[key].pk].add(person_id)
    for decision in decisions:
        action, sign_off = decision.action, decision.sign_off
        managers = [one for one in audience.managers(action) if one.pk in told[decision.pk]]
        outcome = decision.get_outcome_display().lower()
        yield Telling(
            kinds.DECIDED,
            f"{kinds.DECIDED}:{decision.pk}",
            sign_off.at,
            action,
            _without([*audience.office(action), *managers], sign_off.person_id),
            f"{sign_off.person_name}: {outcome}, {_named(action)}",
            decision.reason,
        )


def _moved(action: CorrectiveAction, audience: Audience) -> Telling:
    """What became the client's move, was reported done, or was checked."""
    if action.state == State.CHECKED and action.checked_at:
        return Telling(
            kinds.CHECKED,
            f"{kinds.CHECKED}:{action.pk}",
            action.checked_at,
            action,
            _without(audience.managers(action), action.checked_by_id),
            f"Checked and sound: {_named(action)}",
            action.check_note,
        )
    if action.state == State.DONE and action.done_at and action.done_by:
        by_client = action.done_by.role == Role.CLIENT_MANAGER
        return Telling(
            kinds.REPORTED_DONE,
            # Work that was sent back can be reported again.
            f"{kinds.REPORTED_DONE}:{action.pk}:{action.done_at.timestamp():.6f}",
            action.done_at,
            action,
            _without(
                audience.office(action) if by_client else audience.managers(action),
                action.done_by_id,
            ),
            f"Reported done{', to be checked' if by_client else ''}: {_named(action)}",
            f"{action.done_by}: {action.done_note}",
        )
    return Telling(
        kinds.YOUR_MOVE,
        f"{kinds.YOUR_MOVE}:{action.pk}",
        action.raised_at,
        action,
        _without(audience.managers(action), action.raised_by_id),
        f"Your move: {_named(action)}",
        f"Due by {words_of(action.due_on)}.",
    )


# --- by the rule of the contract ----------------------------------------------------------------


def _by_rule(
    waiting: Sequence[CorrectiveAction],
    put: dict[UUID, datetime],
    audience: Audience,
    now: datetime,
) -> Iterator[Telling]:
    """Reminders and escalation of what waits for a decision. One query."""
    contracts = _contracts_with_rules({action.site_id for action in waiting})
    for action in waiting:
        rule = _in_force(contracts[action.site_id], action.site.day_of(now))
        if rule:
            asked_on = action.site.day_of(put[action.pk])
            yield from _reminder(action, rule, asked_on, audience, now)
            yield from _escalation(action, rule, asked_on, audience, now)


def _contracts_with_rules(site_ids: set[UUID]) -> dict[UUID, list[Contract]]:
    """The newest first, for each site."""
    found: dict[UUID, list[Contract]] = defaultdict(list)
    rules = Contract.objects.filter(
        Q(remind_days__isnull=False) | Q(escalate_days__isnull=False), site__in=site_ids
    )
    for contract in rules.order_by("-starts_on", "-pk"):
        found[contract.site_id].append(contract)
    return found


def _in_force(contracts: Sequence[Contract], day: date) -> Contract | None:
    """Of the contracts that say anything and run on a day, the newest."""
    return next(
        (
            one
            for one in contracts
            if one.starts_on <= day and (one.ends_on is None or day <= one.ends_on)
        ),
        None,
    )


def reminders_due(rule: Contract, days: int) -> int:
    """How many reminders are due so many days after somebody was asked."""
    if rule.remind_days is None or days < rule.remind_days:
        return 0
    if rule.remind_every_days is None:
        return 1
    return 1 + (days - rule.remind_days) // rule.remind_every_days


def _reminder(
    action: CorrectiveAction, rule: Contract, asked_on: date, audience: Audience, now: datetime
) -> Iterator[Telling]:
    """The latest reminder that is due; earlier ones that nobody sent are not made up for."""
    number = reminders_due(rule, _days_since(asked_on, action.site, now))
    if not number:
        return
    yield Telling(
        kinds.DECISION_REMINDER,
        f"{kinds.DECISION_REMINDER}:{action.pk}:{action.revision}:{number}",
        now,
        action,
        tuple(audience.asked(action)),
        f"Still waits for your decision: {_named(action)}",
        f"You were asked on {words_of(asked_on)}. Due by {words_of(action.due_on)}.",
        undecided=action.revision,
    )


def _escalation(
    action: CorrectiveAction, rule: Contract, asked_on: date, audience: Audience, now: datetime
) -> Iterator[Telling]:
    """Told to whom the contract names, or to the office where that person can no longer see it."""
    days = _days_since(asked_on, action.site, now)
    if rule.escalate_days is None or days < rule.escalate_days:
        return
    asked = audience.asked(action)
    office = audience.office(action)
    everybody = [*office, *audience.managers(action)]
    named = [one for one in everybody if one.pk == rule.escalate_to_id]
    names = ", ".join(one.name for one in asked) or f"nobody of {action.site.client}"
    yield Telling(
        kinds.DECISION_STUCK,
        f"{kinds.DECISION_STUCK}:{action.pk}:{action.revision}",
        now,
        action,
        tuple(named or office),
        f"Not decided after {days} day{'' if days == 1 else 's'}: {_named(action)}",
        f"Asked on {words_of(asked_on)}: {names}. Due by {words_of(action.due_on)}.",
        undecided=action.revision,
    )


def _days_since(asked_on: date, site: Site, now: datetime) -> int:
    """Whole days on the site's calendar; today counts once its morning has come."""
    local = now.astimezone(site.zone_info)
    days = (local.date() - asked_on).days
    return days if local.time() >= MORNING else days - 1


# --- what all share -----------------------------------------------------------------------------


def _not_yet(tellings: Sequence[Telling]) -> Iterator[Telling]:
    """Those that somebody is still to be told, with these people only. One query.

    A person who came after it happened is not told; one thing is told to all at the same time, so
    it is done once anybody was told, except where it says ``each``.
    """
    told: dict[str, set[UUID]] = defaultdict(set)
    keys = [one.key for one in tellings]
    for key, person_id in Notice.objects.filter(key__in=keys).values_list("key", "person_id"):
        told[key].add(person_id)
    for one in tellings:
        if told[one.key] and not one.each:
            continue
        to = tuple(
            person
            for person in one.to
            if person.created_at <= one.at and person.pk not in told[one.key]
        )
        if to:
            yield replace(one, to=to)


def _without(people: Iterable[User], doer_id: UUID | None) -> tuple[User, ...]:
    return tuple(person for person in people if person.pk != doer_id)


def _named(action: CorrectiveAction) -> str:
    return f"{action.title}, {action.site}"
