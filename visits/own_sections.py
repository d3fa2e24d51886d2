"""The sections that this room adds to a site's page: what recurs, what was seen."""

from collections.abc import Mapping
from typing import Any

from django.utils import timezone

from accounts.models import Company, Role, User
from sites.access import contracts_visible_to
from sites.models import Monitor, Site
from sites.own_sections import KNOWS_THE_PRICES, KNOWS_THE_TERMS
from sites.site_sections import Section, register, register_for_monitor
from visits.access import follow_ups_visible_to
from visits.models import FollowUp
from visits.queries.baiting import site_baiting, was_baited
from visits.queries.follow_ups import follow_ups_listed
from visits.queries.monitor_readings import history_of, latest_catches, reported_up_to
from visits.queries.not_reached import standing_at
from visits.queries.site_visits import coming_days, coming_visits, lines_at, past_visits
from visits.recurrence.words import describe

SHOWN_LINES = 30
SHOWN_VISITS = 8
SHOWN_PLACES = 30
SHOWN_CATCHES = 10
SHOWN_READINGS = 36

SHOWN_FOLLOW_UPS = 6

PLANS = frozenset({Role.OFFICE})
PLANS_OR_GOES = frozenset({Role.OFFICE, Role.TECHNICIAN})


def service_lines(site: Site, user: User) -> Mapping[str, Any]:
    """What recurs, in words, and when it next does. Three queries, four for the office."""
    now = timezone.now()
    today = site.day_of(now)
    found = list(lines_at(user, site, now)[: SHOWN_LINES + 1])
    prices = user.role in KNOWS_THE_PRICES
    company = Company.objects.first() if prices else None
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
        "prices": prices,
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
    return {
        "shown": latest_catches(user, site, SHOWN_CATCHES),
        "may_enter": user.is_office,
        "may_type": user.is_office and site.closed_on is None,
    }


def not_reached(site: Site, user: User) -> Mapping[str, Any]:
    """What still waits to be reached, since when, and whose move it is. One query."""
    today = site.day_of(timezone.now())
    found = standing_at(site, user, today=today)
    return {"shown": found[:SHOWN_PLACES], "more": max(0, len(found) - SHOWN_PLACES)}


def follow_ups(site: Site, user: User) -> Mapping[str, Any] | None:
    """When somebody should look again and nobody has answered; nothing if none. One query."""
    waiting = follow_ups_visible_to(user).filter(visit__site=site)
    listed = follow_ups_listed(waiting, state=FollowUp.State.PROPOSED)
    found = list(listed[: SHOWN_FOLLOW_UPS + 1])
    if not found:
        return None
    return {
        "follow_ups": found[:SHOWN_FOLLOW_UPS],
        "more": len(found) > SHOWN_FOLLOW_UPS,
        "next_url": site.get_absolute_url(),
    }


def bait(site: Site, user: User) -> Mapping[str, Any] | None:
    """How rodent bait stands here; nothing where none was ever laid. Four queries at most.

    Who only reads is told that there is some and finds the rest on its own page: one query.
    """
    if user.role not in PLANS_OR_GOES:
        return {"baiting": None} if was_baited(site, user) else None
    found = site_baiting(site, user, timezone.now())
    return {"baiting": found} if found.points or found.unnumbered else None


def monitor_history(monitor: Monitor, user: User) -> Mapping[str, Any]:
    """What one monitor showed, visit by visit, and when it could not be read. Four queries."""
    return {
        "shown": history_of(user, monitor, SHOWN_READINGS),
        "reported_up_to": reported_up_to(user, monitor),
    }


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
        Section(
            "follow-ups",
            "Follow-ups to answer",
            620,
            "visits/sections/follow_ups.html",
            follow_ups,
            PLANS,
        )
    )
    register(
        Section("not-reached", "Not reached", 700, "visits/sections/not_reached.html", not_reached)
    )
    register(Section("bait", "Bait", 920, "visits/sections/bait.html", bait))
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
