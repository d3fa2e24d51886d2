"""The opening of the file: cover, contents, at a glance, what is asked for, scope, people, plan."""

from collections.abc import Sequence
from datetime import date

from compliance.evidence import Standing
from compliance.sitefile.content import (
    Action,
    Contract,
    Monitor,
    Person,
    Reading,
    SiteFacts,
    SiteFile,
    Zone,
)
from compliance.sitefile.drawing import draw
from compliance.sitefile.judging import (
    days_valid,
    glance,
    has_lapsed,
    is_overdue,
    latest_reading,
    timing,
    uncovered_days,
)
from compliance.sitefile.tables import Cell, Column, Fact, Pages, Part, Table, facts, table
from compliance.sitefile.visiting import reading_in_words
from compliance.sitefile.words import (
    counted,
    day,
    day_or,
    days,
    lines,
    listed,
    moment,
    month,
    named,
    share,
)

MOST_SUBTITLES = 60
"""With more reports than this the contents leave the single ones to the list of visits."""

_LOOKS = {
    Standing.MISSING: "late",
    Standing.NOT_CURRENT: "due",
    Standing.CURRENT: "sound",
    Standing.NOTHING_TO_SHOW: "unknown",
    Standing.NOT_KEPT: "unknown",
}


def cover(file: SiteFile, fingerprint: str) -> dict[str, object]:
    """Who, what, when, and the head of the trail."""
    site, made = file.site, file.made
    return {
        "file": file,
        "period": days(file.period_from, file.period_to),
        "facts": facts(
            ("Client", site.client),
            ("Site reference", site.reference),
            ("Address", lines(site.address, site.postcode)),
            ("Time zone", f"{site.zone}; days and times in this file are the site’s own"),
            ("Premises manager", listed(_managers(site))),
            ("Made", f"{moment(made.at, site.zone)} by {made.by} ({made.role.lower()})"),
            ("Service company", lines(file.company.name, file.company.registration)),
        ),
        "trail_head": made.trail_head,
        "trail_length": made.trail_length,
        "fingerprint": fingerprint,
    }


def contents(parts: Sequence[Part], pages: Pages) -> dict[str, object]:
    """One line for each section and, while they are few enough to be found, for each report."""
    shows_subtitles = sum(bool(part.subtitle) for part in parts) <= MOST_SUBTITLES
    rows = []
    for part in parts:
        if part.title:
            rows.append((str(part.number), Cell(part.title, "section", part.anchor), part.anchor))
        if part.subtitle and shows_subtitles:
            rows.append(("", Cell(part.subtitle, "sub", part.sub_anchor), part.sub_anchor))
    columns = (Column("No.", "number"), Column("Section"), Column("Page", "page"))
    return {
        "table": table(
            "contents",
            columns,
            [(number, entry, str(pages.get(anchor, ""))) for number, entry, anchor in rows],
            none="This file is empty.",
        )
    }


def at_a_glance(file: SiteFile, today: date) -> dict[str, object]:
    """The figures of the period, and what an auditor would ask about first."""
    figures = glance(file, today)
    tiles = (
        Fact(f"{figures.closed} of {figures.due}", "visits due in the period were made"),
        Fact(str(figures.on_time), "of them on time"),
        Fact(
            share(figures.places_looked, figures.places_due),
            "of the places and monitors due were looked at",
        ),
        Fact(
            f"{figures.evidence_current} of {figures.evidence_asked}",
            "kinds of evidence asked for are there and current",
        ),
        Fact(str(figures.actions_open), "corrective actions are open"),
        Fact(str(figures.actions_overdue), "of them past their day"),
        Fact(str(figures.waiting_to_be_reached), "places still wait to be reached"),
        Fact(str(figures.treatments), "applications of a product"),
    )
    return {
        "today": day(today),
        "tiles": (tiles[:4], tiles[4:]),
        "table": table(
            "asks",
            (Column("What", "name"), Column("Why it stands here"), Column("More", "name")),
            _questions(file, today),
            none="Nothing stands out: no visit was missed, nothing is late, missing or unreached.",
        ),
    }


def evidence(file: SiteFile) -> dict[str, object]:
    """What published texts ask to see, missing first; the texts by number, and named below."""
    worst_first = list(Standing)
    ordered = sorted(file.evidence, key=lambda one: worst_first.index(one.standing))
    sources = list(dict.fromkeys(source for one in ordered for source in one.asked_by))
    return {
        "table": table(
            "evidence",
            (
                Column("What is asked for"),
                Column("Here", "name"),
                Column("Asked by", "state"),
            ),
            [
                (
                    Cell(lines(one.item, one.asks), anchor=one.anchor),
                    Cell(lines(one.standing.words, one.note), _LOOKS[one.standing]),
                    ", ".join(str(sources.index(source) + 1) for source in one.asked_by),
                )
                for one in ordered
            ],
            none="No evidence list was made for this site.",
        ),
        "sources": table(
            "sources",
            (Column("No.", "number"), Column("Text, and how well it is known here")),
            [(str(number), source) for number, source in enumerate(sources, start=1)],
            none="No text is named.",
        ),
    }


def contract_and_scope(file: SiteFile) -> dict[str, object]:
    """What was agreed, who is to be spoken to, what may hurt those who come."""
    site, company = file.site, file.company
    return {
        "contracts": [_contract(contract) for contract in file.contracts],
        "company": facts(
            ("Service company", company.name),
            ("Registration", company.registration),
            ("Address", company.address),
            ("Telephone", company.phone),
            ("E-mail", company.email),
        ),
        "client": facts(
            ("Client", site.client),
            ("Client reference", site.client_reference),
            ("Client address", site.client_address),
            ("Entry", "\n".join(site.entry_times)),
            ("Hazards at the site", site.hazards),
        ),
        "contacts": table(
            "contacts",
            (Column("Name", "name"), Column("Position", "name"), Column("Part in the service")),
            [
                (one.name, one.job_title, "Premises manager" if one.is_premises_manager else "")
                for one in site.contacts
            ],
            none="No contact at the premises is on file.",
        ),
    }


def zones(file: SiteFile) -> dict[str, object]:
    """The parts of the site in walking order, and where our remit ends."""
    return {
        "table": table(
            "zones",
            (
                Column("Zone", "name"),
                Column("Kind", "kind"),
                Column("Boundary"),
                Column("Low", "figure"),
                Column("Reach", "figure"),
                Column("Overhead", "figure"),
                Column("Monitors", "figure"),
            ),
            [_zone(zone) for zone in file.zones],
            none="No zone is on file.",
        ),
        "outside": listed(zone.name for zone in file.zones if zone.boundary.startswith("Outside")),
    }


def people(file: SiteFile) -> dict[str, object]:
    """Who worked at the site, and whether they were competent on every day they came."""
    return {
        "people": [
            {
                "name": person.name,
                "role": person.role,
                "days": counted(len({one.day for one in person.attended}), "day"),
                "uncovered": listed(day(one) for one in uncovered_days(person)),
                "table": _competences(person),
            }
            for person in file.people
        ]
    }


def plan_pages(file: SiteFile, *, most_wide: float, most_high: float) -> list[dict[str, object]]:
    """One page for each plan."""
    kinds = {monitor.kind_code: monitor.kind for monitor in file.monitors}
    pages: list[dict[str, object]] = []
    for plan in file.plans:
        on_plan = dict.fromkeys(kinds, 0)
        for pin in plan.pins:
            on_plan[pin.kind_code] = on_plan.get(pin.kind_code, 0) + 1
        pages.append(
            {
                "plan": plan,
                "drawing": draw(plan, most_wide=most_wide, most_high=most_high),
                "described": (
                    f"Plan {plan.title} of {file.site.name} with "
                    f"{counted(len(plan.pins), 'numbered monitor')}"
                ),
                "legend": [
                    {"code": code, "kind": kinds.get(code, code), "number": number}
                    for code, number in on_plan.items()
                    if number
                ],
                "left_out": len(file.monitors) - sum(len(one.pins) for one in file.plans),
            }
        )
    return pages


def register(file: SiteFile) -> dict[str, object]:
    """Every monitor that stood at the site in the period, and what it showed last."""
    readings = [reading for visit in file.visits for reading in visit.readings]
    readings += file.other_readings
    return {
        "table": table(
            "register",
            (
                Column("No.", "number"),
                Column("Kind", "kind"),
                Column("Zone and place"),
                Column("Label", "code"),
                Column("In place", "span"),
                Column("Last reading", "name"),
            ),
            [_monitor(one, latest_reading(one.number, readings)) for one in file.monitors],
            none="No monitor stood at this site in the period.",
        )
    }


def _managers(site: SiteFacts) -> list[str]:
    return [
        f"{one.name}, {one.job_title}" if one.job_title else one.name
        for one in site.contacts
        if one.is_premises_manager
    ]


def _questions(file: SiteFile, today: date) -> list[tuple[Cell, str, Cell]]:
    rows: list[tuple[Cell, str, Cell]] = []

    def ask(what: str, look: str, why: str, more: str, anchor: str) -> None:
        rows.append((Cell(what, look), why, Cell(more, anchor=anchor)))

    for visit in file.visits:
        judged = timing(visit, file.site.zone, today)
        if judged.look == "late":
            said = lines(f"{visit.kind}, due {day(visit.due_on)}", visit.state_reason)
            ask(f"Visit {judged.word.lower()}", "late", said, "Visits", "visits")
    for one in file.not_reached:
        if one.reached_on is None:
            said = (
                f"{one.zone}, {one.what}: {one.reason.lower()}. Since {day(one.first_on)}, "
                f"on {counted(one.times, 'visit')}; the move is with: {one.whose_move.lower()}"
            )
            ask("Not reached", "unknown", said, "Not reached", "not-reached")
    for action in file.actions:
        if is_overdue(action, today):
            ask(*_overdue_action(action))
        elif action.declined:
            said = f"{action.number}. {action.title}: turned down, the risk is accepted"
            ask("Work turned down", "due", said, "Actions", f"action-{action.number}")
    for alarm in file.trends.alarms:
        if alarm.is_open:
            where = ", ".join(filter(None, (alarm.zone, alarm.pest, month(alarm.month))))
            said = lines(f"{where}: {alarm.words}", "No review has explained it yet.")
            ask("More than usual", "due", said, "Trends", "trends")
    for breach in file.trends.breaches:
        if breach.is_open:
            said = lines(f"{breach.threshold}, {breach.zone}, {breach.pest}", breach.words)
            ask("Threshold reached", "late", said, "Trends", "trends")
    for person in file.people:
        if without := uncovered_days(person):
            said = f"{person.name}: {listed(day(one) for one in without)}"
            ask("No valid competence", "late", said, "People", "people")
    for document in file.documents:
        if has_lapsed(document, today):
            said = f"{document.title} ended {day_or(document.expires_on, '')}"
            ask("Document lapsed", "late", said, "Documents", "documents")
    for item in file.evidence:
        if item.standing in (Standing.MISSING, Standing.NOT_CURRENT):
            said, look = lines(item.item, item.note), _LOOKS[item.standing]
            ask(f"Evidence: {item.standing.words.lower()}", look, said, "Evidence", "evidence")
    return rows


def _overdue_action(action: Action) -> tuple[str, str, str, str, str]:
    said = (
        f"{action.number}. {action.title}: due {day(action.due_on)}, "
        f"the move is with: {action.whose_move.lower()}"
    )
    return "Action overdue", "late", said, "Actions", f"action-{action.number}"


def _contract(contract: Contract) -> dict[str, object]:
    return {
        "title": f"Contract {contract.number}",
        "facts": facts(
            ("In force", days(contract.starts_on, contract.ends_on)),
            ("Call-outs", f"answered within {counted(contract.response_hours, 'hour')}"),
            ("Scope", contract.scope or "No scope is written down for this contract."),
        ),
        "table": table(
            "lines",
            (
                Column("Service", "name"),
                Column("How often"),
                Column("On time", "kind"),
                Column("Minutes", "figure"),
                Column("Competence asked for", "name"),
            ),
            [
                (
                    lines(line.title, line.kind if line.kind != line.title else ""),
                    lines(line.in_words, days(line.first_on, line.last_on), line.rule),
                    f"{counted(line.days_before, 'day')} before to "
                    f"{counted(line.days_after, 'day')} after",
                    str(line.minutes),
                    listed(line.competences) or "None in particular",
                )
                for line in contract.lines
            ],
            none="This contract has no recurring service.",
        ),
    }


def _zone(zone: Zone) -> tuple[str | Cell, ...]:
    look = {"Within our remit": "sound", "Shared": "due"}.get(zone.boundary, "unknown")
    boundary = lines(
        zone.boundary,
        zone.boundary_note,
        f"Taken out of use on {day(zone.retired_on)}" if zone.retired_on else "",
    )
    return (
        zone.name,
        zone.kind,
        Cell(boundary, look),
        str(zone.low),
        str(zone.reach),
        str(zone.overhead),
        str(zone.monitors),
    )


def _competences(person: Person) -> Table:
    rows = []
    for one in person.competences:
        valid, attended = days_valid(one, person)
        ended = lines(
            days(one.valid_from, one.valid_until),
            f"Withdrawn on {day(one.withdrawn_on)}" if one.withdrawn_on else "",
        )
        look = "sound" if valid == attended else "due"
        rows.append(
            (
                lines(one.kind, named("Issued by", one.issuer)),
                Cell(one.number, "code"),
                ended,
                Cell(f"{valid} of {attended}", look),
            )
        )
    return table(
        "competences",
        (
            Column("Licence or certificate"),
            Column("Number", "code"),
            Column("Valid", "span"),
            Column("Days here", "state"),
        ),
        rows,
        none="No licence or certificate is on file for this person.",
    )


def _monitor(monitor: Monitor, last: Reading | None) -> tuple[str | Cell, ...]:
    return (
        str(monitor.number),
        monitor.kind,
        lines(", ".join(filter(None, (monitor.zone, monitor.place))), named("Plan", monitor.plan)),
        Cell(monitor.label_code, "code"),
        days(monitor.placed_on, monitor.removed_on),
        f"{day(last.day)}: {reading_in_words(last)}" if last else "Not read in the period",
    )
