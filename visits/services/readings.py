"""Readings that the office enters by hand, for a day without a visit.

They are a record of their own kind: what a visit or an import says of the same day is never
changed from here, and they may be corrected, with the old and the new on the trail.
"""

from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet

from accounts.models import User
from accounts.refusals import Refused, WrongState
from accounts.trail import record
from sites.models import Monitor, Site
from visits.models import Pest, Reading, ReadingCount
from visits.services.standing import lock_monitors, restand
from visits.services.writing import ReadingGiven, Unknown
from visits.signals import tell_readings_came

MOST_AT_ONCE = 200
MOST_OF_A_PEST = 1_000_000
FIELDS = ("condition", "bait_taken", "note")
READ_OTHERWISE = {
    Reading.Source.VISIT: "A visit read it on this day; that record is not changed.",
    Reading.Source.IMPORT: "A spreadsheet told of this day; import it again to correct it.",
}


def standing_on(site: Site, day: date) -> QuerySet[Monitor]:
    """The monitors that stood at a site on a day. Without order."""
    stood = Q(removed_on=None) | Q(removed_on__gte=day)
    return Monitor.objects.filter(stood, site=site, placed_on__lte=day)


def read_otherwise(monitor_ids: Collection[UUID], day: date) -> dict[UUID, Reading]:
    """What a visit or an import says of the day; such a monitor takes no entry by hand. One query.

    Of a visit that was not closed yet too: its reading is the technician's to make.
    """
    readings = Reading.objects.filter(
        monitor_id__in=monitor_ids, read_on=day, source__in=READ_OTHERWISE
    )
    return {one.monitor_id: one for one in readings.select_related("visit").order_by("source")}


@transaction.atomic
def enter_readings(
    site_id: UUID,
    *,
    by: User,
    read_on: date,
    readings: Sequence[ReadingGiven],
    taken_back: Collection[UUID] = (),
    now: datetime,
) -> int:
    """Enter what monitors showed on a day; says how many readings that changed.

    A second entry for the same monitor and day replaces the first, ``taken_back`` names monitors
    whose entry was a mistake. Raises ``Refused`` with ``problems``, a sentence for each monitor's
    identifier, and then nothing is written; ``WrongState`` at a closed site.
    """
    site = Site.objects.select_for_update().get(pk=site_id)
    if site.closed_on:
        raise WrongState("This site is closed. Open it again first.", code="site_closed")
    if read_on > site.day_of(now):
        raise Refused("This day is still to come.", code="still_to_come", field="read_on")
    given = {one.monitor_id: one for one in readings}
    named = given.keys() | set(taken_back)
    if len(named) > MOST_AT_ONCE:
        raise Refused(f"Enter at most {MOST_AT_ONCE} readings at once.", code="too_many")
    lock_monitors(named)
    monitors = standing_on(site, read_on).in_bulk(list(named))
    _require_enterable(named, given, monitors, read_on)
    pests = _pests(given.values())
    own = Reading.objects.filter(
        monitor_id__in=named, read_on=read_on, source=Reading.Source.HAND
    ).prefetch_related("counts__pest")
    held = {one.monitor_id: one for one in own}
    gone = [held[one] for one in sorted(set(taken_back) - given.keys()) if one in held]
    shown = [
        {"monitor": monitors[one.monitor_id].number, "instead_of": _words(one)} for one in gone
    ]
    for monitor_id, one in given.items():
        before = held.get(monitor_id)
        row = before or Reading(
            monitor=monitors[monitor_id], read_on=read_on, source=Reading.Source.HAND
        )
        old = _words(before) if before else None
        new = _given_words(one)
        if old == new:
            continue
        row.condition, row.bait_taken = one.condition, one.bait_taken
        row.note = one.note.strip()
        row.save()
        ReadingCount.objects.filter(reading=row).delete()
        ReadingCount.objects.bulk_create(
            ReadingCount(reading=row, pest=pests[slug], count=count)
            for slug, count in sorted(one.counts.items())
            if count
        )
        told = {"monitor": monitors[monitor_id].number, **new}
        shown.append({**told, "instead_of": old} if old else told)
    for row in gone:
        row.delete()
    if shown:
        restand(named)
        record(by, "readings.entered", site, read_on=read_on, readings=shown)
        tell_readings_came()
    return len(shown)


def _require_enterable(
    named: Collection[UUID],
    given: Mapping[UUID, ReadingGiven],
    monitors: Mapping[UUID, Monitor],
    day: date,
) -> None:
    """Raise ``Refused`` with a sentence for each monitor that takes no entry of the day."""
    problems = {
        str(one): "It did not stand at this site on that day." for one in named - monitors.keys()
    }
    for monitor_id, reading in read_otherwise(named, day).items():
        problems.setdefault(str(monitor_id), READ_OTHERWISE[Reading.Source(reading.source)])
    for monitor_id, one in given.items():
        if any(not 0 <= count <= MOST_OF_A_PEST for count in one.counts.values()):
            problems.setdefault(str(monitor_id), f"Count from 0 to {MOST_OF_A_PEST}.")
        elif one.condition not in Reading.Condition.values:
            problems.setdefault(str(monitor_id), "Say in which condition it was.")
        elif one.condition == Reading.Condition.MISSING and any(one.counts.values()):
            problems.setdefault(str(monitor_id), "A monitor that was missing shows no catch.")
    if problems:
        raise Refused(
            "Nothing was saved: some of it cannot be entered.",
            code="not_enterable",
            problems=problems,
        )


def _pests(given: Collection[ReadingGiven]) -> dict[str, Pest]:
    wanted = {slug for one in given for slug in one.counts}
    found = {one.slug: one for one in Pest.objects.filter(slug__in=wanted)}
    for slug in sorted(wanted - found.keys()):
        raise Unknown(f"There is no pest “{slug[:40]}” on file.", code="unknown_pest")
    return found


def _words(reading: Reading) -> dict[str, Any]:
    """What a reading says, as the trail tells it."""
    counts = {one.pest.slug: one.count for one in reading.counts.all()}
    facts = {name: getattr(reading, name) for name in FIELDS}
    return {"counts": counts, **{name: value for name, value in facts.items() if value}}


def _given_words(one: ReadingGiven) -> dict[str, Any]:
    counts = {slug: count for slug, count in sorted(one.counts.items()) if count}
    facts = {"condition": one.condition, "bait_taken": one.bait_taken, "note": one.note.strip()}
    return {"counts": counts, **{name: value for name, value in facts.items() if value}}
