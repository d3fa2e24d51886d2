"""What the daily summary says to each kind of person; nothing where there is nothing to say."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.db.models import QuerySet
from django.urls import reverse

from accounts.access import notices_visible_to
from accounts.models import Competence, Notice, Role, User
from accounts.notice_kinds import keys_that_wait
from compliance.queries.causes import EXPIRY_DAYS
from compliance.queries.client import Waiting, to_decide, to_do
from compliance.queries.today import Part, actions_address, today_of
from sites.access import sites_visible_to
from visits.models import Visit
from visits.queries.objections import words_of

WEEK = timedelta(days=7)
DAY = timedelta(days=1)
SHOWN = 10


@dataclass(frozen=True, slots=True)
class Line:
    """One thing, in words, and where it can be looked at (a whole address)."""

    text: str
    url: str = ""


@dataclass(frozen=True, slots=True)
class DigestPart:
    """One heading with its first lines; ``more`` says how many more there are at ``url``."""

    title: str
    lines: Sequence[Line]
    more: int = 0
    url: str = ""


@dataclass(frozen=True, slots=True)
class DigestText:
    """A summary as it will be written, and the notices of which it tells."""

    subject: str
    parts: Sequence[DigestPart]
    notice_ids: Sequence[UUID] = ()


def digest_for(person: User, *, day: date, now: datetime) -> DigestText | None:
    """The summary of a person for a day, or None where there is nothing to say.

    ``day`` is the day in the person's own zone. At most ten queries, whatever the size.
    """
    compose = COMPOSERS.get(Role(person.role))
    parts, subject = compose(person, day, now) if compose else ([], "")
    daily = list(notices_for_summary(person))
    news = [notice for notice in daily if notice.kind not in keys_that_wait()]
    told = [part for part in [*parts, _of_notices(news)] if part.lines]
    if not told:
        return None
    return DigestText(subject or _news(len(news)), told, [notice.pk for notice in daily])


def notices_for_summary(person: User) -> QuerySet[Notice]:
    """What the next summary is to tell: not mailed before, nor read since. Oldest first."""
    notices = notices_visible_to(person).filter(how=Notice.How.DAILY, mailed_at=None, read_at=None)
    return notices.order_by("at", "pk")


def _of_notices(news: Sequence[Notice]) -> DigestPart:
    return DigestPart(
        "New since the last summary",
        [
            Line(notice.subject, _whole(reverse("notices:open", args=[notice.pk])))
            for notice in news[: 2 * SHOWN]
        ],
        more=max(len(news) - 2 * SHOWN, 0),
        url=_whole(reverse("notices:list")),
    )


def _news(number: int) -> str:
    return "1 thing is new" if number == 1 else f"{number} things are new"


Composed = tuple[list[DigestPart], str]


def _office(person: User, day: date, now: datetime) -> Composed:
    """Flags by group."""
    parts = today_of(person)
    told = [_of_flags(part) for part in parts if part.number or part.counts]
    counts = [f"{part.number} {part.group.title.lower()}" for part in parts if part.number]
    return told, f"{words_of(day)}: {', '.join(counts)}" if counts else ""


def _of_flags(part: Part) -> DigestPart:
    lines = [Line(flag.sentence, _whole(flag.link)) for flag in part.flags]
    if not lines:
        lines = [Line(f"{one.label}: {one.number}", _whole(one.url)) for one in part.counts]
    return DigestPart(
        part.group.title, lines, more=max(part.number - len(part.flags), 0), url=_whole(part.url)
    )


def _technician(person: User, day: date, now: datetime) -> Composed:
    """Today's and tomorrow's stops, and competences about to lapse."""
    stops = (
        Visit.objects.filter(
            technician=person,
            booked_on__in=[day, day + DAY],
            state__in=[Visit.State.BOOKED, Visit.State.UNDER_WAY],
        )
        .select_related("site")
        .order_by("booked_on", "booked_at_time", "pk")
    )
    by_day: dict[date, list[Line]] = {day: [], day + DAY: []}
    for visit in stops:
        if visit.booked_on is not None:
            by_day[visit.booked_on].append(_stop(visit))
    lapsing = Competence.objects.filter(
        person=person,
        withdrawn_on=None,
        valid_until__gte=day,
        valid_until__lte=day + timedelta(days=EXPIRY_DAYS),
    ).select_related("kind")
    parts = [
        DigestPart("Today", by_day[day]),
        DigestPart("Tomorrow", by_day[day + DAY]),
        DigestPart(
            "Your competences",
            [
                Line(
                    f"{one} lapses on {words_of(one.valid_until)}",
                    _whole(reverse("accounts:my_competences")),
                )
                for one in lapsing.order_by("valid_until", "pk")
                if one.valid_until
            ],
        ),
    ]
    number = len(by_day[day])
    return parts, f"{words_of(day)}: {number} {'stop' if number == 1 else 'stops'} today"


def _stop(visit: Visit) -> Line:
    at = f"{visit.booked_at_time:%H:%M} " if visit.booked_at_time else ""
    address = " ".join(visit.site.address.split())
    return Line(
        f"{at}{visit.site}, {address} ({visit.get_kind_display().lower()})",
        _whole(visit.get_absolute_url()),
    )


def _client_manager(person: User, day: date, now: datetime) -> Composed:
    """Decisions that wait, what is their own move, and the visits of the week."""
    decide, do = to_decide(person, now), to_do(person, now)
    coming = (
        Visit.objects.filter(
            site__in=sites_visible_to(person),
            booked_on__gte=day,
            booked_on__lt=day + WEEK,
            state__in=[Visit.State.BOOKED, Visit.State.UNDER_WAY],
        )
        .select_related("site")
        .order_by("booked_on", "booked_at_time", "pk")
    )
    visits = _coming("Visits in the next seven days", coming)
    parts = [
        _of_actions("Waits for your decision", decide, reverse("compliance:decisions")),
        _of_actions("Is your move", do, actions_address(state="open")),
        visits,
    ]
    return parts, _subject(decide.number, do.number, len(visits.lines))


def _subject(decide: int, do: int, visits: int) -> str:
    if decide:
        return "1 decision waits for you" if decide == 1 else f"{decide} decisions wait for you"
    if do:
        return "1 thing is your move" if do == 1 else f"{do} things are your move"
    return "Visits at your sites this week" if visits else ""


def _of_actions(title: str, waiting: Waiting, address: str) -> DigestPart:
    return DigestPart(
        title,
        [
            Line(
                f"{one.title}, {one.site}, due by {words_of(one.due_on)}",
                _whole(one.get_absolute_url()),
            )
            for one in waiting.actions
        ],
        more=waiting.number - len(waiting.actions),
        url=_whole(address),
    )


def _coming(title: str, visits: QuerySet[Visit]) -> DigestPart:
    """Days and sites only: a visit's own page opens to the client once it is closed."""
    number = visits.count()
    return DigestPart(
        title,
        [
            Line(f"{words_of(visit.booked_on)}: {visit.get_kind_display().lower()}, {visit.site}")
            for visit in visits[:SHOWN]
            if visit.booked_on
        ],
        more=max(number - SHOWN, 0),
        url=_whole(reverse("compliance:your_sites")),
    )


def _whole(path: str) -> str:
    """An address that works from a letter. An empty one stays empty."""
    return f"{settings.BASE_URL}{path}" if path else ""


COMPOSERS: dict[Role, Callable[[User, date, datetime], Composed]] = {
    Role.OFFICE: _office,
    Role.TECHNICIAN: _technician,
    Role.CLIENT_MANAGER: _client_manager,
}
