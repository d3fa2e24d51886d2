"""How actions and counts are put into words for the person who reads."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Literal
from uuid import UUID

from django import template

from accounts.models import Role, User
from compliance.access import sees_money
from compliance.models import CorrectiveAction
from compliance.proofing.gaps import in_words
from compliance.queries.sheets import percent as percent_of
from compliance.queries.trends import SiteStanding
from compliance.trends.rates import short
from sites.models import Site
from visits.coverage import Tally, from_counts
from visits.models import WhoseMove

register = template.Library()

FOR_THE_CLIENT = {
    WhoseMove.CLIENT: "You",
    WhoseMove.US: "Your pest-control company",
    WhoseMove.THIRD_PARTY: "Somebody else",
}


@register.filter
def mover(action: CorrectiveAction, reader: User) -> str:
    """Whose move it is: "us" is somebody else to the client, and "the client" is "you"."""
    if reader.role == Role.CLIENT_MANAGER:
        return FOR_THE_CLIENT[WhoseMove(action.whose_move)]
    return action.get_whose_move_display()


@register.filter
def waits_for(action: Any, reader: User) -> str:
    """For whom a listed action waits that has to be decided, to those whose business that is.

    Nothing to anybody else, and nothing to the office where nobody in particular is asked. Takes an
    action as ``actions_listed`` gives it, with ``asked_stands``.
    """
    if action.state != CorrectiveAction.State.PRICED or not sees_money(reader):
        return ""
    asked = action.asked if action.asked_stands else None
    if reader.role == Role.CLIENT_MANAGER and asked in (None, reader):
        return "waits for you"
    return f"waits for {asked.name}" if asked else ""


@register.filter
def percent(share: Decimal) -> str:
    """A fraction as percent."""
    return percent_of(share)


@register.filter
def mm(width: Decimal) -> str:
    """A width in millimetres, without nils at its end."""
    return in_words(width)


@register.filter
def standing(standings: Mapping[UUID, SiteStanding], site: Site) -> SiteStanding:
    """How the counts of a site stand, out of those of many."""
    return standings[site.pk]


@register.filter
def tally(counts: Mapping[str, int] | None) -> Tally:
    """How many places were due and looked at, of the coverage that a closed visit kept."""
    return from_counts(counts or {}).all


@register.filter
def figures(number: float | None, towards: Literal["near", "down", "up"] = "near") -> str:
    """A rate in two figures, or whole from 100 on; a dash where it is not known.

    ``towards`` rounds it up or down, for limits that no figure may make tighter.
    """
    return "–" if number is None else short(number, towards)
