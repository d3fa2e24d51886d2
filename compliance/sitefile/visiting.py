"""The middle of the file: visits and their reports, readings, treatments, what was not reached."""

from collections.abc import Iterable, Sequence
from datetime import date

from compliance.sitefile.cautions import LABEL_FIRST, STANDING
from compliance.sitefile.content import (
    Amendment,
    Baiting,
    BaitPoint,
    Finding,
    Monitor,
    Outcome,
    Reading,
    Signature,
    SiteFacts,
    SiteFile,
    Treatment,
    Visit,
)
from compliance.sitefile.judging import (
    caught,
    due_and_looked,
    last_day,
    shows_something,
    stood_on,
    timing,
    was_read,
)
from compliance.sitefile.pictures import photo_in_words
from compliance.sitefile.tables import Cell, Column, Fact, Pages, Table, facts, side_by_side, table
from compliance.sitefile.words import (
    DASH,
    amount,
    clock,
    counted,
    day,
    days,
    lines,
    listed,
    local_day,
    moment,
    named,
    pen_path,
    ranges,
    share,
    short_day,
    zone_at,
)

GRID_COLUMNS = 12
"""More visits than this would make the columns of the readings too narrow to read."""


def visit_anchor(visit: Visit, position: int) -> str:
    """The place in the paper where a visit's report begins."""
    return f"visit-{visit.seal_number or f'at-{position}'}"


def visit_title(visit: Visit, zone: str) -> str:
    """Routine inspection, Tue 3 Feb 2026."""
    return f"{visit.kind}, {day(_day_made(visit, zone))}"


def visits(file: SiteFile, today: date, pages: Pages) -> dict[str, object]:
    """Every visit that was due in the period, whatever became of it."""
    rows = []
    for position, visit in enumerate(file.visits):
        anchor = visit_anchor(visit, position)
        judged = timing(visit, file.site.zone, today)
        due, looked = due_and_looked(visit.coverage)
        is_closed = visit.outcome is Outcome.CLOSED
        rows.append(
            (
                str(visit.seal_number or DASH),
                lines(visit.kind, visit.line if visit.line != visit.kind else ""),
                lines(day(visit.due_on), _window(visit, file.site.zone)),
                _made(visit, file.site.zone),
                Cell(lines(judged.word, visit.state_reason), judged.look),
                share(looked, due) if is_closed else DASH,
                Cell(str(pages.get(anchor, "")), anchor=anchor if is_closed else ""),
            )
        )
    return {
        "table": table(
            "visits",
            (
                Column("Seal", "number"),
                Column("Visit"),
                Column("Due, and what counts as on time", "span"),
                Column("Made", "span"),
                Column("Outcome", "name"),
                Column("Looked at", "figure"),
                Column("Page", "page"),
            ),
            rows,
            none="No visit was due in this period.",
        )
    }


def report(
    visit: Visit, site: SiteFacts, monitors: Sequence[Monitor], today: date
) -> dict[str, object]:
    """One closed visit: times, what was looked at, found, read, treated, not reached, signed."""
    judged = timing(visit, site.zone, today)
    return {
        "title": visit_title(visit, site.zone),
        "timing": judged,
        "facts": side_by_side(_report_facts(visit, site.zone)),
        "summary": visit.summary,
        "coverage": _coverage(visit),
        "findings": [_finding(finding, n) for n, finding in enumerate(visit.findings, start=1)],
        "readings": _readings(visit.readings, monitors),
        "quiet": _quiet(visit.readings),
        "treatments": [side_by_side(_treatment_facts(one)) for one in visit.treatments],
        "label_first": LABEL_FIRST,
        "cautions": cautions_of(visit.treatments),
        "not_reached": table(
            "unreached",
            (Column("Zone", "name"), Column("Place"), Column("Why"), Column("Whose move", "kind")),
            [
                (one.zone, one.what, Cell(lines(one.reason, one.note), "unknown"), one.whose_move)
                for one in visit.not_reached
            ],
            none="Everything that was due could be reached.",
        ),
        "signature": _signature(visit.signature),
        "technician": visit.technician,
        "amendments": [_amendment(one, site.zone) for one in visit.amendments],
        "seal": visit.seal,
        "previous_seal": visit.previous_seal,
        "seal_number": visit.seal_number,
    }


def readings(file: SiteFile) -> dict[str, object]:
    """Each monitor against each visit, a table for each kind of monitor and run of visits."""
    taken: dict[tuple[date, str], dict[int, Reading]] = {}
    for visit in file.visits:
        if visit.outcome is not Outcome.CLOSED:
            continue
        on = _day_made(visit, file.site.zone)
        taken.setdefault((on, ""), {}).update({one.monitor: one for one in visit.readings})
    for reading in file.other_readings:
        taken.setdefault((reading.day, reading.source), {})[reading.monitor] = reading
    columns = sorted(taken)
    groups = []
    for kind in dict.fromkeys(monitor.kind for monitor in file.monitors):
        of_kind = [monitor for monitor in file.monitors if monitor.kind == kind]
        groups.append(
            {
                "kind": kind,
                "tables": [
                    _grid(of_kind, columns[start : start + GRID_COLUMNS], taken)
                    for start in range(0, len(columns), GRID_COLUMNS)
                ],
            }
        )
    return {"groups": groups if columns else []}


def treatments(file: SiteFile) -> dict[str, object]:
    """Every application of a product in the period, with all that a record of it must say."""
    zone = file.site.zone
    rows = [_treatment_row(one, visit, zone) for visit in file.visits for one in visit.treatments]
    all_treatments = [one for visit in file.visits for one in visit.treatments]
    return {
        "same_for_all": facts(
            ("For", lines(file.site.client, file.site.client_address)),
            ("At", lines(file.site.name, file.site.address, file.site.postcode)),
            (
                "Employer of the applicators",
                lines(
                    file.company.name,
                    file.company.address,
                    file.company.phone,
                    file.company.registration,
                ),
            ),
        ),
        "table": table(
            "treatments",
            (
                Column("Date and time", "span"),
                Column("Product", "product"),
                Column("Target, method, equipment", "name"),
                Column("Place treated"),
                Column("Amount of product", "kind"),
                Column("Applied by", "name"),
                Column("Precautions told, re-entry, weather"),
            ),
            rows,
            none="No product was applied in this period.",
        ),
        "label_first": LABEL_FIRST,
        "cautions": STANDING,
        "label_cautions": [
            {"product": product, "text": text} for product, text in _label_cautions(all_treatments)
        ],
        "has_demo": any(one.is_demo for one in all_treatments),
    }


def bait(baiting: Baiting) -> dict[str, object]:
    """Rodent bait point by point: what was laid, taken and lifted, what lies, and its reviews."""
    return {
        "words": baiting.words,
        "table": table(
            "bait",
            (
                Column("Point", "number"),
                Column("Zone", "name"),
                Column("Place"),
                Column("Laid, g", "figure"),
                Column("Taken, g", "figure"),
                Column("Lifted, g", "figure"),
                Column("Lies there, g", "figure"),
                Column("Since", "span"),
            ),
            [
                (
                    str(one.number),
                    one.zone,
                    one.place,
                    amount(one.laid, ""),
                    amount(one.taken, ""),
                    amount(one.lifted, ""),
                    amount(one.lies, ""),
                    Cell(_bait_stands(one), "late" if one.lies < 0 else ""),
                )
                for one in baiting.points
            ],
            none="No bait was laid at a numbered point.",
        ),
        "reviews": table(
            "bait-reviews",
            (
                Column("Day", "span"),
                Column("What follows", "kind"),
                Column("Why"),
                Column("By", "name"),
            ),
            [(day(one.on), one.outcome, one.cause, one.by) for one in baiting.reviews],
            none="No review is on record for this period.",
        ),
        "unnumbered": baiting.unnumbered,
        "label_first": LABEL_FIRST,
    }


def _bait_stands(one: BaitPoint) -> str:
    if one.since:
        return day(one.since)
    return f"Taken away {day(one.taken_away_on)}" if one.taken_away_on else "Lifted"


def not_reached(file: SiteFile, today: date) -> dict[str, object]:
    """Places that could not be looked at: how long, how often, whose move, waiting ones first."""
    judged_on = last_day(file, today)
    ordered = sorted(
        file.not_reached, key=lambda one: (one.reached_on is not None, one.first_on, one.zone)
    )
    rows = []
    for one in ordered:
        age = ((one.reached_on or judged_on) - one.first_on).days
        state = (
            Cell(f"Reached on {day(one.reached_on)}", "sound")
            if one.reached_on
            else Cell("Waiting", "late" if age > 90 else "unknown")
        )
        rows.append(
            (
                lines(one.zone, one.what),
                one.reason,
                one.whose_move,
                days(one.first_on, one.last_on),
                str(one.times),
                str(age),
                state,
            )
        )
    return {
        "table": table(
            "standing",
            (
                Column("Zone and place"),
                Column("Why", "name"),
                Column("Whose move", "kind"),
                Column("First and last time", "span"),
                Column("Visits", "figure"),
                Column("Days", "figure"),
                Column("State", "name"),
            ),
            rows,
            none="Everything that was due to be looked at in this period could be reached.",
        ),
        "judged_on": day(judged_on),
    }


def cautions_of(all_treatments: Iterable[Treatment]) -> tuple[str, ...]:
    """The cautions of the methods used, each once, in the order in which they came."""
    return tuple(dict.fromkeys(one for treatment in all_treatments for one in treatment.cautions))


def reading_in_words(reading: Reading) -> str:
    """3 German cockroach; bait: part taken; damaged."""
    counts = listed(f"{count} {pest}" for pest, count in reading.counts if count)
    said = [counts] if counts else []
    if reading.bait_taken:
        said.append(f"bait {reading.bait_taken.lower()}")
    if not said and was_read(reading):
        said.append("nothing caught")
    if reading.condition_code != "sound":
        said.append(reading.condition.lower())
    if reading.renewed:
        said.append("renewed")
    return "; ".join(said)


def _day_made(visit: Visit, zone: str) -> date:
    came_at = visit.started_at or visit.closed_at
    return local_day(came_at, zone) if came_at else visit.due_on


def _window(visit: Visit, zone: str) -> str:
    if visit.respond_by is not None:
        return f"Answer due by {moment(visit.respond_by, zone)}"
    return f"({days(visit.opens_on, visit.closes_on)})"


def _made(visit: Visit, zone: str) -> str:
    if visit.outcome is not Outcome.CLOSED or visit.closed_at is None:
        return DASH
    return lines(
        day(_day_made(visit, zone)),
        _hours(visit, zone),
        _on_site(visit, "minute on site", "minutes on site", corrected="corrected"),
        visit.technician,
    )


def _hours(visit: Visit, zone: str) -> str:
    if visit.closed_at is None:
        return ""
    ended = f"{clock(visit.closed_at, zone)} {zone_at(visit.closed_at, zone)}"
    return f"{clock(visit.started_at, zone)} to {ended}" if visit.started_at else ended


def _on_site(visit: Visit, one: str, many: str, *, corrected: str) -> str:
    """52 minutes, and that it was corrected. What was sealed in the first form does not say."""
    if visit.minutes_on_site is None:
        return ""
    said = counted(visit.minutes_on_site, one, many)
    return f"{said} ({corrected})" if visit.minutes_reason else said


def _report_facts(visit: Visit, zone: str) -> tuple[Fact, ...]:
    reported = visit.reported_at
    return facts(
        ("Technician", visit.technician),
        ("Service", visit.line or visit.kind),
        ("Due", f"{day(visit.due_on)} {_window(visit, zone)}"),
        ("Reported", f"{moment(reported, zone)}, {visit.reported_by}" if reported else ""),
        ("Reported problem", visit.reported_problem),
        ("Started", moment(visit.started_at, zone) if visit.started_at else "Not recorded"),
        ("Closed", moment(visit.closed_at, zone) if visit.closed_at else ""),
        ("Reached the office", moment(visit.received_at, zone) if visit.received_at else ""),
        (
            "Time on site",
            _on_site(visit, "minute", "minutes", corrected=f"corrected: {visit.minutes_reason}"),
        ),
    )


def _coverage(visit: Visit) -> Table:
    seen = visit.coverage
    due, looked = due_and_looked(seen)
    return table(
        "coverage",
        (
            Column("What was due"),
            Column("Due", "figure"),
            Column("Looked at", "figure"),
            Column("Share", "figure"),
        ),
        [
            (
                "Places on the walk",
                str(seen.checkpoints_due),
                str(seen.checkpoints_looked),
                share(seen.checkpoints_looked, seen.checkpoints_due),
            ),
            (
                "Monitors",
                str(seen.monitors_due),
                str(seen.monitors_read),
                share(seen.monitors_read, seen.monitors_due),
            ),
            ("Together", str(due), str(looked), share(looked, due)),
        ],
        none="",
    )


def _finding(finding: Finding, number: int) -> dict[str, object]:
    seen = f"{finding.count} {finding.pest}" if finding.count is not None else finding.pest
    where = lines(", ".join(one for one in (finding.zone, finding.place, finding.height) if one))
    move = f"Whose move: {finding.whose_move}" if finding.whose_move else ""
    return {
        "number": number,
        "kind": finding.kind,
        "where": where,
        "seen": seen.strip(),
        "urgency": finding.urgency,
        "note": finding.note,
        "remedy": finding.remedy or finding.remedy_kind,
        "remedy_kind": finding.remedy_kind if finding.remedy else "",
        "move": move,
        "action_number": finding.action_number,
        "photos": [
            photo_in_words(photo, f"Photo {index} of finding {number}")
            for index, photo in enumerate(finding.photos, start=1)
        ],
    }


def _readings(taken: Sequence[Reading], monitors: Sequence[Monitor]) -> Table:
    by_number = {monitor.number: monitor for monitor in monitors}
    rows = []
    for reading in sorted(taken, key=lambda one: one.monitor):
        if not shows_something(reading):
            continue
        monitor = by_number.get(reading.monitor)
        look = "late" if caught(reading) or reading.bait_code in {"part", "all"} else "due"
        rows.append(
            (
                str(reading.monitor),
                monitor.kind if monitor else "",
                _standing_place(monitor) if monitor else "",
                Cell(lines(reading_in_words(reading), reading.note), look),
                str(reading.stood_days) if reading.stood_days is not None else DASH,
            )
        )
    return table(
        "read",
        (
            Column("No.", "number"),
            Column("Kind", "kind"),
            Column("Zone and place", "name"),
            Column("What it showed"),
            Column("Days stood", "figure"),
        ),
        rows,
        none=(
            "No monitor that was read showed anything."
            if taken
            else "No monitor was read on this visit."
        ),
    )


def _quiet(taken: Sequence[Reading]) -> str:
    """The monitors that stood sound and held nothing: read, which is not the same as not read."""
    numbers = [reading.monitor for reading in taken if not shows_something(reading)]
    return f"Read, sound and nothing caught: {ranges(numbers)}." if numbers else ""


def _treatment_facts(one: Treatment) -> tuple[Fact, ...]:
    return facts(
        *one.elements,
        ("How the amount was reckoned", " ".join(one.working)),
        ("Against the label", " ".join(one.against)),
        ("Left unsaid", listed(one.missing)),
        ("Judged by", one.rules if one.missing else ""),
        ("For demonstration", "An invented product" * one.is_demo),
    )


def _treatment_row(one: Treatment, visit: Visit, zone: str) -> tuple[str | Cell, ...]:
    return (
        lines(day(local_day(one.started_at, zone)), _time_of(one, zone)),
        lines(
            one.product,
            "Invented, for demonstration" * one.is_demo,
            one.registration_number,
            one.actives,
            f"Batch: {one.batch_number or 'not recorded'}",
        ),
        lines(one.target, one.method, one.equipment),
        lines(_place(one), amount(one.area, one.area_unit) if one.area is not None else ""),
        lines(amount(one.amount, one.unit), one.dilution),
        _applicator(one),
        lines(
            one.precautions,
            named("Re-entry", one.re_entry or "as the label says"),
            named("People may come back from", moment(one.re_entry_at, zone))
            if one.re_entry_at
            else "",
            named("Weather", _weather(one)),
            named("Note", one.note),
            named("Against the label", " ".join(one.against)),
            named("Left unsaid", listed(one.missing)),
            f"Sealed visit {visit.seal_number}" if visit.seal_number else "",
        ),
    )


def _place(one: Treatment) -> str:
    return lines(one.zone, one.place, one.situation)


def _time_of(one: Treatment, zone: str) -> str:
    started = clock(one.started_at, zone)
    if one.finished_at is None:
        return f"{started} {zone_at(one.started_at, zone)}"
    return f"{started} to {clock(one.finished_at, zone)} {zone_at(one.finished_at, zone)}"


def _applicator(one: Treatment) -> str:
    return lines(
        one.applicator,
        one.applicator_licence or "No licence recorded",
        named("Supervised", one.supervised_person),
    )


def _weather(one: Treatment) -> str:
    if not one.outdoors:
        return ""
    wind = amount(one.wind_speed, "km/h") if one.wind_speed is not None else "wind not recorded"
    return ", ".join(filter(None, ("outdoors", wind, one.wind_direction, one.weather)))


def _label_cautions(all_treatments: Sequence[Treatment]) -> list[tuple[str, str]]:
    said = {one.product: one.label_cautions for one in all_treatments if one.label_cautions}
    return sorted(said.items())


def _signature(signature: Signature) -> dict[str, object]:
    path = pen_path(signature.strokes)
    who = ", ".join(filter(None, (signature.name, signature.job_title)))
    return {
        "who": who,
        "path": path,
        "typed": "" if path else signature.typed,
        "none_because": "" if path or signature.typed else signature.none_because,
        "is_absent": not (path or signature.typed or signature.none_because),
    }


def _amendment(one: Amendment, zone: str) -> dict[str, object]:
    return {
        "number": one.number,
        "about": one.about,
        "correction": one.correction,
        "reason": one.reason,
        "signed": f"{one.author}, {moment(one.at, zone)}",
        "seal": one.seal,
        "previous_seal": one.previous_seal,
    }


def _grid(
    monitors: Sequence[Monitor],
    columns: Sequence[tuple[date, str]],
    taken: dict[tuple[date, str], dict[int, Reading]],
) -> Table:
    heads = [
        Column(lines(short_day(on), str(on.year), source), "reading") for on, source in columns
    ]
    rows: list[tuple[str | Cell, ...]] = []
    for monitor in monitors:
        cells = [
            _grid_cell(taken[column].get(monitor.number), stood_on(monitor, column[0]))
            for column in columns
        ]
        rows.append((str(monitor.number), _standing_place(monitor), *cells))
    first, last = columns[0][0], columns[-1][0]
    return table(
        "grid",
        (Column("No.", "number"), Column("Zone and place", "place"), *heads),
        rows,
        none="No monitor of this kind stood at the site.",
        caption=f"{counted(len(columns), 'day')} of reading: {days(first, last)}",
    )


def _standing_place(monitor: Monitor) -> str:
    return ", ".join(filter(None, (monitor.zone, monitor.place)))


def _grid_cell(reading: Reading | None, stood: bool) -> Cell:
    """Letters stand for words, so that a copy in black and white says the same."""
    if reading is None:
        return Cell(DASH, "unknown") if stood else Cell("")
    if not was_read(reading):
        return Cell({"missing": "M", "blocked": "B"}[reading.condition_code], "unknown")
    total = caught(reading)
    bait = {"part": "P", "all": "A"}.get(reading.bait_code, "")
    flaw = {"damaged": "d", "full": "f"}.get(reading.condition_code, "")
    shown = f"{total or ''}{bait}" or "0"
    return Cell(f"{shown}{flaw}", "caught" if total or bait else "")
