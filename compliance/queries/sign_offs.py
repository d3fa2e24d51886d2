"""Whether what was signed about actions still stands, by its text, its decision and the trail."""

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, TypeVar
from uuid import UUID

from accounts.models import TrailEntry
from accounts.sealing import canonical, digest, plain
from compliance.models import CorrectiveAction, Decision, SignOff
from compliance.services.signing import is_whole

Meaning = SignOff.Meaning
VERBS = {
    Meaning.GO_AHEAD: "action.decided",
    Meaning.DECLINES: "action.decided",
    Meaning.CONFIRMS_DONE: "action.done",
    Meaning.CHECKED: "action.checked",
}
OUTCOMES = {
    Meaning.GO_AHEAD: Decision.Outcome.GO_AHEAD,
    Meaning.DECLINES: Decision.Outcome.DECLINED,
}
UNDECIDED = {CorrectiveAction.State.RAISED, CorrectiveAction.State.PRICED}
CHUNK = 200
Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class BrokenSignOff:
    """One signature that does not stand as it was signed, and what is wrong with it."""

    action_id: UUID
    signed: str
    trouble: str


def broken_sign_offs() -> Iterator[BrokenSignOff]:
    """Every signature about an action that does not stand, oldest first, then those that are gone.

    A signature that the trail tells of and that is no more is broken too. Two queries for every two
    hundred signatures, and as many for the trail.
    """
    sign_offs = SignOff.objects.select_related("action", "decision__option").order_by("at", "pk")
    for some in _by_chunks(sign_offs.iterator(chunk_size=CHUNK)):
        told = _told_of(some)
        for sign_off in some:
            trouble = trouble_of(sign_off, told.get(sign_off.content_hash, ()))
            if trouble:
                yield BrokenSignOff(sign_off.action_id, str(sign_off), trouble)
    yield from _gone()


def trouble_of(sign_off: SignOff, told: Sequence[TrailEntry]) -> str:
    """What is wrong with a signature as it is stored now; empty where nothing is.

    ``told`` are the entries of the trail that name its hash. No query where the action and the
    decision are at hand.
    """
    if not is_whole(sign_off):
        return "The signed text no longer fits its hash."
    signed = json.loads(sign_off.content)
    return (
        _trouble_with_the_signer(sign_off, signed)
        or _trouble_with_what_was_shown(sign_off, signed.get("shown", {}))
        or _trouble_with_the_decision(sign_off, signed)
        or _trouble_with_the_trail(sign_off, told)
    )


def _trouble_with_the_signer(sign_off: SignOff, signed: dict[str, Any]) -> str:
    stored = {
        "meaning": sign_off.get_meaning_display(),
        "person": sign_off.person_name,
        "role": sign_off.person_role,
        "at": plain(sign_off.at),
        "zone": sign_off.zone,
    }
    if any(signed.get(name) != value for name, value in stored.items()):
        return "Who signed, when, or what it means is no longer what was signed."
    return ""


def _trouble_with_what_was_shown(sign_off: SignOff, shown: dict[str, Any]) -> str:
    if shown.get("facts", {}).get("action") != str(sign_off.action_id):
        return "It was signed for another action."
    if sign_off.meaning in OUTCOMES:
        text = canonical({"facts": shown["facts"], "figures": shown.get("figures")})
        if shown.get("hash") != digest(text):
            return "What was shown does not fit the hash that was signed for it."
    return ""


def _trouble_with_the_decision(sign_off: SignOff, signed: dict[str, Any]) -> str:
    outcome = OUTCOMES.get(Meaning(sign_off.meaning))
    decision: Decision | None = getattr(sign_off, "decision", None)
    if outcome is None:
        return "A decision hangs on a signature that decides nothing." if decision else ""
    if decision is None:
        return "The decision that was signed is gone."
    facts, answer = signed["shown"]["facts"], signed.get("answer", {})
    stored = [
        (decision.action_id, sign_off.action_id),
        (decision.revision, facts["revision"]),
        (decision.outcome, answer.get("outcome")),
        (plain(decision.option_id), answer.get("option")),
        (decision.reason, answer.get("reason")),
        (decision.outcome, outcome.value),
    ]
    if any(now != then for now, then in stored):
        return "The decision is no longer the one that was signed."
    if decision.option and plain(decision.option_id) not in _options_in(facts):
        return "The option chosen is none of those that were shown."
    return _trouble_with_the_action(sign_off.action, decision)


def _options_in(facts: dict[str, Any]) -> set[str]:
    return {option["option"] for option in facts["options"]}


def _trouble_with_the_action(action: CorrectiveAction, decision: Decision) -> str:
    """The action must stand as its last decision says; an earlier one it has left behind."""
    if decision.revision != action.revision:
        return ""
    declined = decision.outcome == Decision.Outcome.DECLINED
    if action.state in UNDECIDED or action.declined != declined:
        return "The action does not stand as it was decided."
    return ""


def _trouble_with_the_trail(sign_off: SignOff, told: Sequence[TrailEntry]) -> str:
    verb = VERBS[Meaning(sign_off.meaning)]
    entries = [
        entry for entry in told if entry.verb == verb and entry.target_id == str(sign_off.action_id)
    ]
    if len(entries) != 1:
        return "The trail does not tell of it once, with the same hash."
    told_facts = entries[0].facts
    if told_facts.get("known_by", sign_off.method) != sign_off.method:
        return "The trail tells otherwise how the person was known."
    decision: Decision | None = getattr(sign_off, "decision", None)
    if decision is None:
        return ""
    facts = {
        "outcome": decision.outcome,
        "option": plain(decision.option_id),
        "reason": decision.reason,
        "revision": decision.revision,
    }
    if any(told_facts.get(name) != value for name, value in facts.items()):
        return "The trail tells of another decision."
    return ""


def _told_of(sign_offs: Sequence[SignOff]) -> dict[str, list[TrailEntry]]:
    """The entries of the trail that name a signature's hash, by the hash. One query."""
    entries = TrailEntry.objects.filter(
        verb__in=set(VERBS.values()),
        target_type=CorrectiveAction._meta.label_lower,
        target_id__in={str(sign_off.action_id) for sign_off in sign_offs},
    ).order_by("pk")
    told: dict[str, list[TrailEntry]] = {}
    for entry in entries:
        if entry.facts.get("signed"):
            told.setdefault(entry.facts["signed"], []).append(entry)
    return told


def _gone() -> Iterator[BrokenSignOff]:
    """Signatures that the trail tells of and that are no more."""
    entries = TrailEntry.objects.filter(verb__in=set(VERBS.values())).order_by("pk")
    for some in _by_chunks(entries.iterator(chunk_size=CHUNK)):
        told = [entry for entry in some if entry.facts.get("signed")]
        there = set(
            SignOff.objects.filter(
                content_hash__in={entry.facts["signed"] for entry in told}
            ).values_list("content_hash", flat=True)
        )
        for entry in told:
            if entry.facts["signed"] not in there:
                yield BrokenSignOff(
                    UUID(entry.target_id),
                    f"{entry.actor_name}, {entry.sentence}",
                    "The signature that the trail tells of is gone.",
                )


def _by_chunks(rows: Iterable[Row]) -> Iterator[list[Row]]:
    left = iter(rows)
    while some := list(islice(left, CHUNK)):
        yield some
