"""Pages of trends: the company's alarms, a site's picture, and one place and pest at large."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any
from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from accounts.access import require_office
from accounts.http import PersonRequest
from accounts.sheets import csv_answer
from compliance.access import alarms_visible_to, may_review
from compliance.drawn import drawn
from compliance.forms import FilterAlarms, LookOverMonths
from compliance.models import Alarm, JudgedMonth
from compliance.queries import trends as queries
from compliance.queries.effects import Helped, effects_at
from compliance.trends.drawing import Mark, place_chart, small_chart
from sites.access import sites_visible_to, zones_visible_to
from sites.models import Site, Zone
from visits.models import Pest

ALARMS_PER_PAGE = 25
CHARTS_PER_PAGE = 24
EFFECTS_SHOWN = 12
ALARMS_HEADER = (
    "client",
    "site",
    "zone",
    "pest",
    "month",
    "state",
    "what was compared",
    "chance",
    "look first at",
    "explanation",
)
MONTHS_HEADER = (
    "zone",
    "pest",
    "month",
    "count",
    "trap-days",
    "per 100 trap-days",
    "at least",
    "state",
    "usual per 100",
    "alarm from count",
    "allows per 100",
)


# --- the company --------------------------------------------------------------------------------


def _filtered(request: PersonRequest) -> tuple[FilterAlarms, list[JudgedMonth], Any]:
    judged = queries.judged_months()
    form = FilterAlarms(request.GET, judged=judged, sites=sites_visible_to(request.user))
    listed = queries.alarms_listed(alarms_visible_to(request.user), **form.wanted())
    return form, judged, listed


@require_GET
def trends(request: PersonRequest) -> HttpResponse:
    """The office: which of all places need a human, out of how many that were looked at."""
    require_office(request.user)
    form, judged, listed = _filtered(request)
    page = Paginator(listed, ALARMS_PER_PAGE).get_page(request.GET.get("page"))
    alarms = list(page.object_list)
    pointed = queries.pointed_at(alarms, request.user)
    month = form.wanted()["month"]
    context = {
        "form": form,
        "page": page,
        "alarms": [
            {
                "alarm": alarm,
                "url": queries.place_address(alarm.site_id, alarm.pest.slug, alarm.zone_id),
                "month": queries.month_words(alarm.month),
                "one_in": _one_in(alarm.chance),
                "pointed": pointed[alarm.pk],
            }
            for alarm in alarms
        ],
        **_around(judged, month),
        "open_before": _open_before(request, month),
    }
    return render(request, "compliance/trends.html", context)


def _around(judged: Sequence[JudgedMonth], month: date | None) -> dict[str, Any]:
    """The month that is looked at, with the ones before and after it; none for all months."""
    days = [one.month for one in judged]
    if month not in days:
        return {"judged": None, "any_judged": bool(judged)}
    at = days.index(month)
    return {
        "judged": judged[at],
        "any_judged": True,
        "month_words": queries.month_words(judged[at].month),
        "later": _step(judged[at - 1]) if at else None,
        "earlier": _step(judged[at + 1]) if at + 1 < len(judged) else None,
    }


def _step(one: JudgedMonth) -> dict[str, str]:
    return {"key": queries.month_key(one.month), "words": queries.month_words(one.month)}


def _open_before(request: PersonRequest, month: date | None) -> int:
    """How many alarms of earlier months nobody has explained. One query."""
    if month is None:
        return 0
    alarms = alarms_visible_to(request.user).filter(state=Alarm.State.OPEN, month__lt=month)
    return alarms.count()


def _one_in(chance: float) -> str:
    """How likely so much is by chance, in whole figures: "1 in 2,400"."""
    if chance <= 1e-6:
        return "less than 1 in 1,000,000"
    figure = round(1 / chance)
    return f"about 1 in {round(figure, min(0, 2 - len(str(figure)))):,}"


@require_GET
def trends_csv(request: PersonRequest) -> StreamingHttpResponse:
    """The same alarms, whole, as CSV."""
    require_office(request.user)
    _, _, listed = _filtered(request)
    return csv_answer("alarms", ALARMS_HEADER, _alarm_lines(list(listed), request))


def _alarm_lines(alarms: Sequence[Alarm], request: PersonRequest) -> Iterator[list[Any]]:
    pointed = queries.pointed_at(alarms, request.user)
    for alarm in alarms:
        yield [
            alarm.site.client.name,
            alarm.site.name,
            alarm.zone.name if alarm.zone else queries.WHOLE_SITE,
            alarm.pest.name,
            queries.month_key(alarm.month),
            alarm.get_state_display(),
            alarm.words,
            alarm.chance,
            ", ".join(str(one.monitor.number) for one in pointed[alarm.pk]),
            alarm.explanation,
        ]


# --- a site -------------------------------------------------------------------------------------


def _site(request: PersonRequest, site_id: UUID) -> Site:
    sites = sites_visible_to(request.user).select_related("client")
    return get_object_or_404(sites, pk=site_id)


@require_GET
def site_trends(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """A site's picture: in words first, then a small chart for each zone and pest."""
    site = _site(request, site_id)
    form = LookOverMonths(request.GET)
    months = form.wanted()
    picture = queries.site_picture(site, request.user, months=months, now=timezone.now())
    only = request.GET.get("pest", "")
    places = [one for one in picture.places if not only or one.pest.slug == only]
    page = Paginator(places, CHARTS_PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "site": site,
        "form": form,
        "months": months,
        "periods": LookOverMonths.PERIODS,
        "picture": picture,
        "first_words": queries.month_words(picture.first),
        "last_words": queries.month_words(picture.last),
        "begins_words": queries.month_words(picture.begins) if picture.begins else "",
        "only": next((one.pest for one in picture.pests if one.pest.slug == only), None),
        "page": page,
        "charts": [
            {
                "place": place,
                "url": queries.place_address(site.pk, place.pest.slug, place.zone_id),
                "chart": drawn(
                    small_chart(place.small_points, title=place.title, name=f"place-{number}")
                ),
            }
            for number, place in enumerate(page, 1)
        ],
        **(_effects_shown(effects_at(site, request.user)) if picture.pests else {}),
    }
    return render(request, "compliance/site_trends.html", context)


def _effects_shown(effects: Sequence[Helped]) -> dict[str, Any]:
    """The latest few; the page of a zone shows its own."""
    return {
        "effects": effects[:EFFECTS_SHOWN],
        "more_effects": max(0, len(effects) - EFFECTS_SHOWN),
    }


@require_GET
def site_trends_csv(request: PersonRequest, site_id: UUID) -> StreamingHttpResponse:
    """Every month of every place of a site's picture, as CSV."""
    site = _site(request, site_id)
    months = LookOverMonths(request.GET).wanted()
    picture = queries.site_picture(site, request.user, months=months, now=timezone.now())
    return csv_answer(f"trends {site.name}", MONTHS_HEADER, _month_lines(picture.places))


def _month_lines(places: Sequence[queries.Place]) -> Iterator[list[Any]]:
    for place in places:
        for one in place.months:
            yield [
                place.zone_name,
                place.pest.name,
                queries.month_key(one.month),
                one.count if one.half_days else None,
                one.trap_days,
                _rounded(one.per_100),
                "yes" if one.at_least else "",
                one.state_words,
                _rounded(one.centre),
                one.alarm_at,
                _rounded(one.allows),
            ]


def _rounded(figure: float | None) -> float | None:
    return None if figure is None else round(figure, 3)


# --- one place ----------------------------------------------------------------------------------


@require_GET
def place_trend(
    request: PersonRequest, site_id: UUID, pest_slug: str, zone_id: UUID | None = None
) -> HttpResponse:
    """One zone, or the whole site, and pest: the chart, what was judged, and what was done."""
    site = _site(request, site_id)
    zone = _zone(request, site, zone_id) if zone_id else None
    pest = get_object_or_404(Pest.counted, slug=pest_slug)
    form = LookOverMonths(request.GET)
    months, now = form.wanted(), timezone.now()
    picture = queries.place_picture(site, zone, pest, request.user, months=months, now=now)
    context: dict[str, Any] = {
        "site": site,
        "zone": zone,
        "pest": pest,
        "title": f"{zone.name if zone else queries.WHOLE_SITE}, {pest.name}",
        "form": form,
        "months": months,
        "periods": LookOverMonths.PERIODS,
        "picture": picture,
    }
    if picture:
        context |= _place_context(request, site, zone, pest, picture.place)
    return render(request, "compliance/place_trend.html", context)


def _zone(request: PersonRequest, site: Site, zone_id: UUID) -> Zone:
    return get_object_or_404(zones_visible_to(request.user), pk=zone_id, site=site)


def _place_context(
    request: PersonRequest, site: Site, zone: Zone | None, pest: Pest, place: queries.Place
) -> Mapping[str, Any]:
    first, last = place.months[0].month, place.months[-1].month
    marks = queries.marks_of(site, zone, pest, request.user, first=first, last=last)
    alarms = queries.alarms_at(site, zone, pest, request.user)
    return {
        "first_words": queries.month_words(first),
        "last_words": queries.month_words(last),
        "chart": drawn(place_chart(place.points, marks, title=place.title, name="place")),
        "marks": marks,
        "treated": _has_treatments(marks),
        "alarms": [{"alarm": alarm, "month": queries.month_words(alarm.month)} for alarm in alarms],
        "may_review": bool(alarms) and may_review(request.user, site),
        "monitors": queries.monitor_rates(site, zone, pest, months=place.months),
        "newest_first": list(reversed(place.months)),
        **_effects_shown(effects_at(site, request.user, zone=zone, pest=pest)),
    }


def _has_treatments(marks: Sequence[Mark]) -> bool:
    return any(one.kind == "treatment" for one in marks)
