"""What each kind of operation writes on a visit: the bridge from the protocol to the verbs."""

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any

from accounts.models import User
from sites.models import Photo
from visits import protocol
from visits.clocks import When, furthest_off
from visits.models import Visit
from visits.queries.phone_clock import clock_of_operations
from visits.services import closing, writing
from visits.services.sent_photos import FINDING, take_along

Written = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind: the shape of its body, its name for people, and what it writes.

    ``write`` gets a locked visit, whose hand it was, when, and the checked body.
    """

    words: str
    body: type[protocol.Body]
    write: Callable[[Visit, User, When, Written], object]


def _start(visit: Visit, by: User, when: When, body: Written) -> object:
    return writing.begin(visit, by=by, at=when.at)


def _look(visit: Visit, by: User, when: When, body: Written) -> object:
    return writing.write_looks(visit, by=by, at=when.at, checkpoint_ids=[body["checkpoint"]])


def _unlook(visit: Visit, by: User, when: When, body: Written) -> object:
    return writing.unwrite_words(visit, by=by, at=when.at, checkpoint_id=body["checkpoint"])


def _reading(visit: Visit, by: User, when: When, body: Written) -> object:
    given = writing.ReadingGiven(
        monitor_id=body["monitor"],
        condition=body["condition"],
        counts=body["counts"],
        bait_taken=body["bait_taken"],
        bait_taken_g=body["bait_taken_g"],
        bait_lifted_g=body["bait_lifted_g"],
        renewed=body["renewed"],
        note=body["note"],
    )
    return writing.write_readings(visit, by=by, at=when.at, readings=[given])


def _unread(visit: Visit, by: User, when: When, body: Written) -> object:
    return writing.unwrite_words(visit, by=by, at=when.at, monitor_id=body["monitor"])


def _finding(visit: Visit, by: User, when: When, body: Written) -> object:
    """Photos are named by their hash; those that have not arrived yet are waited for."""
    named = list(dict.fromkeys(body["photos"]))
    take_along(visit, named, by=by)
    held = dict(
        Photo.objects.filter(site=visit.site_id, given_sha256__in=named).values_list(
            "given_sha256", "pk"
        )
    )
    given = writing.FindingGiven(
        zone_id=body["zone"],
        checkpoint_id=body["checkpoint"],
        photo_ids=[held[one] for one in named if one in held],
        awaits=[one for one in named if one not in held],
        **{name: body[name] for name in _FINDING_AS_IS},
    )
    return writing.write_finding(
        visit, by=by, at=when.at, finding=given, finding_id=body["finding"]
    )


_FINDING_AS_IS = (
    "height",
    "kind",
    "pest",
    "count",
    "urgency",
    "note",
    "place",
    "remedy_kind",
    "remedy",
    "whose_move",
    "x",
    "y",
)


def _unfind(visit: Visit, by: User, when: When, body: Written) -> object:
    return writing.unwrite_finding(visit, by=by, at=when.at, finding_id=body["finding"])


def _not_reached(visit: Visit, by: User, when: When, body: Written) -> object:
    given = writing.NotReachedGiven(
        reason=body["reason"], whose_move=body["whose_move"], note=body["note"], **_place(body)
    )
    return writing.write_not_reached(visit, by=by, at=when.at, not_reached=given)


def _reached(visit: Visit, by: User, when: When, body: Written) -> object:
    return writing.unwrite_words(visit, by=by, at=when.at, **_place(body))


def _place(body: Written) -> dict[str, Any]:
    return {f"{name}_id": body[name] for name in ("zone", "checkpoint", "monitor")}


def _treatment(visit: Visit, by: User, when: When, body: Written) -> object:
    facts = dict(body)
    treatment_id = facts.pop("treatment")
    for name in ("zone", "checkpoint", "monitor", "product", "label", "rate"):
        facts[f"{name}_id"] = facts.pop(name)
    given = writing.TreatmentGiven(**facts)
    return writing.write_treatment(
        visit,
        by=by,
        at=when.at,
        received_at=when.received_at,
        treatment=given,
        treatment_id=treatment_id,
    )


def _untreat(visit: Visit, by: User, when: When, body: Written) -> object:
    return writing.unwrite_treatment(visit, by=by, at=when.at, treatment_id=body["treatment"])


def _contact(visit: Visit, by: User, when: When, body: Written) -> object:
    return writing.write_contact(visit, by=by, at=when.at, contact=writing.ContactGiven(**body))


def _close(visit: Visit, by: User, when: When, body: Written) -> object:
    facts = {one.name: body[one.name] for one in fields(writing.ContactGiven)}
    return closing.close_locked(
        visit,
        by=by,
        at=when.at,
        received_at=when.received_at,
        contact=writing.ContactGiven(**facts) if any(facts.values()) else None,
        minutes=writing.MinutesGiven(body["minutes_on_site"], body["minutes_reason"]),
        clock=furthest_off([when.clock, clock_of_operations(visit)]),
    )


CLOSE = "visit.close"

KINDS: dict[str, Kind] = {
    "visit.start": Kind("Start of the visit", protocol.Start, _start),
    "look.add": Kind("Looked, nothing", protocol.LookBody, _look),
    "look.remove": Kind("Look taken back", protocol.CheckpointBody, _unlook),
    "reading.set": Kind("Reading", protocol.ReadingBody, _reading),
    "reading.remove": Kind("Reading taken back", protocol.MonitorBody, _unread),
    FINDING: Kind("Finding", protocol.FindingBody, _finding),
    "finding.remove": Kind("Finding taken back", protocol.FindingRemoved, _unfind),
    "not_reached.set": Kind("Not reached", protocol.NotReachedBody, _not_reached),
    "not_reached.remove": Kind("Not reached taken back", protocol.PlaceBody, _reached),
    "treatment.set": Kind("Treatment", protocol.TreatmentBody, _treatment),
    "treatment.remove": Kind("Treatment taken back", protocol.TreatmentRemoved, _untreat),
    "contact.set": Kind("Contact and summary", protocol.ContactBody, _contact),
    CLOSE: Kind("Closing of the visit", protocol.CloseBody, _close),
}
