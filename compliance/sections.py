"""The sections that this room adds to the page of a site, of a monitor and of a visit."""

from collections.abc import Mapping
from typing import Any

from django.db.models import Count, Q
from django.utils import timezone

from accounts.models import Role, User
from compliance.access import actions_visible_to
from compliance.drawn import drawn
from compliance.models import CorrectiveAction
from compliance.queries.actions import actions_listed, moves_of
from compliance.queries.effects import effects_at
from compliance.queries.looks import looks_at
from compliance.queries.trends import monitor_months, standings_of
from compliance.queries.work import ROUND_KINDS, jobs_of, order_of, to_check_at
from compliance.trends.drawing import small_chart
from sites.models import Monitor, Site
from sites.site_sections import Section, register, register_for_monitor
from visits import visit_sections
from visits.models import Visit

SHOWN_ACTIONS = 8
JUDGES_EVIDENCE = frozenset({Role.OFFICE, Role.CLIENT_MANAGER, Role.AUDITOR})
CHECKS_WORK = frozenset({Role.OFFICE, Role.TECHNICIAN})
MAY_SEE_WHO_LOOKED = frozenset({Role.OFFICE, Role.CLIENT_MANAGER})


def actions(site: Site, user: User) -> Mapping[str, Any]:
    """What is open here, each by its day, and how much of it waits to be checked. Three queries."""
    listed = actions_listed(actions_visible_to(user).filter(site=site), now=timezone.now())
    done = Q(state=CorrectiveAction.State.DONE)
    numbers = listed.aggregate(all=Count("pk"), done=Count("pk", filter=done))
    return {
        "actions": listed[:SHOWN_ACTIONS],
        "number": numbers["all"],
        "to_check": numbers["done"] if user.role in CHECKS_WORK else 0,
        "may_raise": user.is_office and site.closed_on is None,
    }


def evidence(site: Site, user: User) -> Mapping[str, Any]:
    """The way to the evidence list and the site files. No query: the list costs a page."""
    return {}


def trends(site: Site, user: User) -> Mapping[str, Any]:
    """How its counts stand in a line, and the way to the pictures. Two queries."""
    return {"standing": standings_of([site], user, now=timezone.now())[site.pk]}


def monitor_trends(monitor: Monitor, user: User) -> Mapping[str, Any] | None:
    """Each pest month by month; nothing before the first reading. Three queries at most."""
    found = monitor_months(monitor, user, now=timezone.now())
    if not found:
        return None
    return {
        "charts": [
            {
                "shown": one,
                "chart": drawn(
                    small_chart(
                        one.points,
                        title=f"{one.pest.name} in monitor {monitor.number}",
                        name=f"pest-{number}",
                    )
                ),
            }
            for number, one in enumerate(found, 1)
        ]
    }


def visit_effects(visit: Visit, user: User) -> Mapping[str, Any] | None:
    """Whether the treatments of a visit helped; nothing where it had none. Six queries at most."""
    if not visit.treatments.exists():
        return None
    found = effects_at(visit.site, user, visit=visit)
    return {"effects": found} if found else None


def looks(site: Site, user: User) -> Mapping[str, Any]:
    """Which auditors looked, latest first. One query."""
    return {"looks": looks_at(site)}


def visit_job(visit: Visit, user: User) -> Mapping[str, Any] | None:
    """The ordered job that a visit does, and what may be done next. Two queries; one for most."""
    job = jobs_of(visit).filter(pk__in=actions_visible_to(user)).first()
    if job is None:
        return None
    return {"action": job, "ordered": order_of(job), "moves": moves_of(job, user)}


def visit_checks(visit: Visit, user: User) -> Mapping[str, Any] | None:
    """Finished work that this round is to check; nothing once it is over. One query."""
    if visit.kind not in ROUND_KINDS or visit.state not in Visit.OPEN_STATES:
        return None
    waiting = list(to_check_at(visit.site)[:SHOWN_ACTIONS])
    return {"actions": waiting} if waiting else None


def register_sections() -> None:
    """Add this room's sections to the page of a site."""
    register(Section("actions", "Actions", 750, "compliance/sections/actions.html", actions))
    register(
        Section(
            "evidence",
            "Evidence",
            850,
            "compliance/sections/evidence.html",
            evidence,
            JUDGES_EVIDENCE,
        )
    )
    register(Section("trends", "Trends", 890, "compliance/sections/trends.html", trends))
    register_for_monitor(
        Section(
            "over-time",
            "What it showed over time",
            150,
            "compliance/sections/monitor_trends.html",
            monitor_trends,
        )
    )
    visit_sections.register_for_closed(
        Section(
            "helped",
            "Did it help?",
            100,
            "compliance/sections/visit_effects.html",
            visit_effects,
        )
    )
    register(
        Section(
            "looks", "Who looked", 950, "compliance/sections/looks.html", looks, MAY_SEE_WHO_LOOKED
        )
    )
    visit_sections.register(
        Section("job", "The job", 100, "compliance/sections/visit_job.html", visit_job)
    )
    visit_sections.register(
        Section(
            "to-check",
            "Check on this visit",
            200,
            "compliance/sections/visit_checks.html",
            visit_checks,
            CHECKS_WORK,
        )
    )
