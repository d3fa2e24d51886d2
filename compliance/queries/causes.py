"""What is wrong or late right now: one query for each kind of flag, whatever the size.

Days are judged by each site's own calendar; what belongs to no site (competences, papers of the
company) by the company's. All in all ``causes_at`` takes as many queries for one site as for a
thousand.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from itertools import groupby
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import (
    Count,
    Exists,
    F,
    Max,
    Min,
    OuterRef,
    Prefetch,
    Q,
    QuerySet,
    Subquery,
    TextField,
    Value,
)
from django.db.models.functions import Cast, Coalesce, Concat, Replace
from django.urls import reverse

from accounts.models import Company, Competence, Letter, Role
from compliance.days import SiteDays
from compliance.models import (
    ActionMessage,
    Alarm,
    Breach,
    CorrectiveAction,
    Flag,
    SiteFile,
    TrendReview,
)
from compliance.quarters import due_quarters
from compliance.queries.not_reached import place_key, standing_not_reached
from compliance.queries.work import ROUND_KINDS, rounds_since_done
from sites.models import Document, Monitor, Site
from visits.application_record import labels_of
from visits.models import (
    Amendment,
    FollowUp,
    ParkedOperation,
    Reading,
    Treatment,
    Visit,
    WhoseMove,
)
from visits.queries.baiting import open_baiting
from visits.queries.inbox import placed_together
from visits.queries.objections import words_of
from visits.queries.traps import SILENT_AFTER, silent_traps

# How far ahead and back the flags look, in days and visits. Ours; no source.
UNBOOKED_DAYS = 7
STALE_DAYS = 14
EXPIRY_DAYS = 60
UNREAD_VISITS = 2
SHUT_VISITS = 2
OPEN_HOURS = 24
LATE_HOURS = 48
LATE_DAYS = 14
FAILED_DAYS = 14
AGAINST_LABEL_DAYS = 30
FOLLOW_UP_DAYS = 3
REVIEW_QUARTERS = 4
FEW_LABELS = 3

Kind = Flag.Kind
MOVES = {
    WhoseMove.CLIENT: "It is the client's move",
    WhoseMove.US: "It is our move",
    WhoseMove.THIRD_PARTY: "It is somebody else's move",
}


@dataclass(frozen=True, slots=True)
class Cause:
    """Why a flag stands, what it is about, and the words. ``late_since`` may lie ahead."""

    kind: str
    subject: str
    site_id: UUID | None
    sentence: str
    link: str
    late_since: date | None


class Moment:
    """One instant, and what day it is then at each site and at the company."""

    def __init__(self, now: datetime) -> None:
        self.now = now
        self.days = SiteDays(now)

    @cached_property
    def company_day(self) -> date:
        company = Company.objects.first() or Company()
        return self.now.astimezone(ZoneInfo(company.time_zone)).date()


def causes_at(now: datetime) -> list[Cause]:
    """Everything that calls for a flag at an instant, one cause per kind and subject."""
    moment = Moment(now)
    return [cause for find in FINDERS for cause in find(moment)]


def overdue_visits(moment: Moment) -> Iterator[Cause]:
    """Visits still open though the last day that counts as on time has passed at their site."""
    late = (
        _open_visits().exclude(kind=Visit.Kind.CALL_OUT).filter(moment.days.where("closes_on__lt"))
    )
    for visit in late:
        yield _of_visit(
            Kind.VISIT_OVERDUE,
            visit,
            f"{visit.get_kind_display()} at {visit.site} was due by {words_of(visit.closes_on)} "
            f"and is {_standing(visit)}.",
            visit.closes_on + timedelta(days=1),
        )


def unbooked_visits(moment: Moment) -> Iterator[Cause]:
    """Visits whose window opens within a week, or is open, and that nobody is booked for."""
    waiting = _open_visits().filter(
        moment.days.where("opens_on__lte", days=UNBOOKED_DAYS),
        moment.days.where("closes_on__gte"),
        state=Visit.State.PLANNED,
    )
    for visit in waiting:
        yield _of_visit(
            Kind.VISIT_UNBOOKED,
            visit,
            f"{visit.get_kind_display()} at {visit.site} is due by {words_of(visit.closes_on)} "
            "and not booked.",
            visit.opens_on,
        )


def late_call_outs(moment: Moment) -> Iterator[Cause]:
    """Call-outs that nobody has begun though the time to respond has passed."""
    late = _open_visits().filter(
        kind=Visit.Kind.CALL_OUT, started_at=None, respond_by__lt=moment.now
    )
    for visit in late:
        if visit.respond_by is None:  # a call-out always has one; said for the type checker
            continue
        deadline = visit.respond_by.astimezone(visit.site.zone_info)
        yield _of_visit(
            Kind.CALL_OUT_LATE,
            visit,
            f"The call-out at {visit.site} was to be answered by "
            f"{deadline:%H:%M} on {words_of(deadline.date())}.",
            deadline.date(),
        )


def overdue_actions(moment: Moment) -> Iterator[Cause]:
    """Actions past their day that are neither done, turned down nor withdrawn."""
    late = _actions().filter(
        moment.days.where("due_on__lt"),
        state__in=["raised", "priced", "decided"],
        declined=False,
    )
    for action in late:
        yield _of_action(
            Kind.ACTION_OVERDUE,
            action,
            f"{action} at {action.site} was due by {words_of(action.due_on)} "
            f"and is {action.get_state_display().lower()}. "
            f"{MOVES[WhoseMove(action.whose_move)]}.",
            action.due_on + timedelta(days=1),
        )


def stale_decisions(moment: Moment) -> Iterator[Cause]:
    """Options that the client has had before them for more than two weeks without an answer."""
    waiting = _actions().filter(
        state=CorrectiveAction.State.PRICED,
        priced_at__lt=moment.now - timedelta(days=STALE_DAYS),
    )
    for action in waiting:
        if action.priced_at is None:
            continue
        asked = action.site.day_of(action.priced_at)
        yield _of_action(
            Kind.DECISION_STALE,
            action,
            f"{action.site.client} has not decided on {action} at {action.site}, "
            f"put to them on {words_of(asked)}.",
            asked + timedelta(days=STALE_DAYS),
        )


def missed_checks(moment: Moment) -> Iterator[Cause]:
    """Finished work that a whole round of the site has passed without anybody checking it."""
    passed = rounds_since_done().order_by("closed_at", "pk").values("closed_at")[:1]
    unchecked = (
        _actions()
        .filter(state=CorrectiveAction.State.DONE)
        .annotate(passed_at=Subquery(passed))
        .exclude(passed_at=None)
    )
    for action in unchecked:
        day = action.site.day_of(action.passed_at)
        yield _of_action(
            Kind.CHECK_MISSED,
            action,
            f"{action} at {action.site} was reported done and was not checked on the round of "
            f"{words_of(day)}.",
            day,
        )


def questions_unanswered(moment: Moment) -> Iterator[Cause]:
    """Actions about which the client wrote last; the office has a day to answer.

    What asks a colleague to decide is neither a question to the office nor an answer to one.
    """
    written = ActionMessage.objects.filter(action=OuterRef("pk"), asks=None).order_by("-at", "-pk")
    asked = (
        _actions()
        .filter(state__in=CorrectiveAction.OPEN_STATES)
        .annotate(
            asked_by=Subquery(written.values("by__role")[:1]),
            asked_at=Subquery(written.values("at")[:1]),
        )
        .filter(asked_by=Role.CLIENT_MANAGER)
    )
    for action in asked:
        day = action.site.day_of(action.asked_at)
        yield _of_action(
            Kind.QUESTION_OPEN,
            action,
            f"{action.site.client} asked something about {action} at {action.site} on "
            f"{words_of(day)} and waits for an answer.",
            day + timedelta(days=1),
        )


def unread_monitors(moment: Moment) -> Iterator[Cause]:
    """Monitors not read on the last two closed rounds of their site or more, zone by zone.

    A reading that says "blocked" is no reading, and what a device reports is none of a round's.
    """
    read = (
        Reading.objects.filter(monitor=OuterRef("pk"), source__in=Reading.BY_PEOPLE)
        .exclude(condition=Reading.Condition.BLOCKED)
        .order_by()
        .values("monitor")
        .annotate(last=Max("read_on"))
        .values("last")
    )
    rounds = (
        Visit.objects.filter(
            site=OuterRef("site"),
            state=Visit.State.CLOSED,
            kind__in=ROUND_KINDS,
            booked_on__gt=OuterRef("last_read_on"),
        )
        .order_by()
        .values("site")
        .annotate(missed=Count("pk"), first=Min("booked_on"))
    )
    unread = (
        Monitor.objects.filter(removed_on=None, site__closed_on=None)
        .annotate(last_read_on=Coalesce(Subquery(read), F("placed_on")))
        .annotate(
            missed=Coalesce(Subquery(rounds.values("missed")), 0),
            missed_since=Subquery(rounds.values("first")),
        )
        .filter(missed__gte=UNREAD_VISITS)
        .select_related("site", "zone")
        .order_by("zone", "number")
    )
    for _, of_zone in groupby(unread, key=lambda monitor: monitor.zone_id):
        monitors = list(of_zone)
        first = monitors[0]
        numbers = ", ".join(str(monitor.number) for monitor in monitors)
        words = f"{first} was" if len(monitors) == 1 else f"Monitors {numbers} were"
        yield Cause(
            kind=Kind.MONITOR_UNREAD,
            subject=f"zone:{first.zone_id}",
            site_id=first.site_id,
            sentence=f"{words} not read on the last {min(one.missed for one in monitors)} rounds "
            f"of {first.site} ({first.zone}).",
            link=f"{reverse('sites:site', args=[first.site_id])}#monitors",
            late_since=min(one.missed_since for one in monitors),
        )


def silent_trap_senders(moment: Moment) -> Iterator[Cause]:
    """Sites where electronic traps that reported before have not been heard of, one flag each."""
    for _, some in groupby(silent_traps(moment.now), key=lambda one: one.site_id):
        traps = list(some)
        site, longest = traps[0].site, min(vars(one)["spoke_up_to"] for one in traps)
        silent = f"{len(traps)} electronic trap{'s have' if len(traps) > 1 else ' has'}"
        yield Cause(
            kind=Kind.TRAP_SILENT,
            subject=f"site:{site.pk}",
            site_id=site.pk,
            sentence=f"{site}: {silent} been silent since {words_of(site.day_of(longest))} or "
            f"later: number {_few([str(one.number) for one in traps])}.",
            link=reverse("visits:traps", args=[site.pk]),
            late_since=site.day_of(longest + SILENT_AFTER),
        )


def expiring_competences(moment: Moment) -> Iterator[Cause]:
    """Competences of working technicians that lapse within 60 days, or lapsed while work is booked.

    One that was renewed (the same kind, valid for longer) is no cause.
    """
    today = moment.company_day
    renewed = Competence.objects.filter(
        Q(valid_until=None) | Q(valid_until__gt=OuterRef("valid_until")),
        person=OuterRef("person"),
        kind=OuterRef("kind"),
        withdrawn_on=None,
    )
    booked = (
        Visit.objects.filter(technician=OuterRef("person"), state=Visit.State.BOOKED)
        .filter(booked_on__gt=OuterRef("valid_until"))
        .order_by()
        .values("technician")
        .annotate(number=Count("pk"))
        .values("number")
    )
    lapsing = (
        Competence.objects.filter(
            ~Exists(renewed),
            withdrawn_on=None,
            person__is_active=True,
            valid_until__lte=today + timedelta(days=EXPIRY_DAYS),
        )
        .annotate(booked=Coalesce(Subquery(booked), 0))
        .filter(Q(valid_until__gte=today) | Q(booked__gt=0))
        .select_related("person", "kind")
    )
    for competence in lapsing:
        if competence.valid_until is None:
            continue
        words = "lapsed" if competence.valid_until < today else "lapses"
        after = f"; {_counted(competence.booked, 'visit')} booked after that"
        yield Cause(
            kind=Kind.COMPETENCE_EXPIRING,
            subject=f"competence:{competence.pk}",
            site_id=None,
            sentence=f"{competence.kind} of {competence.person} {words} on "
            f"{words_of(competence.valid_until)}{after if competence.booked else ''}.",
            link=reverse("accounts:person", args=[competence.person_id]),
            late_since=competence.valid_until + timedelta(days=1),
        )


def expiring_documents(moment: Moment) -> Iterator[Cause]:
    """Papers on file that expire within 60 days or have expired, and that no newer one replaces."""
    ends = moment.company_day + timedelta(days=EXPIRY_DAYS)
    expiring = (
        Document.objects.filter(withdrawn_at=None, replaced_by=None, site__closed_on=None)
        .filter(
            moment.days.where("expires_on__lte", days=EXPIRY_DAYS)
            | Q(site=None, expires_on__lte=ends)
        )
        .select_related("site", "client")
    )
    for document in expiring:
        if document.expires_on is None:
            continue
        today = moment.days.today(document.site.time_zone) if document.site else moment.company_day
        words = "expired" if document.expires_on < today else "expires"
        of = document.site or document.client
        yield Cause(
            kind=Kind.DOCUMENT_EXPIRING,
            subject=f"document:{document.pk}",
            site_id=document.site_id,
            sentence=f"{document.get_kind_display()} “{document.title}”"
            f"{f' of {of}' if of else ''} {words} on {words_of(document.expires_on)}.",
            link=_documents_of(document),
            late_since=document.expires_on + timedelta(days=1),
        )


def places_not_reached(moment: Moment) -> Iterator[Cause]:
    """Places that were not reached on two or more visits running and have not been since."""
    shut = (
        standing_not_reached()
        .filter(visit__site__closed_on=None)
        .order_by()
        .values("visit__site", "zone", "checkpoint", "monitor", place=place_key())
        .annotate(times=Count("pk"), first=Min("visit__booked_on"))
        .filter(times__gte=SHUT_VISITS)
        .values_list(
            "visit__site",
            "visit__site__name",
            "zone__name",
            "checkpoint__label",
            "monitor__number",
            "place",
            "times",
            "first",
        )
    )
    for site_id, site, zone, checkpoint, monitor, place, times, first in shut:
        named = checkpoint or (f"Monitor {monitor}" if monitor else None)
        yield Cause(
            kind=Kind.NOT_REACHED_AGAIN,
            subject=f"place:{place}",
            site_id=site_id,
            sentence=f"{f'{named} ({zone})' if named else zone} at {site} was not reached on "
            f"{times} visits running, first on {words_of(first)}.",
            link=f"{reverse('sites:site', args=[site_id])}#visits",
            late_since=first,
        )


def operations_to_place(moment: Moment) -> Iterator[Cause]:
    """Records from phones that could not be applied and that the office has not placed yet.

    What is placed together is one cause: a lost phone's visit has hundreds.
    """
    waiting = ParkedOperation.objects.filter(settled_at=None).select_related(
        "person", "visit__site"
    )
    together: dict[str, list[ParkedOperation]] = defaultdict(list)
    for parked in waiting.order_by("created_at", "pk"):
        together[placed_together(parked)].append(parked)
    for key, (parked, *others) in together.items():
        site = parked.visit.site if parked.visit else None
        what = f"{len(others) + 1} records" if others else "A record"
        yield Cause(
            kind=Kind.TO_PLACE,
            subject=f"parked:{key}",
            site_id=site.pk if site else None,
            sentence=f"{what} of {parked.person}{f' at {site}' if site else ''} "
            f"{'wait' if others else 'waits'} to be placed: {parked.reason}",
            link=reverse("visits:inbox"),
            late_since=parked.created_at.astimezone(
                site.zone_info if site else ZoneInfo("UTC")
            ).date(),
        )


def late_records(moment: Moment) -> Iterator[Cause]:
    """Visits begun a day ago and not closed, closings that reached us two days late, treatments
    whose record leaves something unsaid or was made late, and those without a licence.

    A late arrival is a fact that nothing mends: it is shown for two weeks. What is unsaid is shown
    as long, and a missing licence for ever, unless an amendment stands beside the visit. Two
    queries.
    """
    amended = Amendment.objects.filter(visit=OuterRef("visit"))
    applied = Treatment.objects.filter(visit=OuterRef("pk"))
    unlicensed = applied.filter(~Exists(amended), applicator_licence="")
    lately = Q(state=Visit.State.CLOSED, closed_at__gt=moment.now - timedelta(days=LATE_DAYS))
    incomplete = (
        Visit.objects.annotate(
            unlicensed=Exists(unlicensed),
            wanting=Exists(applied.filter(~Exists(amended), is_incomplete=True)),
            made_late=Exists(applied.filter(made_late=True)),
        )
        .filter(
            Q(
                state=Visit.State.UNDER_WAY,
                started_at__lt=moment.now - timedelta(hours=OPEN_HOURS),
            )
            | lately & Q(received_at__gt=F("closed_at") + timedelta(hours=LATE_HOURS))
            | lately & (Q(wanting=True) | Q(made_late=True))
            | Q(state=Visit.State.CLOSED, unlicensed=True)
        )
        .select_related("site", "technician")
        .prefetch_related(
            Prefetch(
                "treatments",
                Treatment.objects.filter(is_incomplete=True).order_by("position", "pk"),
                to_attr="incomplete_treatments",
            )
        )
    )
    for visit in incomplete:
        if visit.state == Visit.State.UNDER_WAY and visit.started_at:
            since = visit.site.day_of(visit.started_at)
            words = f"was begun on {words_of(since)} and never closed"
        elif visit.unlicensed:
            since = visit.site.day_of(visit.closed_at or moment.now)
            words = "records a treatment without the applicator's licence"
        elif visit.wanting:
            since = visit.site.day_of(visit.closed_at or moment.now)
            unsaid = (key for one in visit.incomplete_treatments for key in one.unsaid)
            words = f"records a treatment without its {_few(labels_of(dict.fromkeys(unsaid)))}"
        elif visit.made_late:
            since = visit.site.day_of(visit.received_at or moment.now)
            words = "has a record of a treatment that was made after its deadline"
        else:
            since = visit.site.day_of(visit.received_at or moment.now)
            words = f"reached us only on {words_of(since)}"
        yield _of_visit(
            Kind.RECORD_LATE, visit, f"{visit} at {visit.site}, {visit.technician}, {words}.", since
        )


def _few(labels: Sequence[str], *, lower: bool = True) -> str:
    """The first three, and how many more: a sentence is no list. ``lower``: they are no names."""
    named = ", ".join(
        label[:1].lower() + label[1:] if lower else label for label in labels[:FEW_LABELS]
    )
    more = len(labels) - FEW_LABELS
    return f"{named} and {more} more" if more > 0 else named


def treatments_against_label(moment: Moment) -> Iterator[Cause]:
    """Visits that record something the label or the rules forbid, until the office has answered.

    What was answered stays in sight for 30 days after the closing and never comes back: the answer
    itself is what ends it.
    """
    answered = (
        Flag.objects.filter(kind=Kind.AGAINST_LABEL, acknowledged_at__isnull=False)
        .annotate(about=_about_visit(OuterRef("visit_id")))
        .filter(subject=F("about"))
    )
    forbidden = (
        Treatment.objects.filter(
            ~Exists(answered)
            | Q(visit__closed_at__gt=moment.now - timedelta(days=AGAINST_LABEL_DAYS)),
            was_forbidden=True,
            visit__state=Visit.State.CLOSED,
        )
        .select_related("visit__site", "zone")
        .defer("visit__sealed_record", "visit__signature")
        .order_by("visit", "position", "pk")
    )
    for _, of_visit in groupby(forbidden, key=lambda one: one.visit_id):
        first, *others = of_visit
        visit = first.visit
        on = visit.site.day_of(first.started_at)
        words = next((one["words"] for one in first.against_label if one["forbidden"]), "")
        more = f" {len(others) + 1} treatments of that visit are against a label." if others else ""
        yield Cause(
            kind=Kind.AGAINST_LABEL,
            subject=f"visit:{visit.pk.hex}",
            site_id=visit.site_id,
            sentence=f"{first.product_name} in {first.zone} at {visit.site} on {words_of(on)}: "
            f"{words}{more}",
            link=f"{visit.get_absolute_url()}#treatments",
            late_since=on,
        )


def bait_past_review(moment: Moment) -> Iterator[Cause]:
    """Sites where bait lies past its review day, until a review says why or all of it is lifted.

    Five queries, which ask only after sites where bait was ever laid.
    """
    open_sites = Site.objects.filter(closed_on=None)
    for one in open_baiting(open_sites, moment.now, overdue_only=True):
        if one.state.review_due_on is None:
            continue
        yield Cause(
            kind=Kind.BAIT_REVIEW,
            subject=f"site:{one.site.pk}",
            site_id=one.site.pk,
            sentence=f"{one.site}: {one.state.words}",
            link=reverse("visits:bait", args=[one.site.pk]),
            late_since=one.state.review_due_on + timedelta(days=1),
        )


def follow_ups_unanswered(moment: Moment) -> Iterator[Cause]:
    """Proposed follow-ups that nobody has answered three days before their first day, or since."""
    waiting = FollowUp.objects.filter(
        moment.days.where("first_on__lte", zone="visit__site__time_zone", days=FOLLOW_UP_DAYS),
        state=FollowUp.State.PROPOSED,
        visit__site__closed_on=None,
    ).select_related("visit__site", "pest")
    for one in waiting.order_by("first_on", "pk"):
        yield Cause(
            kind=Kind.FOLLOW_UP_OPEN,
            subject=f"follow_up:{one.pk}",
            site_id=one.visit.site_id,
            sentence=f"{one.visit.site}: a look again for {one.pest} between "
            f"{words_of(one.first_on)} and {words_of(one.by_on)} is proposed and not answered.",
            link=f"{reverse('visits:follow_ups')}?site={one.visit.site_id}",
            late_since=one.first_on,
        )


def thresholds_breached(moment: Moment) -> Iterator[Cause]:
    """Action thresholds that were reached and that the office has not answered.

    One for each pest and zone: a bad month is one flag, not thirty. It tells the latest reading.
    """
    breached = (
        Breach.objects.filter(state=Breach.State.OPEN, site__closed_on=None)
        .select_related("site", "zone", "pest")
        .order_by("site", "zone", "pest", "on", "pk")
    )
    for (zone_id, pest_id), together in groupby(breached, lambda one: (one.zone_id, one.pest_id)):
        first, *others = together
        latest = others[-1] if others else first
        times = f", {len(others) + 1} times" if others else ""
        since = f" since {words_of(first.on)}" if latest.on != first.on else ""
        on = words_of(latest.on) if latest.monitor_id else f"{latest.on:%B %Y}"
        yield Cause(
            kind=Kind.THRESHOLD_BREACHED,
            subject=f"breach:{zone_id.hex}:{pest_id.hex}",
            site_id=first.site_id,
            sentence=f"{first.pest} in {first.zone} at {first.site}, {on}{times}{since}. "
            f"{latest.words}",
            link=f"{reverse('compliance:breaches')}?site={first.site_id}&pest={first.pest.slug}",
            late_since=first.on,
        )


def trend_alarms(moment: Moment) -> Iterator[Cause]:
    """Months in which a site caught more of a pest than is usual there, until a review explains it.

    One for each site, pest and run of months: the alarms of zones and that of the whole, month
    after month, are one matter; after a calm month it is another. It tells the latest, and leads to
    its one place, or to the whole site where there are several.
    """
    alarms = (
        Alarm.objects.filter(state=Alarm.State.OPEN, site__closed_on=None)
        .select_related("site", "zone", "pest")
        .order_by("site", "pest", "month", F("zone").asc(nulls_last=True), "pk")
    )
    for _, of_pest in groupby(alarms, lambda one: (one.site_id, one.pest_id)):
        for run in _runs(of_pest):
            begun, latest = run[0].month, run[-1].month
            found = [one for one in run if one.month == latest]
            first = found[0]
            zones = sorted(one.zone.name for one in found if one.zone)
            where = f"{_few(zones, lower=False)} at {first.site}" if zones else str(first.site)
            since = f", as each month since {begun:%B %Y}" if begun != latest else ""
            at = [first.site_id, first.pest.slug]
            link = reverse("compliance:place_trend", args=at)
            if len(zones) == 1:
                link = reverse("compliance:zone_trend", args=[*at, first.zone_id])
            yield Cause(
                kind=Kind.TREND_ALARM,
                subject=f"alarm:{first.site_id.hex}:{first.pest_id.hex}:{begun:%Y-%m}",
                site_id=first.site_id,
                sentence=f"Statistical alarm: {first.pest} in {where}, {latest:%B %Y}{since}. "
                f"{first.words}",
                link=link,
                late_since=_after_month(begun),
            )


def _runs(alarms: Iterable[Alarm]) -> Iterator[list[Alarm]]:
    """Alarms of one site and pest, by month, parted where a month has none."""
    run: list[Alarm] = []
    for one in alarms:
        if run and one.month > _after_month(run[-1].month):
            yield run
            run = []
        run.append(one)
    if run:
        yield run


def trend_reviews_due(moment: Moment) -> Iterator[Cause]:
    """Sites whose monitors were read in a quarter that ended more than 30 days ago and that no
    trend review has looked at, of the last four such quarters. One query.

    What was typed off from before the program asks for no review. One for each site, named by the
    oldest quarter.
    """
    quarters = due_quarters(moment.company_day, REVIEW_QUARTERS)
    site = OuterRef("pk")
    unreviewed = {
        f"q{place}": Exists(
            Reading.objects.filter(
                Q(visit=None) | Q(visit__state=Visit.State.CLOSED),
                monitor__site=site,
                read_on__gte=quarter.first,
                read_on__lte=quarter.last,
            ).exclude(source=Reading.Source.IMPORT)
        )
        & ~Exists(TrendReview.objects.filter(site=site, quarter=quarter.first))
        for place, quarter in enumerate(quarters)
    }
    due = Site.objects.filter(closed_on=None).annotate(**unreviewed)
    wanting = due.filter(Q(*[(name, True) for name in unreviewed], _connector=Q.OR))
    for one in wanting.order_by("pk"):
        oldest, *others = (
            quarter
            for name, quarter in zip(unreviewed, quarters, strict=True)
            if getattr(one, name)
        )
        which = "one" if len(others) == 1 else str(len(others))
        more = f", nor of the {which} after it" if others else ""
        yield Cause(
            kind=Kind.TREND_REVIEW_DUE,
            subject=f"trend_review:{one.pk}",
            site_id=one.pk,
            sentence=f"{one}: no signed trend review of {oldest}{more}, though monitors were read.",
            link=reverse("compliance:trend_reviews", args=[one.pk]),
            late_since=oldest.due_on + timedelta(days=1),
        )


def _after_month(month: date) -> date:
    return (month + timedelta(days=31)).replace(day=1)


def failed_site_files(moment: Moment) -> Iterator[Cause]:
    """Site files that could not be built, of the last two weeks."""
    failed = SiteFile.objects.filter(
        state=SiteFile.State.FAILED, created_at__gt=moment.now - timedelta(days=FAILED_DAYS)
    ).select_related("site")
    for site_file in failed:
        yield Cause(
            kind=Kind.JOB_FAILED,
            subject=f"site_file:{site_file.pk}",
            site_id=site_file.site_id,
            sentence=f"The site file of {site_file.site} could not be built: {site_file.problem}",
            link=reverse("compliance:site_file", args=[site_file.pk]),
            late_since=site_file.site.day_of(site_file.created_at),
        )


def failed_letters(moment: Moment) -> Iterator[Cause]:
    """Letters that were given up, of the last two weeks."""
    lost = Letter.objects.filter(given_up_at__gt=moment.now - timedelta(days=FAILED_DAYS))
    for letter in lost:
        yield Cause(
            kind=Kind.JOB_FAILED,
            subject=f"letter:{letter.pk}",
            site_id=None,
            sentence=f"A letter to {letter.to} could not be sent: {letter.problem}",
            link="",
            late_since=letter.created_at.date(),
        )


FINDERS: tuple[Callable[[Moment], Iterator[Cause]], ...] = (
    overdue_visits,
    unbooked_visits,
    late_call_outs,
    overdue_actions,
    stale_decisions,
    missed_checks,
    questions_unanswered,
    unread_monitors,
    silent_trap_senders,
    expiring_competences,
    expiring_documents,
    places_not_reached,
    operations_to_place,
    late_records,
    treatments_against_label,
    bait_past_review,
    follow_ups_unanswered,
    thresholds_breached,
    trend_alarms,
    trend_reviews_due,
    failed_site_files,
    failed_letters,
)


def _about_visit(path: OuterRef) -> Concat:
    """The subject of a flag on a visit, as both databases can write it: the id's digits alone."""
    text = TextField()
    digits = Replace(Cast(path, text), Value("-"), Value(""), output_field=text)
    return Concat(Value("visit:"), digits, output_field=text)


def _open_visits() -> QuerySet[Visit]:
    return Visit.objects.filter(state__in=Visit.OPEN_STATES).select_related("site")


def _actions() -> QuerySet[CorrectiveAction]:
    return CorrectiveAction.objects.filter(site__closed_on=None).select_related("site__client")


def _standing(visit: Visit) -> str:
    if visit.state == Visit.State.BOOKED and visit.booked_on:
        return f"booked for {words_of(visit.booked_on)}"
    return "not booked" if visit.state == Visit.State.PLANNED else "not closed"


def _counted(number: int, noun: str) -> str:
    return f"1 {noun} is" if number == 1 else f"{number} {noun}s are"


def _of_visit(kind: str, visit: Visit, sentence: str, late_since: date) -> Cause:
    return Cause(
        kind=kind,
        subject=f"visit:{visit.pk}",
        site_id=visit.site_id,
        sentence=sentence,
        link=visit.get_absolute_url(),
        late_since=late_since,
    )


def _of_action(kind: str, action: CorrectiveAction, sentence: str, late_since: date) -> Cause:
    return Cause(
        kind=kind,
        subject=f"action:{action.pk}",
        site_id=action.site_id,
        sentence=sentence,
        link=action.get_absolute_url(),
        late_since=late_since,
    )


def _documents_of(document: Document) -> str:
    if document.site_id:
        return f"{reverse('sites:site', args=[document.site_id])}#documents"
    if document.client_id:
        return reverse("sites:client", args=[document.client_id])
    return reverse("sites:documents")
