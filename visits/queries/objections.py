"""What stands in the way of booking visits for a technician on a day.

The preview of a page and the service that books ask the same question here.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID

from accounts.models import Competence, User
from sites.models import AccessWindow
from visits.models import Visit

# A window that closes at 23:59 and one that opens at midnight are one night.
SEAM = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Objection:
    """One reason against a booking. Who asked may go on despite one that is not ``final``."""

    code: str
    sentence: str
    final: bool = True
    facts: dict[str, Any] = field(default_factory=dict)


def words_of(day: date) -> str:
    """A day as sentences say it: "Tue 8 Dec 2026"."""
    return f"{day:%a %-d %b %Y}"


def objections(
    visits: Sequence[Visit], *, technician: User, day: date, at: time | None
) -> dict[UUID, list[Objection]]:
    """What stands in the way of each visit, final reasons first; an empty list means nothing.

    ``day`` and ``at`` are local to each visit's site; without ``at`` only the day is looked at. The
    state of a visit is not looked at. Five queries, however many visits.
    """
    wanted = list(
        Visit.objects.filter(pk__in=[visit.pk for visit in visits])
        .select_related("site", "line__contract")
        .prefetch_related("site__access_windows", "line__competences")
        .order_by("pk")
    )
    held: dict[UUID, list[Competence]] = defaultdict(list)
    for competence in technician.competences.order_by("valid_from", "pk"):
        held[competence.kind_id].append(competence)
    taken = _taken(technician, day) if at else []
    return {
        visit.pk: sorted(
            [
                *_about_technician(technician),
                *_about_site(visit, day),
                *_about_competences(visit, technician, day, held),
                *_about_other_visits(visit, technician, day, at, taken),
                *_about_access(visit, day, at),
            ],
            key=lambda objection: not objection.final,
        )
        for visit in wanted
    }


def _about_technician(technician: User) -> Iterable[Objection]:
    if not technician.is_technician:
        yield Objection("not_a_technician", f"{technician} is not a technician.")
    elif not technician.is_active:
        yield Objection("technician_inactive", f"{technician} no longer works here.")


def _about_site(visit: Visit, day: date) -> Iterable[Objection]:
    closed_on = visit.site.closed_on
    if closed_on and day >= closed_on:
        yield Objection("site_closed", f"{visit.site} closed on {words_of(closed_on)}.")


def _about_competences(
    visit: Visit, technician: User, day: date, held: dict[UUID, list[Competence]]
) -> Iterable[Objection]:
    if visit.line is None:
        return
    for kind in sorted(visit.line.competences.all(), key=lambda kind: (kind.name, str(kind.pk))):
        certificates = held.get(kind.pk, [])
        if not any(certificate.is_valid_on(day) for certificate in certificates):
            yield Objection(
                "competence_missing",
                f"{visit.line} needs “{kind}”, which {technician} {_lack(certificates, day)}.",
                facts={"competence": kind.name, "day": day},
            )


def _lack(certificates: list[Competence], day: date) -> str:
    """Why no certificate counts on the day, as the end of a sentence."""
    if not certificates:
        return "does not hold"
    last = certificates[-1]
    if last.valid_from > day:
        return f"holds only from {words_of(last.valid_from)}"
    ends = [end for end in (last.valid_until, last.withdrawn_on) if end]
    return f"held only until {words_of(min(ends))}"


def _span(visit: Visit, day: date, at: time) -> tuple[datetime, datetime]:
    """From when to when a visit would take, as instants."""
    begins = datetime.combine(day, at, tzinfo=visit.site.zone_info)
    # Added to the instant, so that a visit keeps its length on the night the clocks change.
    return begins, datetime.fromtimestamp(
        begins.timestamp() + visit.minutes * 60, tz=visit.site.zone_info
    )


def _taken(technician: User, day: date) -> list[Visit]:
    """Other timed visits of the technician that could touch the day in any zone. One query."""
    around = (day - timedelta(days=2), day + timedelta(days=2))
    return list(
        technician.visits.filter(
            state__in=[Visit.State.BOOKED, Visit.State.UNDER_WAY],
            booked_on__range=around,
            booked_at_time__isnull=False,
        )
        .select_related("site")
        .order_by("booked_on", "booked_at_time", "pk")
    )


def _about_other_visits(
    visit: Visit, technician: User, day: date, at: time | None, taken: list[Visit]
) -> Iterable[Objection]:
    if at is None:
        return
    begins, ends = _span(visit, day, at)
    for other in taken:
        if other.pk == visit.pk or other.booked_on is None or other.booked_at_time is None:
            continue
        other_begins, other_ends = _span(other, other.booked_on, other.booked_at_time)
        if begins < other_ends and other_begins < ends:
            yield Objection(
                "double_booked",
                f"{technician} is booked at {other.site} from {other_begins:%H:%M} to "
                f"{other_ends:%H:%M} on {words_of(other.booked_on)} "
                f"({other.get_kind_display().lower()}); this visit to {visit.site} would take from "
                f"{begins:%H:%M} to {ends:%H:%M}.",
                facts={"visit": other.pk, "site": other.site.name},
            )


def open_spans(windows: Iterable[AccessWindow], day: date) -> list[tuple[datetime, datetime]]:
    """When a site can be entered on a day, as local times without a zone, in order.

    A span that goes on over midnight ends on the next day.
    """
    spans: list[tuple[datetime, datetime]] = []
    for ahead in (0, 1):
        that_day = day + timedelta(days=ahead)
        for window in sorted(windows, key=lambda window: window.opens):
            if window.weekday != that_day.weekday():
                continue
            opens = datetime.combine(that_day, window.opens)
            closes = datetime.combine(that_day, window.closes)
            if spans and opens - spans[-1][1] <= SEAM:
                spans[-1] = (spans[-1][0], max(closes, spans[-1][1]))
            elif ahead == 0:
                spans.append((opens, closes))
    return spans


def _about_access(visit: Visit, day: date, at: time | None) -> Iterable[Objection]:
    windows = list(visit.site.access_windows.all())
    if not windows:
        return
    spans = open_spans(windows, day)
    if not spans:
        yield Objection(
            "outside_access",
            f"{visit.site} cannot be entered on a {day:%A}.",
            final=False,
        )
    elif at is not None:
        begins = datetime.combine(day, at)
        ends = begins + timedelta(minutes=visit.minutes)
        if not any(opens <= begins and ends <= closes for opens, closes in spans):
            hours = ", ".join(f"{opens:%H:%M}–{closes:%H:%M}" for opens, closes in spans)
            yield Objection(
                "outside_access",
                f"{visit.site} can be entered {hours} on {words_of(day)}; "
                f"the visit would take from {begins:%H:%M} to {ends:%H:%M}.",
                final=False,
            )
