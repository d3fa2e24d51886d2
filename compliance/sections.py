"""The sections that this room adds to a site's page: actions, evidence, and who looked."""

from collections.abc import Mapping
from typing import Any

from django.utils import timezone

from accounts.models import Role, User
from compliance.access import actions_visible_to
from compliance.queries.actions import actions_listed
from compliance.queries.looks import looks_at
from sites.models import Site
from sites.site_sections import Section, register

SHOWN_ACTIONS = 8
JUDGES_EVIDENCE = frozenset({Role.OFFICE, Role.CLIENT_MANAGER, Role.AUDITOR})
MAY_SEE_WHO_LOOKED = frozenset({Role.OFFICE, Role.CLIENT_MANAGER})


def actions(site: Site, user: User) -> Mapping[str, Any]:
    """What is open here, each by its day. Three queries."""
    listed = actions_listed(actions_visible_to(user).filter(site=site), now=timezone.now())
    return {
        "actions": listed[:SHOWN_ACTIONS],
        "number": listed.count(),
        "may_raise": user.is_office and site.closed_on is None,
    }


def evidence(site: Site, user: User) -> Mapping[str, Any]:
    """The way to the evidence list and the site files. No query: the list costs a page."""
    return {}


def looks(site: Site, user: User) -> Mapping[str, Any]:
    """Which auditors looked, latest first. One query."""
    return {"looks": looks_at(site)}


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
    register(
        Section(
            "looks", "Who looked", 950, "compliance/sections/looks.html", looks, MAY_SEE_WHO_LOOKED
        )
    )
