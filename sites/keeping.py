"""How what is on file is added or changed: checked, written once, with old and new for the trail.

Only services call this; each of them owns the transaction and the entry on the trail.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction

from accounts.refusals import Changed, Refused, Unusable
from accounts.sealing import canonical, digest

DUPLICATE_CODES = frozenset({"reference_taken", "number_taken", "name_taken", "label_taken"})


class Taken(Refused):
    """A reference, number or name that something else has already."""

    code = "taken"


def fingerprint(record: models.Model, fields: Iterable[str]) -> str:
    """A short mark of what some fields hold, so that a later writer can tell if they changed."""
    held = {name: _told(getattr(record, name)) for name in fields}
    return digest(canonical(held))[:16]


def keep_new(record: models.Model) -> None:
    """Check and add a record. Raises ``Taken`` for a duplicate and ``Unusable`` for a bad value."""
    check(record)
    _save(record)


def keep_changes(
    record: models.Model, facts: Mapping[str, Any], *, seen: str = ""
) -> dict[str, list[Any]]:
    """Write what differs and return it as ``{field: [old, new]}``, empty when nothing does.

    ``record`` must be locked. ``seen`` is the fingerprint of the same fields that the writer had
    on screen; ``Changed`` is raised if somebody else wrote in between.
    """
    if seen and seen != fingerprint(record, facts):
        raise Changed(
            f"Somebody else changed {record} while you were typing. Go back, copy what you typed, "
            "and open it again."
        )
    changed = {
        name: [_told(getattr(record, name)), _told(value)]
        for name, value in facts.items()
        if getattr(record, name) != value
    }
    if changed:
        for name in changed:
            setattr(record, name, facts[name])
        check(record)
        _save(record, list(changed))
    return changed


def _told(value: Any) -> Any:
    """A value as the trail tells it: another record by its words."""
    return str(value) if isinstance(value, models.Model) else value


def check(record: models.Model) -> None:
    """Raise ``Taken`` or ``Unusable`` for what may not stand on file; one query per constraint."""
    # Foreign keys are left to the database: services have just fetched what they point at.
    relations = [field.name for field in record._meta.fields if field.is_relation]
    try:
        record.clean_fields(exclude=relations)
        record.clean()
        record.validate_constraints()
    except ValidationError as error:
        raise _refusal(error) from error


def _refusal(error: ValidationError) -> Refused:
    """The same no in the house's own words, with every sentence under its field."""
    if not hasattr(error, "error_dict"):
        return Unusable(" ".join(error.messages))
    by_field = {
        field: [message for one in errors for message in one.messages]
        for field, errors in error.error_dict.items()
    }
    sentence = " ".join(
        message if field == "__all__" else f"{field.replace('_', ' ').capitalize()}: {message}"
        for field, messages in by_field.items()
        for message in messages
    )
    codes = {one.code for errors in error.error_dict.values() for one in errors}
    kind = Taken if codes & DUPLICATE_CODES else Unusable
    return kind(sentence, fields=by_field)


def _save(record: models.Model, fields: list[str] | None = None) -> None:
    # The savepoint keeps the outer transaction usable on PostgreSQL when a race is lost here.
    try:
        with transaction.atomic():
            record.save(force_insert=fields is None, update_fields=fields)
    except IntegrityError as error:
        raise Taken(
            f"Somebody has just put the same on file; {record} was not saved. Look again."
        ) from error
