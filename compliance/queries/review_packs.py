"""A client's quarter, gathered site by site for the review page and the pack that says the same."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date, datetime, time
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Exists, F, OuterRef, Q, QuerySet

from accounts.models import Client, Role, User
from compliance.models import Alarm, CorrectiveAction, Decision, PlaceMonth
from compliance.quarters import Quarter
from compliance.queries.savings import Sealed, savings_at
from compliance.queries.site_file import company_facts
from compliance.queries.trends import first_of, moved, trend_rates, way_of
from compliance.sitefile import content, review
from compliance.sitefile.judging import total_coverage
from compliance.sitefile.words import counted
from compliance.trends.rates import PER
from compliance.trends.trend import YEAR, trend_of
from sites.models import Site
from visits.coverage import from_counts
from visits.models import Visit
from visits.queries.not_reached import Standing, standing_at_each

PICTURED = YEAR
"""Months of a site's picture; its words look back on two years."""

WHOLE_SITE = "Whole site"


def sites_of_quarter(sites: QuerySet[Site], quarter: Quarter) -> QuerySet[Site]:
    """Those of some sites that were open on a day of the quarter, by name."""
    return sites.filter(Q(closed_on=None) | Q(closed_on__gte=quarter.first)).order_by("name", "pk")


def review_of(
    client: Client, sites: Sequence[Site], quarter: Quarter, *, by: User, now: datetime
) -> review.Review:
    """The quarter of a client at these sites, in their order, as all stood at ``now``.

    About twenty queries, however many sites.
    """
    company = company_facts()
    visits = _visits(sites, quarter)
    standing = standing_at_each(sites, now)
    pictures = _pictures(sites, quarter, now)
    alarms = _alarms(sites, quarter)
    decided = _decided(sites, quarter)
    outstanding = _outstanding(sites)
    savings = savings_at(sites, currency=company.currency, now=now)
    return review.Review(
        company=company,
        client=client.name,
        quarter=str(quarter),
        first=quarter.first,
        last=quarter.last,
        made=content.Made(
            at=now, by=by.name, role=str(Role(by.role).label), trail_length=0, trail_head=""
        ),
        time_zone=sites[0].time_zone if sites else by.time_zone,
        sites=tuple(
            _site(
                site,
                now=now,
                visits=visits[site.pk],
                picture=pictures[site.pk],
                standing=standing[site.pk],
                decided=decided[site.pk],
                outstanding=outstanding[site.pk],
                sealed=savings.of_site.get(site.pk, ()),
                alarms=alarms[site.pk],
            )
            for site in sites
        ),
        saved=savings.words,
    )


def _site(
    site: Site,
    *,
    now: datetime,
    visits: Sequence[content.Visit],
    picture: tuple[review.Picture | None, str],
    standing: Iterable[Standing],
    decided: Iterable[Decision],
    outstanding: Iterable[CorrectiveAction],
    sealed: Iterable[Sealed],
    alarms: Iterable[Alarm],
) -> review.SiteReview:
    today = site.day_of(now)
    return review.SiteReview(
        site_id=str(site.pk),
        name=site.name,
        zone=site.time_zone,
        kept=review.kept_of(visits, site.time_zone, today),
        coverage=total_coverage(visits),
        picture=picture[0],
        picture_words=picture[1],
        not_reached=tuple(_unreached(one) for one in standing),
        decided=tuple(_decision(one, site) for one in decided),
        outstanding=tuple(_waiting(one, site, today) for one in outstanding),
        sealed=tuple(_work(one) for one in sealed),
        alarms=tuple(_alarm(one) for one in alarms),
    )


# --- visits -------------------------------------------------------------------------------------

_OUTCOMES = {
    Visit.State.CLOSED: content.Outcome.CLOSED,
    Visit.State.MISSED: content.Outcome.MISSED,
    Visit.State.CALLED_OFF: content.Outcome.CALLED_OFF,
}


def _visits(sites: Sequence[Site], quarter: Quarter) -> Mapping[UUID, list[content.Visit]]:
    """Visits whose due window ends in the quarter, as far as being in time goes. One query."""
    rows = Visit.objects.filter(
        site__in=sites, closes_on__gte=quarter.first, closes_on__lte=quarter.last
    ).order_by("closes_on", "pk")
    found: dict[UUID, list[content.Visit]] = defaultdict(list)
    for row in rows.defer("sealed_record"):
        tally = from_counts(row.coverage or {})
        found[row.site_id].append(
            content.Visit(
                outcome=_OUTCOMES.get(Visit.State(row.state), content.Outcome.OPEN),
                state=row.get_state_display(),
                kind=row.get_kind_display(),
                due_on=row.due_on,
                opens_on=row.opens_on,
                closes_on=row.closes_on,
                started_at=row.started_at,
                closed_at=row.closed_at,
                respond_by=row.respond_by,
                coverage=content.Coverage(
                    checkpoints_due=tally.checkpoints.due,
                    checkpoints_looked=tally.checkpoints.looked,
                    monitors_due=tally.monitors.due,
                    monitors_read=tally.monitors.looked,
                ),
            )
        )
    return found


def _unreached(one: Standing) -> review.Unreached:
    last = one.last
    return review.Unreached(
        zone=last.zone.name,
        what=str(last.checkpoint or last.monitor or "The whole zone"),
        reason=last.get_reason_display(),
        whose_move=last.get_whose_move_display(),
        since=one.since,
        days=one.days,
        times=one.times,
    )


# --- what the monitors say ----------------------------------------------------------------------


def _pictures(
    sites: Sequence[Site], quarter: Quarter, now: datetime
) -> Mapping[UUID, tuple[review.Picture | None, str]]:
    """One picture for each site, or words where there is none. One query.

    A site is read as a whole; one that is judged as a single zone as that zone.
    """
    last = min(first_of(quarter.last), first_of(now.date()))
    whole = PlaceMonth.objects.filter(site=OuterRef("site"), pest=OuterRef("pest"), zone=None)
    rows = (
        PlaceMonth.objects.filter(
            Q(zone=None) | ~Exists(whole),
            site__in=sites,
            month__gt=moved(last, -2 * YEAR),
            month__lte=last,
        )
        .select_related("pest")
        .order_by("month", "pk")
    )
    of_site: dict[UUID, dict[UUID, list[PlaceMonth]]] = defaultdict(lambda: defaultdict(list))
    for row in rows:
        of_site[row.site_id][row.pest_id].append(row)
    return {site.pk: _picture(of_site[site.pk].values(), quarter, last) for site in sites}


def _picture(
    pests: Collection[list[PlaceMonth]], quarter: Quarter, last: date
) -> tuple[review.Picture | None, str]:
    """The pest that says most: alarms in the quarter first, then what was caught in it, then in
    the year."""
    since = moved(last, 1 - PICTURED)
    recent = [[one for one in some if one.month >= since] for some in pests]
    read = [some for some in recent if any(one.half_days for one in some)]
    if not read:
        return None, "Nothing was counted in the year to the end of the quarter."
    caught = [some for some in read if any(one.count for one in some)]
    if not caught:
        days = max(sum(one.trap_days for one in some) for some in read)
        return None, f"None was caught in {days:,.0f} trap-days of the year to the quarter's end."

    def says(some: list[PlaceMonth]) -> tuple[int, int, int, str]:
        inside = [one for one in some if one.month >= quarter.first]
        alarms = sum(one.state == PlaceMonth.State.ALARM for one in inside)
        return (
            -alarms,
            -sum(one.count for one in inside),
            -sum(one.count for one in some),
            some[0].pest.name,
        )

    chosen = min(caught, key=says)
    others = sorted(some[0].pest.name for some in caught if some is not chosen)
    return _drawn(chosen, pests, quarter, last), _others_words(others)


def _others_words(others: Sequence[str]) -> str:
    return f"Also caught in the year: {', '.join(others)}." if others else ""


def _drawn(
    chosen: list[PlaceMonth], pests: Collection[list[PlaceMonth]], quarter: Quarter, last: date
) -> review.Picture:
    pest = chosen[0].pest
    whole = next(some for some in pests if some[0].pest_id == pest.pk)
    sums = {one.month: (one.count, one.half_days) for one in whole}
    inside = [one for one in chosen if one.month >= quarter.first]
    days = sum(one.half_days for one in inside) / 2
    caught = sum(one.count for one in inside)
    rate = f", {PER * caught / days:.1f} per 100 trap-days" if days else ""
    way = {"rising": "rising", "falling": "falling"}.get(
        way_of(trend_of(trend_rates(sums, last))), "trend not known"
    )
    return review.Picture(
        pest=pest.name,
        months=tuple(
            content.TrendMonth(
                month=one.month,
                count=one.count,
                trap_days=one.trap_days,
                state=one.state,
                at_least=one.at_least,
                centre=one.centre,
                limit=None,
                allows=one.allows,
            )
            for one in chosen
        ),
        words=f"{counted(caught, 'individual')} in the quarter{rate}; {way}.",
    )


def _alarms(sites: Sequence[Site], quarter: Quarter) -> Mapping[UUID, list[Alarm]]:
    """Alarms of the quarter's months; those that later readings took back never were. One query."""
    rows = (
        Alarm.objects.filter(site__in=sites, month__gte=quarter.first, month__lte=quarter.last)
        .exclude(state=Alarm.State.GONE)
        .select_related("zone", "pest")
        .order_by("month", F("zone__walk_order").asc(nulls_first=True), "pest__name", "pk")
    )
    found: dict[UUID, list[Alarm]] = defaultdict(list)
    for row in rows:
        found[row.site_id].append(row)
    return found


def _alarm(one: Alarm) -> review.Raised:
    return review.Raised(
        month=one.month,
        zone=one.zone.name if one.zone else WHOLE_SITE,
        pest=one.pest.name,
        words=one.words,
        is_open=one.state == Alarm.State.OPEN,
        explanation=one.explanation,
    )


# --- what was decided ---------------------------------------------------------------------------


def _decided(sites: Sequence[Site], quarter: Quarter) -> Mapping[UUID, list[Decision]]:
    """Decisions signed within the quarter by each site's calendar, oldest first. One query."""
    known = {site.pk: site for site in sites}
    zones = {site.zone_info for site in sites} or {ZoneInfo("UTC")}
    begins = min(datetime.combine(quarter.first, time.min, zone) for zone in zones)
    ends = max(datetime.combine(quarter.after, time.min, zone) for zone in zones)
    rows = (
        Decision.objects.filter(
            action__site__in=sites, sign_off__at__gte=begins, sign_off__at__lt=ends
        )
        .select_related("action", "option", "sign_off")
        .order_by("sign_off__at", "pk")
    )
    found: dict[UUID, list[Decision]] = defaultdict(list)
    for row in rows:
        site = known[row.action.site_id]
        if quarter.first <= site.day_of(row.sign_off.at) <= quarter.last:
            found[site.pk].append(row)
    return found


def _decision(one: Decision, site: Site) -> review.Decided:
    action = one.action
    return review.Decided(
        action_id=str(action.pk),
        number=action.number,
        title=action.title,
        outcome=one.get_outcome_display(),
        option=one.option.get_kind_display() if one.option else "",
        reason=one.reason,
        by=one.sign_off.person_name,
        on=site.day_of(one.sign_off.at),
        state=(
            "Other options came later"
            if one.revision != action.revision
            else "The risk is carried"
            if action.declined
            else action.get_state_display()
        ),
    )


def _outstanding(sites: Sequence[Site]) -> Mapping[UUID, list[CorrectiveAction]]:
    """Options that wait for the client's word now, longest first. One query."""
    rows = (
        CorrectiveAction.objects.filter(site__in=sites, state=CorrectiveAction.State.PRICED)
        .select_related("asked")
        .order_by("priced_at", "pk")
    )
    found: dict[UUID, list[CorrectiveAction]] = defaultdict(list)
    for row in rows:
        found[row.site_id].append(row)
    return found


def _waiting(one: CorrectiveAction, site: Site, today: date) -> review.Outstanding:
    since = site.day_of(one.priced_at or one.raised_at)
    return review.Outstanding(
        action_id=str(one.pk),
        number=one.number,
        title=one.title,
        since=since,
        days=(today - since).days,
        due_on=one.due_on,
        asked=one.asked.name if one.asked else "",
    )


def _work(one: Sealed) -> review.SealedWork:
    return review.SealedWork(
        action_id=str(one.action.pk),
        number=one.action.number,
        title=one.action.title,
        zone=one.action.zone.name if one.action.zone else WHOLE_SITE,
        on=one.on,
        state=one.state_words,
        words=one.words,
    )
