"""How actions are put into words for the person who reads."""

from django import template

from accounts.models import Role, User
from compliance.models import CorrectiveAction
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
