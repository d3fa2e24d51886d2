"""The sections that this room adds to a site's page: what recurs, what was seen."""

from collections.abc import Mapping
from typing import Any

from django.utils import timezone

from accounts.models import Company, Role, User
from sites.access import contracts_visible_to
from sites.models import Monitor, Site
from sites.own_sections import KNOWS_THE_PRICES, KNOWS_THE_TERMS
from sites.site_sections import Section, register, register_for_monitor
from visits.queries.monitor_readings import history_of, latest_catches
from visits.queries.not_reached import standing_at
from visits.queries.site_visits import coming_days, coming_visits, lines_at, past_visits
from visits.recurrence.words import describe

SHOWN_LINES = 30
SHOWN_VISITS = 8
SHOWN_PLACES = 30
SHOWN_CATCHES = 10
SHOWN_READINGS = 36

PLANS_OR_GOES = frozenset({Role.OFFICE, Role.TECHNICIAN})


def service_lines(site: Site, user: User) -> Mapping[str, Any]:
    """What recurs, in words, and when it next does. Three queries, four for the office."""
    now = timezone.now()
    today = site.day_of(now)
    found = list(lines_at(user, site, now)[: SHOWN_LINES + 1])
    company = Company.objects.first()
    return {
        "lines": [
            {
                "line": line,
                "words": describe(line.rule, line.first_on),
                "next_on": line.next_on,  # type: ignore[attr-defined]  # by lines_at
                "ended": bool(line.last_on and line.last_on < today),
            }
            for line in found[:SHOWN_LINES]
        ],
        "more": len(found) > SHOWN_LINES,
        "prices": user.role in KNOWS_THE_PRICES,
        "currency": company.currency if company else "GBP",
        "may_keep": user.is_office and site.closed_on is None,
        "contracts": contracts_visible_to(user).filter(site=site).order_by("-starts_on", "pk")
        if user.is_office
        else [],
    }


def visits(site: Site, user: User) -> Mapping[str, Any]:
    """What comes and what was, the first few of each. Two queries, and those of the rights.

    A client's manager sees on which days somebody comes, and opens what was closed; an auditor sees
    what was.
    """
    now = timezone.now()
    opens_all = user.role in PLANS_OR_GOES
    past = list(past_visits(user, site)[: SHOWN_VISITS + 1])
    return {
        "coming": coming_visits(user, site, now, SHOWN_VISITS) if opens_all else [],
        "days": coming_days(site, now, SHOWN_VISITS) if user.is_client_manager else [],
        "looks_ahead": not user.is_auditor,
        "past": past[:SHOWN_VISITS],
        "more": len(past) > SHOWN_VISITS,
        "may_plan": user.is_office and site.closed_on is None,
        "may_ask": user.is_client_manager and site.closed_on is None,
        "today": site.day_of(now),
    }


def readings(site: Site, user: User) -> Mapping[str, Any]:
    """The last readings that showed something. Two queries."""
    return {"shown": latest_catches(user, site, SHOWN_CATCHES)}


def not_reached(site: Site, user: User) -> Mapping[str, Any]:
    """What still waits to be reached, since when, and whose move it is. One query."""
    today = site.day_of(timezone.now())
    found = standing_at(site, user, today=today)
    return {"shown": found[:SHOWN_PLACES], "more": max(0, len(found) - SHOWN_PLACES)}


def monitor_history(monitor: Monitor, user: User) -> Mapping[str, Any]:
    """What one monitor showed, visit by visit, and when it could not be read. Three queries."""
    return {"shown": history_of(user, monitor, SHOWN_READINGS)}


def register_own() -> None:
    """Add them to the page; called once, when the apps are ready."""
    register(
        Section(
            "service-lines",
            "Service lines",
            250,
            "visits/sections/lines.html",
            service_lines,
            visible_to=KNOWS_THE_TERMS,
        )
    )
    register(Section("visits", "Visits", 600, "visits/sections/visits.html", visits))
    register(
        Section("not-reached", "Not reached", 700, "visits/sections/not_reached.html", not_reached)
    )
    register(Section("readings", "Readings", 900, "visits/sections/readings.html", readings))
    register_for_monitor(
        Section(
            "readings",
            "What it showed",
            200,
            "visits/sections/monitor_history.html",
            monitor_history,
        )
    )
