"""Closed visits as papers print them: taken from the sealed text, not from the rows behind it.

So a paper says what was sealed, by the names that things had that day, whatever has been renamed
since. Knows no query; photos and actions that the text points at are handed in.
"""

import json
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from compliance.sitefile import content
from compliance.sitefile.unreached import Mention
from sites.models import Photo
from visits.coverage import from_counts
from visits.models import Reading, Visit

# Said once at the head of a paper rather than with every treatment.
SAID_AT_THE_HEAD = frozenset(
    {
        "date",
        "site_address",
        "applicator_contact",
        "employer_name",
        "employer_contact",
        "client_name",
        "client_address",
        "occupier_name",
        "signature",
    }
)


def sealed_text(visit: Visit) -> dict[str, Any]:
    """What was sealed when the visit closed; nothing for one that has no sealed text."""
    found: dict[str, Any] = json.loads(visit.sealed_record) if visit.sealed_record else {}
    return found


def photo_hashes(record: Mapping[str, Any]) -> set[str]:
    """The hashes, as sent, of the photos that a sealed visit speaks of."""
    return {photo["given"] for finding in record.get("findings", ()) for photo in finding["photos"]}


def closed_visit(
    visit: Visit,
    record: Mapping[str, Any],
    *,
    photos: Mapping[str, Photo],
    action_numbers: Mapping[str, int],
) -> content.Visit:
    """A closed visit. ``photos`` are by the hash as sent, ``action_numbers`` by finding.

    The visit must have its line, technician and amendments with their authors at hand.
    """
    coverage = from_counts(visit.coverage)
    sealed, contact = record["visit"], record["contact"]
    return content.Visit(
        outcome=content.Outcome.CLOSED,
        state=visit.get_state_display(),
        kind=sealed["words"]["kind"],
        line=sealed["words"]["line"],
        due_on=date.fromisoformat(sealed["due_on"]),
        opens_on=date.fromisoformat(sealed["opens_on"]),
        closes_on=date.fromisoformat(sealed["closes_on"]),
        booked_on=_day(sealed["booked_on"]),
        technician=record["technician"]["words"]["name"],
        started_at=_instant(sealed["started_at"]),
        closed_at=_instant(sealed["closed_at"]),
        received_at=_instant(sealed["received_at"]),
        # Not said by what was sealed in the first form.
        minutes_on_site=sealed.get("minutes_on_site"),
        minutes_reason=sealed.get("minutes_reason", ""),
        reported_at=_instant(sealed["reported_at"]),
        reported_by=sealed["reported_by"],
        respond_by=_instant(sealed["respond_by"]),
        reported_problem=sealed["reported_problem"],
        summary=record["summary"],
        signature=content.Signature(
            name=contact["name"],
            job_title=contact["job_title"],
            strokes=_strokes(visit.signature),
            typed=contact["signature_typed"],
            none_because=contact["no_signature_reason"],
        ),
        coverage=content.Coverage(
            checkpoints_due=coverage.checkpoints.due,
            checkpoints_looked=coverage.checkpoints.looked,
            monitors_due=coverage.monitors.due,
            monitors_read=coverage.monitors.looked,
        ),
        looked_nothing=len(record["looks"]),
        findings=tuple(_finding(one, photos, action_numbers) for one in record["findings"]),
        readings=tuple(_reading(one) for one in record["readings"]),
        treatments=tuple(_treatment(one) for one in record["treatments"]),
        not_reached=tuple(
            content.NotReached(
                zone=one["words"]["zone"],
                what=one["words"]["what"],
                reason=one["words"]["reason"],
                whose_move=one["words"]["whose_move"],
                note=one["note"],
            )
            for one in record["not_reached"]
        ),
        amendments=tuple(
            content.Amendment(
                number=one.number,
                author=one.author.name,
                at=one.at,
                about=one.about,
                correction=one.correction,
                reason=one.reason,
                previous_seal=one.previous_seal,
                seal=one.seal,
            )
            for one in visit.amendments.all()
        ),
        seal_number=visit.seal_number,
        previous_seal=visit.previous_seal,
        seal=visit.seal,
    )


def visit_not_made(visit: Visit) -> content.Visit:
    """A visit that was missed, called off, or is still to come. What the office notes stays out."""
    outcomes = {
        Visit.State.MISSED: content.Outcome.MISSED,
        Visit.State.CALLED_OFF: content.Outcome.CALLED_OFF,
    }
    return content.Visit(
        outcome=outcomes.get(Visit.State(visit.state), content.Outcome.OPEN),
        state=visit.get_state_display(),
        state_reason=visit.state_reason,
        kind=visit.get_kind_display(),
        line=visit.line.title if visit.line else "",
        due_on=visit.due_on,
        opens_on=visit.opens_on,
        closes_on=visit.closes_on,
        booked_on=visit.booked_on,
        technician=visit.technician.name if visit.technician else "",
        reported_at=visit.reported_at,
        reported_by=visit.reported_by,
        respond_by=visit.respond_by,
        reported_problem=visit.reported_problem,
    )


def mentions(record: Mapping[str, Any], on: date) -> Iterator[Mention]:
    """What a sealed visit says of which places: first what it reached, then what it did not.

    A monitor that was found blocked was not reached. Whatever was looked at, found or read in a
    zone reaches the zone as well.
    """
    for look in record["looks"]:
        yield Mention(on, look["checkpoint"])
    for finding in record["findings"]:
        yield Mention(on, finding["zone"])
        if finding["checkpoint"]:
            yield Mention(on, finding["checkpoint"])
    for reading in record["readings"]:
        if reading["condition"] != Reading.Condition.BLOCKED:
            yield Mention(on, reading["monitor"])
    for zone in record["coverage"]["zones"]:
        if zone["checkpoints_looked"] or zone["monitors_looked"]:
            yield Mention(on, zone["zone"])
    for one in record["not_reached"]:
        words = one["words"]
        yield Mention(
            on,
            one["checkpoint"] or one["monitor"] or one["zone"],
            zone=words["zone"],
            what=words["what"],
            reason=words["reason"],
            whose_move=words["whose_move"],
        )


def _finding(
    one: Mapping[str, Any], photos: Mapping[str, Photo], action_numbers: Mapping[str, int]
) -> content.Finding:
    words = one["words"]
    return content.Finding(
        zone=words["zone"],
        kind=words["kind"],
        urgency=words["urgency"],
        note=one["note"],
        height=words["height"],
        place=", ".join(part for part in (words["checkpoint"], one["place"]) if part),
        pest=words["pest"],
        count=one["count"],
        remedy_kind=words["remedy_kind"],
        remedy=one["remedy"],
        whose_move=words["whose_move"],
        action_number=action_numbers.get(one["id"]),
        photos=tuple(_photo(named, words, photos) for named in one["photos"]),
    )


def _photo(
    named: Mapping[str, Any], words: Mapping[str, str], photos: Mapping[str, Photo]
) -> content.Photo:
    about = f"{words['kind']} in {words['zone']}".lower()
    kept = photos.get(named["given"])
    if kept is None:
        return content.Photo("", about)
    return content.Photo(str(kept.pk), about, kept.sha256)


def _reading(one: Mapping[str, Any]) -> content.Reading:
    words = one["words"]
    return content.Reading(
        monitor=words["monitor"],
        day=date.fromisoformat(one["read_on"]),
        condition=words["condition"],
        condition_code=one["condition"],
        counts=tuple((pest, count) for pest, count in words["counts"]),
        bait_taken=words["bait_taken"],
        bait_code=one["bait_taken"],
        stood_days=one["stood_days"],
        renewed=one["renewed"],
        note=one["note"],
    )


def _treatment(one: Mapping[str, Any]) -> content.Treatment:
    words = one["words"]
    started_at = datetime.fromisoformat(one["started_at"])
    return content.Treatment(
        product=one["product_name"],
        registration_number=one["registration_number"],
        actives=one["actives"],
        target=words["target"],
        method=words["method"],
        zone=words["zone"],
        place=one["place"],
        amount=Decimal(one["amount"]),
        unit=one["unit"],
        started_at=started_at,
        applicator=one["applicator_name"],
        batch_number=one["batch_number"],
        equipment=one["equipment"],
        situation=one["situation"],
        dilution=one["dilution"],
        area=Decimal(one["area"]) if one["area"] is not None else None,
        area_unit=one["area_unit"],
        finished_at=_instant(one["finished_at"]),
        outdoors=one["outdoors"],
        wind_speed=Decimal(one["wind_speed"]) if one["wind_speed"] is not None else None,
        wind_direction=one["wind_direction"],
        weather=one["weather"],
        precautions=one["precautions"],
        cautions=tuple(
            f"{text} (Confirmed by the technician.)" if confirmed else text
            for _, text, confirmed in words["cautions"]
        ),
        label_cautions=words["label_cautions"],
        re_entry=one["re_entry"],
        applicator_licence=one["applicator_licence"],
        supervised_person=one["supervised_person"],
        note=one["note"],
        is_demo=words["is_demo"],
        elements=tuple(
            (label, value) for key, label, value in words["elements"] if key not in SAID_AT_THE_HEAD
        ),
        missing=tuple(label for _, label in words["missing"]),
        # Not said by what was sealed before rules were chosen and labels named.
        rules=words.get("rules", {}).get("title", ""),
        against=tuple(notice["words"] for notice in one.get("against_label", ())),
        working=tuple(words.get("working", ())),
        re_entry_at=_instant(words.get("re_entry_at")),
    )


def _strokes(signature: Any) -> tuple[tuple[content.Point, ...], ...]:
    return tuple(tuple((x, y) for x, y in stroke) for stroke in signature or ())


def _instant(text: str | None) -> datetime | None:
    return datetime.fromisoformat(text) if text else None


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None
