"""The end of the file: actions and who decided them, documents, the trail, how to check it all."""

from collections.abc import Iterable
from datetime import date

from compliance.proofing.gaps import in_words
from compliance.sitefile.content import (
    Action,
    Decision,
    Option,
    Outcome,
    SignOff,
    SiteFile,
)
from compliance.sitefile.judging import has_lapsed, is_overdue
from compliance.sitefile.pictures import photo_in_words
from compliance.sitefile.tables import Cell, Column, Table, facts, side_by_side, table
from compliance.sitefile.words import (
    DASH,
    counted,
    day,
    day_or,
    lines,
    moment,
    money,
)


def actions(file: SiteFile, today: date) -> dict[str, object]:
    """A list of all actions, then each with its options, decisions and signatures."""
    return {
        "table": table(
            "actions",
            (
                Column("No.", "number"),
                Column("What must change"),
                Column("Kind", "kind"),
                Column("Whose move", "kind"),
                Column("Due", "span"),
                Column("State", "state"),
            ),
            [_action_row(action, today) for action in file.actions],
            none="No corrective action was raised or open in this period.",
        ),
        "actions": [_action(action, file, today) for action in file.actions],
    }


def documents(file: SiteFile, today: date) -> dict[str, object]:
    """Papers on file and whether they still count."""
    rows = []
    for one in file.documents:
        lapsed = has_lapsed(one, today)
        rows.append(
            (
                lines(one.title, one.kind),
                one.belongs_to,
                day_or(one.issued_on, "Not stated"),
                Cell(
                    day_or(one.expires_on, "No end"),
                    "late" if lapsed else "",
                ),
                Cell("Lapsed", "late") if lapsed else Cell("On file", "sound"),
                Cell(one.sha256, "hash"),
            )
        )
    return {
        "table": table(
            "documents",
            (
                Column("Document"),
                Column("Belongs to", "kind"),
                Column("Issued", "span"),
                Column("Ends", "span"),
                Column("State", "state"),
                Column("SHA-256 of the file", "hash"),
            ),
            rows,
            none="No document is on file for this site.",
        )
    }


def trail(file: SiteFile) -> dict[str, object]:
    """Who did what in the period, each line with the seal that chains it to the one before."""
    return {
        "length": file.made.trail_length,
        "head": file.made.trail_head,
        "table": table(
            "trail",
            (
                Column("No.", "number"),
                Column("When", "span"),
                Column("Who did what"),
                Column("Seal", "hash"),
            ),
            [
                (
                    str(one.number),
                    moment(one.at, file.site.zone),
                    lines(f"{one.who} {one.sentence}: {one.target}", one.facts),
                    Cell(one.seal, "hash"),
                )
                for one in file.trail
            ],
            none="Nothing was put on the trail of this site in the period.",
        ),
    }


def integrity(file: SiteFile, fingerprint: str) -> dict[str, object]:
    """What is hashed, in which order, and how anybody can repeat it."""
    rows: list[tuple[str | Cell, ...]] = []
    for visit in file.visits:
        if visit.outcome is not Outcome.CLOSED or visit.closed_at is None:
            continue
        rows.append(
            (
                str(visit.seal_number or DASH),
                lines(visit.kind, moment(visit.closed_at, file.site.zone)),
                Cell(visit.previous_seal, "hash"),
                Cell(visit.seal, "hash"),
            )
        )
        rows.extend(
            (
                f"{visit.seal_number}.{one.number}",
                lines(f"Amendment {one.number}", moment(one.at, file.site.zone)),
                Cell(one.previous_seal, "hash"),
                Cell(one.seal, "hash"),
            )
            for one in visit.amendments
        )
    return {
        "fingerprint": fingerprint,
        "length": file.made.trail_length,
        "head": file.made.trail_head,
        "broken": file.broken_seals,
        "table": table(
            "seals",
            (
                Column("No.", "number"),
                Column("Sealed record"),
                Column("Seal before it", "hash"),
                Column("Its own seal", "hash"),
            ),
            rows,
            none="No visit was sealed in this period.",
        ),
    }


def _state(action: Action, today: date) -> Cell:
    if action.declined:
        return Cell(lines(action.state, "Turned down"), "due")
    if is_overdue(action, today):
        return Cell(lines(action.state, "Overdue"), "late")
    return Cell(action.state, "due" if action.is_open else "sound")


def _action_row(action: Action, today: date) -> tuple[str | Cell, ...]:
    return (
        str(action.number),
        Cell(lines(action.title, action.zone), anchor=f"action-{action.number}"),
        action.kind,
        action.whose_move,
        day(action.due_on),
        _state(action, today),
    )


def _action(action: Action, file: SiteFile, today: date) -> dict[str, object]:
    zone = file.site.zone
    seen_on = action.from_visit_on
    return {
        "anchor": f"action-{action.number}",
        "title": f"Action {action.number}: {action.title}",
        "state": _state(action, today),
        "pairs": side_by_side(
            facts(
                ("Kind", action.kind),
                ("Whose move", action.whose_move),
                ("Raised", _by(moment(action.raised_at, zone), action.raised_by)),
                ("Due", day(action.due_on)),
                ("Zone", action.zone),
                ("Seen on", day(seen_on) if seen_on else ""),
            )
        ),
        "facts": facts(
            ("What must change", action.detail),
            (
                "Done",
                lines(_by(moment(action.done_at, zone), action.done_by), action.done_note)
                if action.done_at
                else "",
            ),
            (
                "Accepted by the client",
                _by(moment(action.accepted_at, zone), action.accepted_by)
                if action.accepted_at
                else "",
            ),
            (
                "Last sent back",
                lines(moment(action.sent_back_at, zone), action.sent_back_reason)
                if action.sent_back_at
                else "",
            ),
            (
                "Checked",
                lines(_by(moment(action.checked_at, zone), action.checked_by), action.check_note)
                if action.checked_at
                else "",
            ),
            ("Withdrawn", action.withdrawn_reason),
        ),
        "gaps": _gaps(action) if action.gaps else None,
        "options": _options(action.options, file.company.currency) if action.options else None,
        "break_even": action.break_even,
        "decisions": _decisions(action.decisions) if action.decisions else None,
        "sign_offs": _sign_offs(action.sign_offs) if action.sign_offs else None,
        "photos": [photo_in_words(photo, f"{photo.about}") for photo in action.photos],
    }


def _by(when: str, who: str) -> str:
    return f"{when}, {who}" if who else when


def _gaps(action: Action) -> Table:
    earlier = "Before it was sent back"
    return table(
        "gaps",
        (
            Column("Gap"),
            Column("Closed with", "name"),
            Column("Before", "figure"),
            Column("After", "figure"),
            Column("Keeps out", "span"),
        ),
        [
            (
                lines(one.place, "" if one.attempt == action.attempt else earlier),
                one.material,
                in_words(one.before_mm),
                in_words(one.after_mm),
                one.keeps_out,
            )
            for one in action.gaps
        ],
        none="",
        caption="Gaps closed, widths before and after",
    )


def _options(options: Iterable[Option], currency: str) -> Table:
    rows = []
    for one in options:
        chosen = "Chosen" if one.chosen else "Withdrawn" if one.withdrawn else ""
        over_years = [
            f"{money(cost, currency)} over {counted(years, 'year')}"
            for years, cost in one.over_years
        ]
        rows.append(
            (
                Cell(lines(one.kind, chosen), "sound" if one.chosen else ""),
                lines(
                    one.description,
                    f"Expected to last {counted(one.life_years, 'year')}" if one.life_years else "",
                ),
                money(one.cost_once, currency),
                money(one.cost_monthly, currency),
                lines(*over_years) or DASH,
                one.remaining_risk or "None stated",
            )
        )
    return table(
        "options",
        (
            Column("Way", "kind"),
            Column("What it is"),
            Column("Now", "figure"),
            Column("A month", "figure"),
            Column("In all", "span"),
            Column("What stays at risk", "name"),
        ),
        rows,
        none="",
        caption="Ways that were put to the client",
    )


def _decisions(decisions: Iterable[Decision]) -> Table:
    return table(
        "decisions",
        (
            Column("Revision", "number"),
            Column("Decision", "kind"),
            Column("Way chosen"),
            Column("Reason given"),
        ),
        [(str(one.revision), one.outcome, one.option or DASH, one.reason) for one in decisions],
        none="",
        caption="Decisions",
    )


def _sign_offs(sign_offs: Iterable[SignOff]) -> Table:
    return table(
        "signoffs",
        (
            Column("Signed by", "name"),
            Column("Meaning"),
            Column("When", "span"),
            Column("SHA-256 of what was signed", "hash"),
        ),
        [
            (
                lines(one.name, one.role),
                Cell(
                    lines(one.meaning, f"Known by: {one.method}", one.trouble),
                    "late" if one.trouble else "",
                ),
                f"{moment(one.at, one.zone)} ({one.zone})",
                Cell(one.content_hash, "hash"),
            )
            for one in sign_offs
        ],
        none="",
        caption="Signatures",
    )
