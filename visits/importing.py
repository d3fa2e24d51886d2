"""Past readings from a spreadsheet: the sheet that this app adds to import and export."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Any

from django.db.models import F, Q, QuerySet
from django.utils import timezone

from sites.importing.cells import choice, day, text, whole, yes
from sites.importing.kept import BATCH, batches, folded, load_monitors, load_sites
from sites.importing.sheets import Column, Draft, Parsed, Planned, Verdict, differences, in_words
from sites.models import Monitor, Site
from visits.models import Pest, Reading, ReadingCount
from visits.services.standing import BY_PEOPLE, restand
from visits.signals import tell_readings_came

FACTS = ("condition", "bait_taken", "renewed", "note")
"""What a reading says besides its counts; all rows of one reading say the same."""

TOLD_OTHERWISE = {
    Reading.Source.VISIT: "A visit read it on that day and says otherwise; that record is not "
    "changed.",
    Reading.Source.HAND: "It was entered by hand for that day and says otherwise; correct it on "
    "the page of the site.",
}


class Readings:
    """One row for each pest that a monitor held on a day; a row without a pest: nothing caught.

    A day of which a visit told, or the office by hand, is never changed from a spreadsheet. What
    electronic traps report neither goes out nor comes in here: a person did not see it.
    """

    key = "readings"
    title = "Past readings"
    columns = (
        Column("site_reference", text(40), "The site.", True),
        Column("monitor_number", whole(1, 2_000_000_000), "The monitor.", True),
        Column("read_on", day, "The day on which it was read.", True),
        Column("pest", text(80), "The pest's name, or empty for nothing caught."),
        Column("count", whole(0, 1_000_000), "How many; needed with a pest."),
        Column("condition", choice(dict(Reading.Condition.choices)), "sound where left empty."),
        Column("bait_taken", choice(dict(Reading.Bait.choices)), "For bait: none, part or all."),
        Column("renewed", yes, "Whether trap, board or bait was renewed."),
        Column("note", text(500), "Anything else."),
    )

    def load(self, rows: Sequence[Parsed], draft: Draft) -> None:
        references = {folded(row.values["site_reference"]) for row in rows}
        load_sites(references, draft)
        load_monitors(references, draft)
        for pest in Pest.objects.order_by("pk"):
            draft.of("pests")[folded(pest.slug)] = draft.of("pests")[folded(pest.name)] = pest
        monitors = draft.of("monitors")
        named = {
            monitors[key].pk
            for row in rows
            if (key := (folded(row.values["site_reference"]), row.values["monitor_number"]))
            in monitors
        }
        known, counts = draft.of(self.key), draft.of("counts")
        for batch in batches(sorted(named)):
            readings = Reading.objects.filter(monitor_id__in=batch, source__in=BY_PEOPLE)
            readings = readings.prefetch_related("counts")
            # A visit's reading comes last, and so stands before an imported one of the same day.
            for reading in readings.order_by(F("visit_id").asc(nulls_first=True), "pk"):
                known[reading.monitor_id, reading.read_on] = reading
                counts[reading.pk] = {one.pest_id: one for one in reading.counts.all()}

    def plan(self, row: Parsed, draft: Draft) -> Planned:
        values = row.values
        number, reference = values["monitor_number"], values["site_reference"]
        said = f"{number} of {reference} on {values['read_on']}"
        monitor = draft.of("monitors").get((folded(reference), number))
        pest = draft.of("pests").get(folded(values["pest"])) if "pest" in values else None
        problem = self._problem(row, draft, monitor, pest)
        if problem or monitor is None:
            column, sentence = problem or ("monitor_number", "There is no such monitor.")
            return Planned(row.row.number, Verdict.ERROR, "", [row.problem(column, sentence)])
        taken = draft.of("reading rows in file")
        key = (monitor.pk, values["read_on"], pest and pest.pk)
        if key in taken:
            sentence = f"Row {taken[key]} tells of the same monitor, day and pest."
            return Planned(
                row.row.number, Verdict.ERROR, "", [row.problem("monitor_number", sentence)]
            )
        taken[key] = row.row.number
        return self._plan_reading(row, draft, monitor, pest, said)

    def _problem(
        self, row: Parsed, draft: Draft, monitor: Monitor | None, pest: Pest | None
    ) -> tuple[str, str] | None:
        values = row.values
        site = draft.of("sites").get(folded(values["site_reference"]))
        if site is None:
            return "site_reference", "There is no site with this reference."
        if monitor is None:
            return "monitor_number", "This site has no monitor of this number."
        if "pest" in values and pest is None:
            return "pest", f"“{values['pest']}” is no pest on the list."
        if pest and "count" not in values:
            return "count", "Say how many."
        if values.get("count") and not pest:
            return "pest", "Say which pest was counted."
        if values["read_on"] > timezone.localdate(timezone=site.zone_info):
            return "read_on", "This day is still to come."
        if values["read_on"] < monitor.placed_on:
            return "read_on", f"The monitor stands there only since {monitor.placed_on}."
        if monitor.removed_on and values["read_on"] > monitor.removed_on:
            return "read_on", f"The monitor was removed on {monitor.removed_on}."
        if values.get("count") and values.get("condition") == Reading.Condition.MISSING:
            return "count", "A monitor that was missing shows no catch."
        return self._contradiction(row, draft, monitor)

    def _contradiction(self, row: Parsed, draft: Draft, monitor: Monitor) -> tuple[str, str] | None:
        """Where two rows of one reading say different things of more than a pest."""
        said = draft.of("reading facts in file").setdefault((monitor.pk, row.values["read_on"]), {})
        for name in FACTS:
            if name not in row.values:
                continue
            value, number = said.setdefault(name, (row.values[name], row.row.number))
            if value != row.values[name]:
                return name, f"Row {number} says something else of the same reading."
        return None

    def _plan_reading(
        self, row: Parsed, draft: Draft, monitor: Monitor, pest: Pest | None, said: str
    ) -> Planned:
        number, values = row.row.number, row.values
        known, counts = draft.of(self.key), draft.of("counts")
        fields = {name: values[name] for name in FACTS if name in values}
        reading = known.get((monitor.pk, values["read_on"]))
        counted = values.get("count") or 0
        caught = f"{counted} × {pest}" if pest and counted else "nothing caught"
        if reading is None:
            reading = Reading(
                monitor=monitor, read_on=values["read_on"], source=Reading.Source.IMPORT, **fields
            )
            known[monitor.pk, values["read_on"]] = reading
            counts[reading.pk] = {}
            count = self._count(reading, pest, counted, counts)
            words = f"Adds a reading of monitor {said}: {caught}"
            return Planned(number, Verdict.NEW, words, record=reading, extra=count)
        changes = differences(reading, fields)
        before = counts[reading.pk].get(pest.pk) if pest else None
        count_changes = pest is not None and (before.count if before else 0) != counted
        if not changes and not count_changes:
            return Planned(number, Verdict.SAME, f"The reading of {said} is as on file")
        if reading.source != Reading.Source.IMPORT:
            sentence = TOLD_OTHERWISE[Reading.Source(reading.source)]
            return Planned(number, Verdict.ERROR, "", [row.problem("read_on", sentence)])
        for name, (_, new) in changes.items():
            setattr(reading, name, new)
        count = self._count(reading, pest, counted, counts) if count_changes else None
        told = [in_words(changes)] if changes else []
        told += [caught] if count_changes else []
        # A second pest of a reading that an earlier row adds is new, not a change.
        verdict = Verdict.NEW if reading._state.adding else Verdict.CHANGED
        words = f"{'Adds to' if reading._state.adding else 'Changes'} the reading of {said}: "
        words += "; ".join(told)
        return Planned(number, verdict, words, record=reading, fields=tuple(changes), extra=count)

    def _count(
        self, reading: Reading, pest: Pest | None, counted: int, counts: dict[Any, Any]
    ) -> ReadingCount | None:
        """The count row that is to be written; a count of 0 stands for one to be taken out."""
        if pest is None:
            return None
        fresh = ReadingCount(reading=reading, pest=pest)
        count: ReadingCount = counts[reading.pk].setdefault(pest.pk, fresh)
        count.count = counted
        return count

    def write(self, rows: Sequence[Planned], draft: Draft) -> dict[Any, int]:
        readings = {row.record.pk: row.record for row in rows if isinstance(row.record, Reading)}
        new = [reading for reading in readings.values() if reading._state.adding]
        old = [reading for reading in readings.values() if not reading._state.adding]
        Reading.objects.bulk_create(new, batch_size=BATCH)
        if old:
            Reading.objects.bulk_update(old, FACTS, batch_size=BATCH)
        counts = [row.extra for row in rows if row.extra is not None]
        fresh = [one for one in counts if one.pk is None and one.count]
        changed = [one for one in counts if one.pk is not None and one.count]
        emptied = [one.pk for one in counts if one.pk is not None and not one.count]
        ReadingCount.objects.bulk_create(fresh, batch_size=BATCH)
        ReadingCount.objects.bulk_update(changed, ["count"], batch_size=BATCH)
        for batch in batches(emptied):
            ReadingCount.objects.filter(pk__in=batch).delete()
        restand({reading.monitor_id for reading in readings.values()})
        if readings:
            tell_readings_came()
        touched: dict[Any, int] = defaultdict(int)
        for row in rows:
            if isinstance(row.record, Reading):
                touched[row.record.monitor.site_id] += 1
        return dict(touched)

    def export(self, sites: QuerySet[Site]) -> Iterator[dict[str, Any]]:
        done = Q(visit=None) | Q(visit__closed_at__isnull=False)
        readings = (
            Reading.objects.filter(done, monitor__site__in=sites, source__in=BY_PEOPLE)
            .select_related("monitor__site")
            .prefetch_related("counts__pest")
            .order_by("monitor__site__reference", "monitor__number", "read_on", "pk")
        )
        for reading in readings.iterator(chunk_size=2000):
            base = {
                "site_reference": reading.monitor.site.reference,
                "monitor_number": reading.monitor.number,
                "read_on": reading.read_on,
                "condition": reading.condition,
                "bait_taken": reading.bait_taken,
                "renewed": reading.renewed,
                "note": reading.note,
            }
            caught = sorted(reading.counts.all(), key=lambda one: one.pest.name)
            if not caught:
                yield base
            for one in caught:
                yield {**base, "pest": one.pest.name, "count": one.count}
