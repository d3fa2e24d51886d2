"""The whole record of a site for a period, and the report of one visit, as papers print them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from fractions import Fraction
from typing import Any
from uuid import UUID

from django.db.models import Count, Prefetch, Q, QuerySet

from accounts.models import Company, Competence, Role, TrailEntry, TrailStream, User
from accounts.trail import stream_of
from accounts.trail_words import declared
from compliance.economics.costs import compare
from compliance.models import (
    ActionOption,
    ActionPhoto,
    CorrectiveAction,
    Decision,
    SealedGap,
    SignOff,
)
from compliance.queries.evidence import SECTIONS, Line, Period, evidence_of, usual_period
from compliance.queries.money_terms import USUAL_YEARS
from compliance.queries.sealed_visits import (
    closed_visit,
    mentions,
    photo_hashes,
    sealed_text,
    visit_not_made,
)
from compliance.queries.sheets import break_even_in_words, has_a_price, way_of
from compliance.queries.site_file_devices import device_months
from compliance.queries.site_file_trends import effects_of, trends_of
from compliance.services.signing import is_whole
from compliance.sitefile import content
from compliance.sitefile.unreached import spells
from compliance.stored_pictures import StoredPictures
from sites.access import valid_pass_sites
from sites.models import (
    AccessWindow,
    Contact,
    Contract,
    Document,
    Height,
    Monitor,
    Photo,
    ServiceLine,
    Site,
    SitePlan,
    Zone,
)
from sites.queries import documents_listed, documents_shown_at
from visits.models import Amendment, Reading, ReadingCount, Visit
from visits.queries.baiting import BaitPoint, baiting_on, grams
from visits.queries.places import day_of_visit
from visits.recurrence.words import describe

# A place may have been shut long before the period began: so far back the visits are looked at.
LOOK_BACK = timedelta(days=366)

# Steps within a visit stand in its sealed record; the trail of a paper tells what came of them.
# Flags and who may see what are the office's own.
LEFT_OUT_OF_PAPERS = frozenset(
    {
        "visit.recorded",
        "photo.added",
        "labels.printed",
        "flag.acknowledged",
        "flags.reconciled",
        "manager.limited",
    }
)
# Of what an entry tells, a paper shows these alone: others may hold notes or prices of ours.
SHOWN_FACTS = {
    "reason": "reason",
    "seal_number": "seal number",
    "seal": "seal",
    "outcome": "outcome",
    "revision": "revision",
    "content_hash": "signed text",
    "sha256": "file",
}

ANCHORS = {
    "contract": "contract",
    "overview": "contract",
    "plan": "plan",
    "monitors": "register",
    "visits": "visits",
    "actions": "actions",
    "documents": "documents",
}


@dataclass(frozen=True, slots=True)
class Gathered:
    """A site file's content and the pictures it names."""

    file: content.SiteFile
    pictures: StoredPictures


@dataclass(frozen=True, slots=True)
class GatheredReport:
    """A visit report's content and the pictures it names."""

    report: content.VisitReport
    pictures: StoredPictures


def site_file_of(
    site: Site,
    *,
    first: date,
    last: date,
    by: User,
    role: str,
    now: datetime,
    broken_seals: Sequence[str] = (),
) -> Gathered:
    """Everything that is on record of a site for the days from ``first`` to ``last``.

    The site has its client at hand. About fifty queries, whatever its size. The visits are
    those that were due in the period; what the office notes for itself, and prices, stay out.
    """
    period = _Period(site, first, last)
    visits = _visits(period)
    due = [visit for visit in visits if first <= visit.due_on <= last]
    sealed = {visit.pk: sealed_text(visit) for visit in visits if visit.seal}
    contracts = _contracts(period)
    monitors = _monitors(period)
    plans = _plans(period)
    actions = _actions(period)
    photos = _photos_named(site, [sealed[visit.pk] for visit in due if visit.pk in sealed])
    company = company_facts()
    file = content.SiteFile(
        company=company,
        site=_site_facts(site),
        period_from=first,
        period_to=last,
        made=_made(site, by=by, role=role, now=now),
        contracts=tuple(_contract(one) for one in contracts),
        zones=tuple(_zone(one) for one in _zones(period)),
        people=_people(due),
        plans=tuple(_plan(one, monitors, period) for one in plans),
        monitors=tuple(_monitor(one) for one in monitors),
        visits=tuple(
            closed_visit(
                visit,
                sealed[visit.pk],
                photos=photos,
                action_numbers={
                    str(action.finding_id): action.number for action in actions if action.finding_id
                },
            )
            if visit.pk in sealed
            else visit_not_made(visit)
            for visit in due
        ),
        other_readings=(
            *(_other_reading(one) for one in _other_readings(period)),
            *device_months(site, first, last),
        ),
        not_reached=_not_reached(visits, sealed, period),
        actions=tuple(_action(one, company.currency) for one in actions),
        documents=tuple(_document(one) for one in _documents(site, last)),
        evidence=tuple(
            _evidence(line)
            for line in evidence_of([site], {site.pk: Period(first, last)}, now=now)[site.pk]
        ),
        trail=tuple(_trail(period)),
        baiting=_bait_of(period),
        trends=replace(
            trends_of(site, first, last),
            effects=effects_of(site, first, last, by=by, now=now),
        ),
        broken_seals=tuple(broken_seals),
    )
    pictures = StoredPictures(
        photos={
            **{str(photo.pk): photo.image for photo in photos.values()},
            **{
                str(shown.photo_id): shown.photo.image
                for action in actions
                for shown in action.shown_by.all()
            },
        },
        plans={str(plan.pk): plan.image for plan in plans},
    )
    return Gathered(file, pictures)


def visit_report_of(visit: Visit, *, by: User, role: str, now: datetime) -> GatheredReport:
    """The report of one closed visit. Eight queries.

    The visit has its site, client, line and technician at hand.
    """
    site, record = visit.site, sealed_text(visit)
    photos = _photos_named(site, [record])
    numbers = CorrectiveAction.objects.filter(finding__visit=visit).values_list(
        "finding_id", "number"
    )
    read = [reading["monitor"] for reading in record["readings"]]
    monitors = Monitor.objects.filter(pk__in=read).select_related("zone", "plan")
    report = content.VisitReport(
        company=company_facts(),
        site=_site_facts(site),
        made=_made(site, by=by, role=role, now=now),
        visit=closed_visit(
            visit,
            record,
            photos=photos,
            action_numbers={str(finding): number for finding, number in numbers},
        ),
        monitors=tuple(_monitor(one) for one in monitors.order_by("number", "pk")),
    )
    pictures = StoredPictures(photos={str(photo.pk): photo.image for photo in photos.values()})
    return GatheredReport(report, pictures)


def usual_file_period(site: Site, user: User, *, now: datetime) -> Period:
    """The days that a person would ask for: an auditor's whole pass, else the last twelve months.

    One query for an auditor; where several passes name the site, the one that ends last.
    """
    if user.role == Role.AUDITOR:
        named = valid_pass_sites(user).filter(site=site).select_related("auditor_pass")
        row = named.order_by("-auditor_pass__period_to", "pk").first()
        if row is not None:
            return Period(row.auditor_pass.period_from, row.auditor_pass.period_to)
    return usual_period(site.day_of(now))


class _Period:
    """The days looked at, as dates and as the instants at which they begin and end at the site."""

    def __init__(self, site: Site, first: date, last: date) -> None:
        self.site, self.first, self.last = site, first, last
        zone = site.zone_info
        self.begins = datetime.combine(first, time.min, zone)
        self.ends = datetime.combine(last + timedelta(days=1), time.min, zone)


def company_facts() -> content.Company:
    """The service company as papers name it. One query."""
    found = Company.objects.first() or Company()
    return content.Company(
        name=found.name,
        address=found.address,
        phone=found.phone,
        email=found.email,
        registration=found.registration,
        currency=found.currency,
    )


def _site_facts(site: Site) -> content.SiteFacts:
    windows = AccessWindow.objects.filter(site=site).order_by("weekday", "opens", "pk")
    contacts = Contact.objects.filter(site=site).order_by("-is_premises_manager", "name", "pk")
    return content.SiteFacts(
        name=site.name,
        reference=site.reference,
        address=site.address,
        postcode=site.postcode,
        zone=site.time_zone,
        client=site.client.name,
        client_reference=site.client.reference,
        client_address=site.client.address,
        hazards=site.hazards,
        entry_times=tuple(str(one) for one in windows),
        contacts=tuple(
            content.ContactPerson(one.name, one.job_title, one.is_premises_manager)
            for one in contacts
        ),
    )


def _made(site: Site, *, by: User, role: str, now: datetime) -> content.Made:
    stream = TrailStream.objects.filter(key=stream_of(site)).first()
    return content.Made(
        at=now,
        by=by.name,
        role=str(Role(role).label),
        trail_length=stream.length if stream else 0,
        trail_head=stream.head if stream else "",
    )


# --- what was agreed, where, and by whom --------------------------------------------------------


def _contracts(period: _Period) -> list[Contract]:
    in_period = Q(ends_on=None) | Q(ends_on__gte=period.first)
    lines = (
        ServiceLine.objects.filter(Q(last_on=None) | Q(last_on__gte=period.first))
        .prefetch_related("competences")
        .order_by("first_on", "title", "pk")
    )
    return list(
        Contract.objects.filter(in_period, site=period.site, starts_on__lte=period.last)
        .prefetch_related(Prefetch("lines", lines))
        .order_by("starts_on", "pk")
    )


def _contract(one: Contract) -> content.Contract:
    return content.Contract(
        number=one.number,
        starts_on=one.starts_on,
        ends_on=one.ends_on,
        scope=one.scope,
        response_hours=one.response_hours,
        lines=tuple(_line(line) for line in one.lines.all()),
    )


def _line(one: ServiceLine) -> content.ServiceLine:
    return content.ServiceLine(
        title=one.title,
        kind=one.get_kind_display(),
        rule=one.rule,
        in_words=describe(one.rule, one.first_on),
        first_on=one.first_on,
        last_on=one.last_on,
        days_before=one.days_before,
        days_after=one.days_after,
        minutes=one.minutes,
        competences=_names(one),
    )


def _names(line: ServiceLine) -> tuple[str, ...]:
    return tuple(sorted(kind.name for kind in line.competences.all()))


def _zones(period: _Period) -> QuerySet[Any]:
    """Zones of the period with their counts. One query."""
    in_use = Q(checkpoints__retired_on=None)
    counts = {
        height.value: Count(
            "checkpoints", filter=in_use & Q(checkpoints__height=height), distinct=True
        )
        for height in Height
    }
    standing = Count("monitors", filter=Q(monitors__removed_on=None), distinct=True)
    return (
        Zone.objects.filter(Q(retired_on=None) | Q(retired_on__gte=period.first), site=period.site)
        .annotate(**counts, standing=standing)
        .order_by("walk_order", "name", "pk")
    )


def _zone(one: Any) -> content.Zone:
    return content.Zone(
        name=one.name,
        kind=one.get_kind_display(),
        boundary=one.get_boundary_display(),
        boundary_note=one.boundary_note,
        low=one.low,
        reach=one.reach,
        overhead=one.overhead,
        monitors=one.standing,
        retired_on=one.retired_on,
    )


def _people(visits: Sequence[Visit]) -> tuple[content.Person, ...]:
    """Who closed visits, with their competences. One query."""
    attended: dict[UUID, list[content.Attendance]] = {}
    people: dict[UUID, User] = {}
    for visit in visits:
        if visit.state != Visit.State.CLOSED or visit.technician is None:
            continue
        people[visit.technician.pk] = visit.technician
        asked = _names(visit.line) if visit.line else ()
        attended.setdefault(visit.technician.pk, []).append(
            content.Attendance(day_of_visit(visit), asked)
        )
    held: dict[UUID, list[Competence]] = {}
    found = Competence.objects.filter(person__in=list(people)).select_related("kind")
    for one in found.order_by("kind__name", "valid_from", "pk"):
        held.setdefault(one.person_id, []).append(one)
    return tuple(
        content.Person(
            name=person.name,
            role=person.get_role_display(),
            competences=tuple(
                content.Competence(
                    kind=one.kind.name,
                    number=one.number,
                    issuer=one.kind.issuer,
                    valid_from=one.valid_from,
                    valid_until=one.valid_until,
                    withdrawn_on=one.withdrawn_on,
                )
                for one in held.get(person.pk, ())
            ),
            attended=tuple(attended[person.pk]),
        )
        for person in sorted(people.values(), key=lambda person: (person.name, person.pk))
    )


# --- plan and monitors --------------------------------------------------------------------------


def _monitors(period: _Period) -> list[Monitor]:
    return list(
        Monitor.objects.filter(
            Q(removed_on=None) | Q(removed_on__gte=period.first),
            site=period.site,
            placed_on__lte=period.last,
        )
        .select_related("zone", "plan")
        .order_by("number", "pk")
    )


def _monitor(one: Monitor) -> content.Monitor:
    return content.Monitor(
        number=one.number,
        kind=one.get_kind_display(),
        kind_code=one.kind,
        zone=one.zone.name,
        place=one.place,
        label_code=one.label_code,
        placed_on=one.placed_on,
        removed_on=one.removed_on,
        plan=one.plan.title if one.plan else "",
    )


def _plans(period: _Period) -> list[SitePlan]:
    zones = Zone.objects.filter(retired_on=None).order_by("walk_order", "pk")
    return list(
        SitePlan.objects.filter(site=period.site, retired_on=None)
        .prefetch_related(Prefetch("zones", zones))
        .order_by("created_at", "pk")
    )


def _plan(plan: SitePlan, monitors: Iterable[Monitor], period: _Period) -> content.Plan:
    return content.Plan(
        title=plan.title,
        media=str(plan.pk),
        width=plan.width,
        height=plan.height,
        pins=tuple(
            content.Pin(one.number, one.kind, one.x, one.y)
            for one in monitors
            if one.plan_id == plan.pk
            and one.x is not None
            and one.y is not None
            and (one.removed_on is None or one.removed_on > period.last)
        ),
        outlines=tuple(
            content.Outline(zone.name, tuple((x, y) for x, y in zone.outline))
            for zone in plan.zones.all()
            if zone.outline
        ),
    )


# --- visits -------------------------------------------------------------------------------------


def _visits(period: _Period) -> list[Visit]:
    """Visits due in the period, and closed ones of the year before. Four queries, by due day."""
    amendments = Amendment.objects.select_related("author").order_by("number")
    earlier = Q(state=Visit.State.CLOSED, due_on__gte=period.first - LOOK_BACK)
    return list(
        Visit.objects.filter(
            Q(due_on__gte=period.first) | earlier, site=period.site, due_on__lte=period.last
        )
        .defer("office_note")
        .select_related("site", "line", "technician")
        .prefetch_related("line__competences", Prefetch("amendments", amendments))
        .order_by("due_on", "created_at", "pk")
    )


def _photos_named(site: Site, records: Iterable[Mapping[str, Any]]) -> dict[str, Photo]:
    """The photos that sealed visits speak of, by the hash as sent. One query."""
    named = set[str]().union(*(photo_hashes(record) for record in records))
    found = Photo.objects.filter(site=site, given_sha256__in=sorted(named))
    return {photo.given_sha256: photo for photo in found}


def _other_readings(period: _Period) -> QuerySet[Reading]:
    """What people read without a visit: for an import, or by hand. Two queries."""
    counts = ReadingCount.objects.select_related("pest").order_by("pest__slug")
    return (
        Reading.objects.filter(
            visit=None,
            source__in=Reading.BY_PEOPLE,
            monitor__site=period.site,
            read_on__gte=period.first,
            read_on__lte=period.last,
        )
        .select_related("monitor")
        .prefetch_related(Prefetch("counts", counts))
        .order_by("read_on", "monitor__number", "pk")
    )


def _other_reading(one: Reading) -> content.Reading:
    return content.Reading(
        monitor=one.monitor.number,
        day=one.read_on,
        condition=one.get_condition_display(),
        condition_code=one.condition,
        counts=tuple((count.pest.name, count.count) for count in one.counts.all()),
        bait_taken=one.get_bait_taken_display() if one.bait_taken else "",
        bait_code=one.bait_taken,
        stood_days=one.stood_days,
        renewed=one.renewed,
        note=one.note,
        source=one.get_source_display(),
    )


def _not_reached(
    visits: Iterable[Visit], sealed: Mapping[UUID, Mapping[str, Any]], period: _Period
) -> tuple[content.StandingNotReached, ...]:
    closed = [visit for visit in visits if visit.pk in sealed]
    in_order = sorted(closed, key=lambda visit: (visit.closed_at or period.begins, visit.pk))
    said = (
        mention for visit in in_order for mention in mentions(sealed[visit.pk], day_of_visit(visit))
    )
    return tuple(spells(said, first=period.first, last=period.last))


# --- what followed ------------------------------------------------------------------------------


def _actions(period: _Period) -> list[CorrectiveAction]:
    """Actions raised by the end of the period and not over before it began. Six queries."""
    over = Q(checked_at__lt=period.begins) | Q(withdrawn_at__lt=period.begins)
    return list(
        CorrectiveAction.objects.filter(site=period.site, raised_at__lt=period.ends)
        .exclude(over)
        .defer("internal_note")
        .select_related("zone", "visit__site", "raised_by", "done_by", "accepted_by", "checked_by")
        .prefetch_related(
            Prefetch("options", ActionOption.objects.order_by("position", "created_at", "pk")),
            Prefetch("decisions", Decision.objects.select_related("option").order_by("revision")),
            Prefetch("gaps", SealedGap.objects.order_by("attempt", "position", "pk")),
            Prefetch("sign_offs", SignOff.objects.order_by("at", "pk")),
            Prefetch(
                "shown_by",
                ActionPhoto.objects.select_related("photo").order_by("moment", "photo_id"),
            ),
        )
        .order_by("number", "pk")
    )


def _action(one: CorrectiveAction, currency: str) -> content.Action:
    options = list(one.options.all())
    decisions = list(one.decisions.all())
    chosen = {decision.option_id for decision in decisions}
    standing = [option for option in options if option.withdrawn_at is None]
    comparison = compare(
        [way_of(option) for option in standing if has_a_price(option)], years=USUAL_YEARS
    )
    totals = {line.way.key: line.total for line in comparison.lines}
    return content.Action(
        number=one.number,
        title=one.title,
        kind=one.get_kind_display(),
        zone=one.zone.name if one.zone else "",
        whose_move=one.get_whose_move_display(),
        state=one.get_state_display(),
        is_open=one.state in CorrectiveAction.OPEN_STATES,
        raised_at=one.raised_at,
        due_on=one.due_on,
        detail=one.detail,
        declined=one.declined,
        raised_by=one.raised_by.name if one.raised_by else "",
        from_visit_on=day_of_visit(one.visit) if one.visit else None,
        revision=one.revision,
        done_at=one.done_at,
        done_by=one.done_by.name if one.done_by else "",
        done_note=one.done_note,
        accepted_at=one.accepted_at,
        accepted_by=one.accepted_by.name if one.accepted_by else "",
        sent_back_at=one.reopened_at,
        sent_back_reason=one.reopened_reason,
        attempt=one.attempt,
        gaps=tuple(
            content.Gap(
                place=gap.place,
                material=gap.material,
                before_mm=gap.before_mm,
                after_mm=gap.after_mm,
                keeps_out=gap.get_risk_display(),
                attempt=gap.attempt,
            )
            for gap in one.gaps.all()
        ),
        checked_at=one.checked_at,
        checked_by=one.checked_by.name if one.checked_by else "",
        check_note=one.check_note,
        withdrawn_reason=one.withdrawn_reason,
        break_even=break_even_in_words(comparison, currency),
        options=tuple(
            content.Option(
                kind=f"{option.position}. {option.get_kind_display()}",
                description=option.description,
                cost_once=option.cost_once,
                cost_monthly=option.cost_monthly,
                life_years=option.life_years,
                remaining_risk=option.remaining_risk,
                over_years=(
                    ((USUAL_YEARS, totals[str(option.pk)]),) if str(option.pk) in totals else ()
                ),
                chosen=option.pk in chosen,
                withdrawn=option.withdrawn_at is not None,
            )
            for option in options
        ),
        decisions=tuple(
            content.Decision(
                revision=decision.revision,
                outcome=decision.get_outcome_display(),
                option=str(decision.option) if decision.option else "",
                reason=decision.reason,
            )
            for decision in decisions
        ),
        sign_offs=tuple(_sign_off(sign_off) for sign_off in one.sign_offs.all()),
        photos=tuple(
            content.Photo(
                str(shown.photo_id),
                f"{shown.get_moment_display()} the work",
                shown.photo.sha256,
            )
            for shown in one.shown_by.all()
        ),
    )


def _sign_off(one: SignOff) -> content.SignOff:
    return content.SignOff(
        name=one.person_name,
        role=one.person_role,
        meaning=one.get_meaning_display(),
        at=one.at,
        zone=one.zone,
        method=one.method.replace("_", " "),
        content_hash=one.content_hash,
        trouble="" if is_whole(one) else "The signed text no longer fits its hash.",
    )


# --- proof --------------------------------------------------------------------------------------


def _documents(site: Site, today: date) -> QuerySet[Document]:
    return documents_listed(documents_shown_at(Document.objects.all(), site), today)


def _document(one: Document) -> content.Document:
    belongs_to = "Site" if one.site_id else "Client" if one.client_id else "Service company"
    return content.Document(
        kind=one.get_kind_display(),
        title=one.title,
        belongs_to=belongs_to,
        issued_on=one.issued_on,
        expires_on=one.expires_on,
        sha256=one.sha256,
    )


def _bait_of(period: _Period) -> content.Baiting | None:
    """How rodent bait stood at the end of the period; nothing where none ever lay. Four queries."""
    found = baiting_on(period.site, period.last)
    if not (found.points or found.unnumbered):
        return None
    return content.Baiting(
        words=found.state.words,
        points=tuple(_bait_point(one, period) for one in found.points),
        reviews=tuple(
            content.BaitReview(
                one.reviewed_on, one.get_outcome_display(), one.cause, one.reviewed_by.name
            )
            for one in reversed(found.reviews)
            if one.reviewed_on >= period.first
        ),
        unnumbered=found.unnumbered,
    )


def _bait_point(one: BaitPoint, period: _Period) -> content.BaitPoint:
    lines = [line for line in one.state.lines if line.on >= period.first]
    gone = one.monitor.removed_on
    return content.BaitPoint(
        number=one.monitor.number,
        zone=one.monitor.zone.name,
        place=one.monitor.place,
        laid=grams(sum((line.laid for line in lines), Fraction(0))),
        taken=grams(sum((line.taken for line in lines), Fraction(0))),
        lifted=grams(sum((line.lifted for line in lines), Fraction(0))),
        lies=one.balance_g,
        since=one.state.open_since,
        taken_away_on=None if gone is None or gone > period.last else gone,
    )


def _evidence(line: Line) -> content.Evidence:
    return content.Evidence(
        item=line.item.title,
        asked_by=tuple(str(source) for source in line.item.sources),
        standing=line.standing,
        asks=line.item.asks,
        note=line.why,
        anchor=ANCHORS.get(SECTIONS.get(line.item.key, ""), ""),
    )


def _trail(period: _Period) -> Iterable[content.TrailEntry]:
    """The entries of the site's own chain in the period. One query."""
    sentences = declared()
    found = TrailEntry.objects.filter(
        stream=stream_of(period.site), at__gte=period.begins, at__lt=period.ends
    ).exclude(verb__in=LEFT_OUT_OF_PAPERS)
    for entry in found.order_by("number"):
        yield content.TrailEntry(
            number=entry.number,
            at=entry.at,
            who=entry.actor_name,
            role=entry.actor_role,
            sentence=sentences.get(entry.verb, entry.verb),
            target=entry.target_label,
            facts="; ".join(
                f"{words}: {entry.facts[name]}"
                for name, words in SHOWN_FACTS.items()
                if entry.facts.get(name)
            ),
            seal=entry.seal,
        )
