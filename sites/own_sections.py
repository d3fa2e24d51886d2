"""The sections that this room adds to a site's page: what is there, and what was agreed."""

from collections.abc import Mapping
from typing import Any

from django.utils import timezone

from accounts.models import Company, Role, User
from sites import access, queries
from sites.models import AccessWindow, Site
from sites.site_sections import Section, register

SHOWN_DOCUMENTS = 8
KNOWS_THE_PREMISES = frozenset({Role.OFFICE, Role.TECHNICIAN, Role.CLIENT_MANAGER})
KNOWS_THE_TERMS = frozenset({Role.OFFICE, Role.CLIENT_MANAGER, Role.AUDITOR})
KNOWS_THE_PRICES = frozenset({Role.OFFICE, Role.CLIENT_MANAGER})


def overview(site: Site, user: User) -> Mapping[str, Any]:
    """Where it is, when it can be entered, whom to ask. Two queries.

    Keys and alarms are for who goes in and for the client; an auditor learns who is responsible,
    and no telephone numbers.
    """
    return {
        "windows": _by_weekday(site),
        "contacts": site.contacts.order_by("-is_premises_manager", "name", "pk"),
        "knows_the_premises": user.role in KNOWS_THE_PREMISES,
        "internal": user.is_office,
        "may_keep": user.is_office,
    }


def _by_weekday(site: Site) -> list[tuple[str, list[AccessWindow]]]:
    windows = list(site.access_windows.order_by("weekday", "opens", "pk"))
    if not windows:
        return []
    return [
        (str(day.label), [one for one in windows if one.weekday == day])
        for day in AccessWindow.Weekday
    ]


def contract(site: Site, user: User) -> Mapping[str, Any]:
    """What was agreed; later rooms add what follows from it. Two queries.

    Prices are for the office and the client's own managers; the others cost a query less.
    """
    prices = user.role in KNOWS_THE_PRICES
    company = Company.objects.first() if prices else None
    return {
        "contracts": queries.contracts_of(access.contracts_visible_to(user).filter(site=site)),
        "today": site.day_of(timezone.now()),
        "currency": company.currency if company else "GBP",
        "prices": prices,
        "internal": user.is_office,
        "may_keep": user.is_office,
    }


def zones(site: Site, user: User) -> Mapping[str, Any]:
    """The walk. One query."""
    return {"zones": queries.zones_walked(site), "may_keep": user.is_office}


def monitors(site: Site, user: User) -> Mapping[str, Any]:
    """How many monitors of which kind stand where. One query."""
    counts = queries.monitor_counts(site)
    return {
        "counts": counts,
        "standing": sum(one.standing for one in counts),
        "may_keep": user.is_office,
    }


def plan(site: Site, user: User) -> Mapping[str, Any] | None:
    """The first plan with what is marked on it, and links to the others. Three queries."""
    plans = list(queries.plans_in_use(site))
    if not plans and not user.is_office:
        return None
    return {
        "drawing": queries.drawing_of(plans[0]) if plans else None,
        "others": plans[1:],
        "may_keep": user.is_office,
    }


def documents(site: Site, user: User) -> Mapping[str, Any]:
    """The papers that count for the site, soonest to expire first. One query."""
    papers = queries.documents_shown_at(access.documents_visible_to(user), site)
    today = site.day_of(timezone.now())
    listed = list(queries.documents_listed(papers, today)[: SHOWN_DOCUMENTS + 1])
    return {
        "documents": listed[:SHOWN_DOCUMENTS],
        "more": len(listed) > SHOWN_DOCUMENTS,
        "may_keep": user.is_office,
    }


def register_own() -> None:
    """Add them to the page; called once, when the apps are ready."""
    register(Section("overview", "Overview", 100, "sites/sections/overview.html", overview))
    register(
        Section(
            "contract",
            "Contract",
            200,
            "sites/sections/contract.html",
            contract,
            visible_to=KNOWS_THE_TERMS,
        )
    )
    register(Section("zones", "Zones", 300, "sites/sections/zones.html", zones))
    register(Section("monitors", "Monitors", 400, "sites/sections/monitors.html", monitors))
    register(Section("plan", "Plan", 500, "sites/sections/plan.html", plan))
    register(Section("documents", "Documents", 800, "sites/sections/documents.html", documents))
