"""How Kickplate says no: a sentence for people, a code for programs, and who can move it."""

from typing import Any


class Refused(Exception):
    """Something that was asked for and is not done. ``str(error)`` is a sentence for people."""

    code = "refused"
    status = 409

    def __init__(self, sentence: str, *, code: str | None = None, **facts: Any) -> None:
        super().__init__(sentence)
        self.code = code or self.code
        self.facts = facts


class NotAllowed(Refused):
    """The person may see the record, but may not do this to it."""

    code = "not_allowed"
    status = 403


class WrongState(Refused):
    """The record is in a state in which this cannot be done."""

    code = "wrong_state"


class Changed(Refused):
    """Somebody else changed the record in the meantime."""

    code = "changed"


class Unusable(Refused):
    """What was given cannot be used: a bad file, a value that makes no sense."""

    code = "unusable"
    status = 422


def require_state(record: Any, *allowed: str) -> None:
    """Raise ``WrongState`` unless the record's ``state`` is one of the allowed ones."""
    if record.state not in allowed:
        wanted = " or ".join(str(state).replace("_", " ") for state in allowed)
        raise WrongState(
            f"{record} is {record.get_state_display().lower()}; this needs it to be {wanted}.",
            state=record.state,
            allowed=list(allowed),
        )
