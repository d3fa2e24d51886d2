"""Taking in what electronic traps report: each report once, in whatever order, however often.

A batch is one transaction under its sender's lock. Each report is judged by itself: applied, with
its receipt in the same transaction, or refused with the reason and kept for the office to see. All
that was applied for a monitor and a day is one reading, summed up anew from the receipts whenever
one is added. docs/trap-reports.md tells the protocol.
"""

import json
import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Q
from django.utils.dateparse import parse_datetime

from accounts.models import User
from accounts.refusals import NotAllowed, Refused, Unusable
from accounts.sealing import digest
from accounts.trail import record
from sites.models import Monitor, Site
from visits.models import Pest, Reading, ReadingCount, TrapReport, TrapSender
from visits.services.standing import MOST_DAYS_REPORTED, lock_monitors, restand_devices
from visits.signals import tell_readings_came

Answer = dict[str, Any]

MOST_REPORTS = 200
MOST_PESTS = 20
MOST_OF_A_PEST = 1_000_000
MOST_OF_A_DAY = 2_000_000_000
MOST_KEPT = 2000
"""Refused reports that are kept for one sender; more are answered, and not kept."""

MOST_KEPT_CHARACTERS = 4000
NOTE_LENGTH = 500
CLOCK_MAY_BE_AHEAD = timedelta(minutes=5)
FIELDS = {"id", "monitor", "from", "at", "counts", "condition", "battery", "note"}
NEEDED = ("monitor", "from", "at", "counts")
ID = re.compile(r"[A-Za-z0-9._:-]{1,80}\Z")
NO_ID = "="
"""Begins the key of a report that cannot be kept under its own id, which never begins so."""


class Malformed(Refused):
    """What was sent has not the shape of a report."""

    code = "malformed"


@dataclass(frozen=True, slots=True)
class Sent:
    """One report as it came; ``id`` is empty where it cannot be used."""

    id: str
    raw: Any
    text: str
    content_hash: str

    @property
    def key(self) -> str:
        return self.id or f"{NO_ID}{self.content_hash}"


@dataclass(frozen=True, slots=True)
class Told:
    """One report that makes sense."""

    monitor: Monitor
    period_from: datetime
    at: datetime
    from_on: date
    read_on: date
    counts: dict[str, int]
    condition: str
    battery: int | None
    note: str


@transaction.atomic
def take_reports(sender_id: UUID, reports: Sequence[Any], *, now: datetime) -> list[Answer]:
    """Take in a batch and answer each report, in the order in which they came.

    A verdict is ``applied`` or ``refused``; ``again`` says that the same content was answered
    before. An id that was applied answers the same for ever, and refuses other content. A refused
    report is judged anew when it comes again, as what stood in its way may be gone. Raises
    ``NotAllowed`` for a sender that was ended, ``Unusable`` for more than two hundred at once.
    Twenty queries or so, however many reports.
    """
    if len(reports) > MOST_REPORTS:
        raise Unusable(f"Send at most {MOST_REPORTS} reports at once.", code="too_many")
    sender = (
        TrapSender.objects.select_for_update(of=("self",)).select_related("site").get(pk=sender_id)
    )
    if sender.ended_at is not None:
        raise NotAllowed("This sender was ended.", code="sender_ended")
    batch = _Batch(sender, [_sent(raw) for raw in reports], now)
    answers = [batch.judge(one) for one in batch.sent]
    batch.write()
    sender.heard_at = now
    sender.save(update_fields=["heard_at"])
    return answers


@transaction.atomic
def judge_again(sender_id: UUID, *, by: User, now: datetime) -> int:
    """Judge again up to two hundred refused reports of a sender; says how many were applied.

    For when the office has removed what stood in their way. Reports cut short when they were kept,
    and those without an id, cannot be applied.
    """
    sender = (
        TrapSender.objects.select_for_update(of=("self",)).select_related("site").get(pk=sender_id)
    )
    refused = TrapReport.objects.filter(sender=sender, state=TrapReport.State.REFUSED)
    kept = refused.exclude(key__startswith=NO_ID).order_by("received_at", "pk")[:MOST_REPORTS]
    raws = [raw for one in kept if (raw := _parsed(one.sent)) is not None]
    batch = _Batch(sender, [_sent(raw) for raw in raws], now, by=by)
    verdicts = [batch.judge(one)["verdict"] for one in batch.sent]
    batch.write()
    return verdicts.count("applied")


class _Batch:
    """What is known before a batch is judged, and what is to be written after it was."""

    def __init__(
        self, sender: TrapSender, sent: Sequence[Sent], now: datetime, *, by: User | None = None
    ) -> None:
        self.sender, self.sent, self.now, self.by = sender, sent, now, by
        keys = {one.key for one in sent} | {NO_ID + one.content_hash for one in sent}
        found = TrapReport.objects.filter(sender=sender, key__in=keys)
        self.known = {one.key: one for one in found}
        self.kept = TrapReport.objects.filter(sender=sender, state=TrapReport.State.REFUSED).count()
        self.monitors = _named_monitors(sender.site_id, sent)
        self.pests = set(Pest.objects.values_list("slug", flat=True))
        self.new: list[TrapReport] = []
        self.changed: list[TrapReport] = []
        self.applied: list[TrapReport] = []

    def judge(self, sent: Sent) -> Answer:
        """The answer to one report, and what it leads to noted for ``write``."""
        before = self.known.get(sent.key)
        same = before is not None and before.content_hash == sent.content_hash
        if before is not None and before.state == TrapReport.State.APPLIED:
            if same:
                return {**_applied(before), "again": True}
            refusal = Refused("The same id came before with other content.", code="other_content")
            return self._refuse(sent, refusal, NO_ID + sent.content_hash)
        try:
            if not sent.id:
                raise Malformed(
                    "A report needs an id of 1 to 80 letters, digits and . _ : - only.", field="id"
                )
            told = self._told(sent)
        except Refused as refusal:
            return self._refuse(sent, refusal, sent.key)
        row = before or TrapReport(sender=self.sender, key=sent.key)
        row.content_hash, row.received_at = sent.content_hash, self.now
        row.state, row.sent, row.code, row.message = TrapReport.State.APPLIED, "", "", ""
        row.monitor, row.period_from, row.at = told.monitor, told.period_from, told.at
        row.from_on, row.read_on = told.from_on, told.read_on
        row.counts, row.condition = told.counts, told.condition
        row.battery, row.note = told.battery, told.note
        self._noted(row)
        self.applied.append(row)
        return {**_applied(row), "again": False}

    def _refuse(self, sent: Sent, refusal: Refused, key: str) -> Answer:
        """Keep what came with the reason, as long as there is room for it."""
        row = self.known.get(key)
        again = row is not None and row.content_hash == sent.content_hash
        if row is None and self.kept < MOST_KEPT:
            row = TrapReport(sender=self.sender, key=key, state=TrapReport.State.REFUSED)
            self.kept += 1
        if row is not None:
            row.content_hash, row.received_at = sent.content_hash, self.now
            row.sent = sent.text[:MOST_KEPT_CHARACTERS]
            row.code, row.message = refusal.code, str(refusal)[:300]
            self._noted(row)
        return {
            "id": sent.id or None,
            "verdict": "refused",
            "again": again,
            "code": refusal.code,
            "message": str(refusal),
            "facts": {**refusal.facts, "kept": row is not None},
        }

    def _noted(self, row: TrapReport) -> None:
        """To be written once, however often the batch speaks of it."""
        if row.key not in self.known and row._state.adding:
            self.new.append(row)
        elif not row._state.adding and row not in self.changed:
            self.changed.append(row)
        self.known[row.key] = row

    # --- what a report says -------------------------------------------------------------------

    def _told(self, sent: Sent) -> Told:
        raw = sent.raw
        strange = sorted(_clean(name) for name in raw.keys() - FIELDS)
        if strange:
            raise Malformed(f"A report has no field “{strange[0]}”.", field=strange[0])
        for name in NEEDED:
            if raw.get(name) is None:
                raise Malformed(f"A report needs “{name}”.", field=name)
        period_from, at = _instant(raw, "from"), _instant(raw, "at")
        counts = self._counts(raw["counts"])
        condition = _condition(raw)
        battery, note = _battery(raw), _note(raw)
        name = raw["monitor"]
        monitor = self.monitors.get(_folded(name)) if isinstance(name, str) else None
        if monitor is None:
            raise Refused("This site has no such monitor.", code="unknown_monitor")
        from_on, read_on = self._days(period_from, at, monitor)
        return Told(monitor, period_from, at, from_on, read_on, counts, condition, battery, note)

    def _counts(self, given: Any) -> dict[str, int]:
        if not isinstance(given, Mapping) or len(given) > MOST_PESTS:
            raise Malformed(
                f"“counts” is a number for each of at most {MOST_PESTS} pests.", field="counts"
            )
        for slug, count in given.items():
            if isinstance(count, bool) or not isinstance(count, int):
                raise Malformed("A count is a whole number.", field="counts", pest=_clean(slug))
            if not 0 <= count <= MOST_OF_A_PEST:
                raise Malformed(
                    f"A count lies between 0 and {MOST_OF_A_PEST}.",
                    field="counts",
                    pest=_clean(slug),
                )
            if slug not in self.pests:
                raise Refused(
                    f"There is no pest “{_clean(slug)}” on file.",
                    code="unknown_pest",
                    pest=_clean(slug),
                )
        return {slug: count for slug, count in sorted(given.items()) if count}

    def _days(self, period_from: datetime, at: datetime, monitor: Monitor) -> tuple[date, date]:
        """The days of the site that it speaks of: those after the first, up to the second."""
        if at < period_from:
            raise Malformed("The report ends before it begins.", field="from")
        if at > self.now + CLOCK_MAY_BE_AHEAD:
            raise Refused(
                "This report is of a time that is still to come; is the device's clock right?",
                code="still_to_come",
                now=self.now.isoformat(),
            )
        from_on, read_on = _day(self.sender.site, period_from), _day(self.sender.site, at)
        if (read_on - from_on).days > MOST_DAYS_REPORTED:
            raise Refused(
                f"One report speaks of at most {MOST_DAYS_REPORTED} days.", code="too_long"
            )
        if read_on < monitor.placed_on:
            raise Refused(
                f"The monitor stands there only since {monitor.placed_on}.",
                code="before_it_was_placed",
                placed_on=monitor.placed_on.isoformat(),
            )
        if monitor.removed_on and read_on > monitor.removed_on:
            raise Refused(
                f"The monitor was removed on {monitor.removed_on}.",
                code="after_it_was_removed",
                removed_on=monitor.removed_on.isoformat(),
            )
        return from_on, read_on

    # --- what it leads to ---------------------------------------------------------------------

    def write(self) -> None:
        """The receipts, the readings made anew from them, their days, and one trail entry."""
        monitor_ids = sorted({one.monitor_id for one in self.applied if one.monitor_id})
        lock_monitors(monitor_ids)
        TrapReport.objects.bulk_create(self.new)
        if self.changed:
            own = [one.name for one in TrapReport._meta.concrete_fields if not one.primary_key]
            TrapReport.objects.bulk_update(self.changed, own)
        if not self.applied:
            return
        days = [one.read_on for one in self.applied if one.read_on]
        shown = _summed_up({(one.monitor_id, one.read_on) for one in self.applied})
        restand_devices(monitor_ids, since=min(days), until=max(days))
        record(
            self.by,
            "trap_reports.taken",
            self.sender,
            reports=len(self.applied),
            readings=shown,
        )
        # Traps that report hour by hour that nothing was caught are no news to anybody.
        if any(one.counts for one in self.applied):
            tell_readings_came()


def _summed_up(places: set[tuple[Any, Any]]) -> list[dict[str, Any]]:
    """Make the reading of each monitor and day anew from its reports. Eight queries."""
    monitor_ids, days = {one for one, _ in places}, {day for _, day in places}
    reports = TrapReport.objects.filter(
        state=TrapReport.State.APPLIED, monitor__in=monitor_ids, read_on__in=days
    )
    by_place: dict[tuple[Any, Any], list[TrapReport]] = defaultdict(list)
    for report in reports.select_related("monitor").order_by("at", "received_at", "pk"):
        by_place[report.monitor_id, report.read_on].append(report)
    held = {
        (one.monitor_id, one.read_on): one
        for one in Reading.objects.filter(
            source=Reading.Source.DEVICE, monitor__in=monitor_ids, read_on__in=days
        )
    }
    pests = {one.slug: one for one in Pest.objects.order_by("pk")}
    readings, counts, shown = [], [], []
    for place in sorted(places):
        told = by_place[place]
        latest = told[-1]
        reading = held.get(place) or Reading(
            monitor_id=place[0], read_on=place[1], source=Reading.Source.DEVICE
        )
        reading.at = latest.at
        reading.condition = latest.condition
        reading.note = "; ".join(dict.fromkeys(one.note for one in told if one.note))[:NOTE_LENGTH]
        total: dict[str, int] = defaultdict(int)
        for report in told:
            for slug, count in report.counts.items():
                total[slug] = min(total[slug] + count, MOST_OF_A_DAY)
        readings.append(reading)
        counts += [
            ReadingCount(reading=reading, pest=pests[slug], count=count)
            for slug, count in sorted(total.items())
        ]
        shown.append(
            {
                "monitor": latest.monitor.number if latest.monitor else None,
                "read_on": latest.read_on,
                "counts": dict(sorted(total.items())),
                "condition": latest.condition,
            }
        )
    Reading.objects.bulk_create([one for one in readings if one._state.adding])
    Reading.objects.bulk_update(
        [one for one in readings if (one.monitor_id, one.read_on) in held],
        ["at", "condition", "note"],
    )
    ReadingCount.objects.filter(reading__in=readings).delete()
    ReadingCount.objects.bulk_create(counts)
    return shown


# --- small parts of a report ----------------------------------------------------------------------


def _sent(raw: Any) -> Sent:
    """The report with its id and hash; what lies too deep to be written down is told by that."""
    try:
        text = json.dumps(raw, ensure_ascii=True, sort_keys=True)
    except RecursionError:
        raw, text = None, "(too deep to be kept)"
    given = raw.get("id") if isinstance(raw, Mapping) else None
    usable = isinstance(given, str) and ID.match(given)
    return Sent(str(given) if usable else "", raw, text, digest(text))


def _parsed(text: str) -> Any:
    try:
        return json.loads(text)
    except ValueError:  # it was too long to be kept whole
        return None


def _applied(row: TrapReport) -> Answer:
    return {
        "id": row.key,
        "verdict": "applied",
        "code": "",
        "message": "",
        "facts": {"monitor": str(row.monitor_id), "read_on": str(row.read_on)},
    }


def _folded(name: str) -> str:
    """A label's code without regard to capitals, or an identifier without regard to its dashes."""
    try:
        return str(UUID(name))
    except ValueError:
        return name.strip().upper()


def _named_monitors(site_id: UUID, sent: Sequence[Sent]) -> dict[str, Monitor]:
    """The monitors of the site that reports name, by identifier and by code. One query."""
    given = (one.raw.get("monitor") for one in sent if isinstance(one.raw, Mapping))
    names = {_folded(one) for one in given if isinstance(one, str) and len(one) <= 60}
    codes = {one for one in names if len(one) <= 20 and "\x00" not in one}
    ids = {one for one in names if len(one) == 36}
    found = Monitor.objects.filter(site=site_id).filter(Q(pk__in=ids) | Q(label_code__in=codes))
    by_name: dict[str, Monitor] = {}
    for one in found:
        by_name[str(one.pk)] = by_name[one.label_code] = one
    return by_name


def _instant(raw: Mapping[str, Any], name: str) -> datetime:
    given = raw[name]
    try:
        instant = parse_datetime(given) if isinstance(given, str) else None
    except ValueError:
        instant = None
    if instant is None or instant.tzinfo is None or not 1990 < instant.year < 9000:
        raise Malformed(
            f"“{name}” is an instant such as 2026-03-01T06:00:00+00:00, with its offset.",
            field=name,
        )
    return instant


def _day(site: Site, instant: datetime) -> date:
    """The day of the site that an instant ends or lies in: midnight ends the day before."""
    return site.day_of(instant - timedelta(microseconds=1))


def _condition(raw: Mapping[str, Any]) -> str:
    given = raw.get("condition", Reading.Condition.SOUND)
    if given not in Reading.Condition.values:
        known = ", ".join(Reading.Condition.values)
        raise Malformed(f"“condition” is one of {known}.", field="condition")
    return str(given)


def _battery(raw: Mapping[str, Any]) -> int | None:
    given = raw.get("battery")
    if given is None:
        return None
    if isinstance(given, bool) or not isinstance(given, int) or not 0 <= given <= 100:
        raise Malformed("“battery” is a whole number of per cent.", field="battery")
    return given


def _note(raw: Mapping[str, Any]) -> str:
    given = raw.get("note")
    if given is None:
        return ""
    if not isinstance(given, str) or len(given) > NOTE_LENGTH:
        raise Malformed(f"“note” is a text of at most {NOTE_LENGTH} characters.", field="note")
    if not _keepable(given):
        raise Malformed("“note” has something in it that cannot be kept.", field="note")
    return given.strip()


def _clean(name: str) -> str:
    """The beginning of what somebody sent, without what can neither be kept nor sent back."""
    return name[:40].encode(errors="replace").decode().replace("\x00", "?")


def _keepable(text: str) -> bool:
    """Whether databases keep it: no half of a character, and no character 0."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return "\x00" not in text
