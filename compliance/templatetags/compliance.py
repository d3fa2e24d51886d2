"""How actions are put into words for the person who reads."""

from collections.abc import Mapping

from django import template

from accounts.models import Role, User
from compliance.models import CorrectiveAction
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
def tally(counts: Mapping[str, int] | None) -> Tally:
    """How many places were due and looked at, of the coverage that a closed visit kept."""
    return from_counts(counts or {}).all
