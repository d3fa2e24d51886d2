"""The method guide as data: the starting set on file, and what the office makes of it.

A row that the office has amended, added or retired is its own: no release writes over it.
"""

from collections.abc import Iterable
from datetime import date
from typing import Any, TypedDict, Unpack
from uuid import UUID

from django.db import transaction
from django.db.models import Max, QuerySet

from accounts.ids import uuid7
from accounts.models import User
from accounts.refusals import Unusable, WrongState
from accounts.trail import record
from sites.keeping import keep_changes, keep_new
from visits.access import require_may_keep_guide
from visits.dosing.guide import GuideError, GuideRow, row_as_data
from visits.dosing.guide_rows import STARTING_SET
from visits.models import GuideLine, Pest
from visits.queries.guide import ROW_FIELDS, pure_row

# Room between two rows of the starting set, so that a later release can put one there.
STEP = 10
OWN = "own-"


class GuideFacts(TypedDict, total=False):
    """What a line of the guide says, and when it holds."""

    verdict: str
    zone_kinds: list[str]
    surfaces: list[str]
    pest_groups: list[str]
    pests: list[str]
    surroundings: list[str]
    but_not: list[str]
    formulation: str
    method: str
    rank: int
    words: str
    source: str


# --- the starting set -----------------------------------------------------------------------------


def ensure_guide_lines(
    lines: QuerySet[Any], *, today: date, rows: Iterable[GuideRow] = STARTING_SET
) -> None:
    """Bring the lines on file up to this release's starting set; safe to repeat.

    New rows appear and what the office has not touched takes the release's words. A row that the
    release has dropped is retired, unless the office has amended it. ``lines`` are those of the
    model as the migrations know it. Two queries where nothing has changed.
    """
    known = {line.key: line for line in lines}
    wanted = {row.key: (STEP * place, row) for place, row in enumerate(rows, start=1)}
    new, changed = [], []
    for key, (position, row) in wanted.items():
        facts = {**row_as_data(row), "position": position}
        line = known.get(key)
        if line is None:
            new.append(lines.model(pk=uuid7(), **facts))
        elif not line.amended and any(getattr(line, name) != facts[name] for name in facts):
            for name, value in facts.items():
                setattr(line, name, value)
            changed.append(line)
    for key, line in known.items():
        if key not in wanted and not line.amended and line.retired_on is None:
            line.retired_on = today
            changed.append(line)
    lines.bulk_create(new)
    lines.bulk_update(changed, [*ROW_FIELDS, "position", "retired_on"])


def released_row(key: str) -> GuideRow | None:
    """The row of this release's starting set with that key. No query."""
    return next((row for row in STARTING_SET if row.key == key), None)


# --- what the office makes of it ------------------------------------------------------------------


@transaction.atomic
def add_guide_line(*, by: User, **facts: Unpack[GuideFacts]) -> GuideLine:
    """Add a line of the office's own, after all others.

    Raises ``NotAllowed``, or ``Unusable`` with the field for what no line can say.
    """
    require_may_keep_guide(by)
    last = GuideLine.objects.aggregate(last=Max("position"))["last"] or 0
    line = GuideLine(pk=uuid7(), position=last + STEP, amended=True, **_in_order(facts))
    line.key = f"{OWN}{line.pk.hex}"
    _require_readable(line)
    keep_new(line)
    record(by, "guide.added", line, says=_said(line))
    return line


@transaction.atomic
def amend_guide_line(
    line_id: UUID, *, by: User, seen: str = "", **facts: Unpack[GuideFacts]
) -> GuideLine:
    """Change a line; from now on it is the office's own, and no release writes over it.

    ``seen`` is the fingerprint of the same facts as they were shown. Raises ``NotAllowed``,
    ``WrongState`` for a retired line, ``Changed``, or ``Unusable`` with the field.
    """
    require_may_keep_guide(by)
    line = _locked(line_id)
    if line.retired_on:
        raise WrongState("This line is retired; bring it back before you amend it.")
    told = _in_order(facts)
    trial = GuideLine(**{**{name: getattr(line, name) for name in ROW_FIELDS}, **told})
    _require_readable(trial)
    changed = keep_changes(line, told, seen=seen)
    if changed:
        line.amended = True
        line.save(update_fields=["amended"])
        record(by, "guide.amended", line, key=line.key, changed=changed)
    return line


@transaction.atomic
def retire_guide_line(line_id: UUID, *, by: User, on: date, reason: str) -> GuideLine:
    """Take a line out of the guide; it stays on file and can be brought back.

    Raises ``NotAllowed``, ``WrongState`` if it is retired, or ``Unusable`` without a reason.
    """
    require_may_keep_guide(by)
    line = _locked(line_id)
    if line.retired_on:
        raise WrongState("This line was retired before.", retired_on=line.retired_on)
    reason = reason.strip()
    if not reason:
        raise Unusable(
            "Say why; the reason stays on the trail.", code="reason_missing", field="reason"
        )
    line.retired_on, line.amended = on, True
    line.save(update_fields=["retired_on", "amended"])
    record(by, "guide.retired", line, key=line.key, on=on, reason=reason)
    return line


@transaction.atomic
def restore_guide_line(line_id: UUID, *, by: User) -> GuideLine:
    """Bring a retired line back as it was. Raises ``NotAllowed``, or ``WrongState`` if it holds."""
    require_may_keep_guide(by)
    line = _locked(line_id)
    if line.retired_on is None:
        raise WrongState("This line holds; there is nothing to bring back.")
    was = line.retired_on
    line.retired_on = None
    line.save(update_fields=["retired_on"])
    record(by, "guide.restored", line, key=line.key, retired_on=was)
    return line


@transaction.atomic
def put_back_guide_line(line_id: UUID, *, by: User) -> GuideLine:
    """Give an amended line the words of this release again; later releases may change it.

    Raises ``NotAllowed``, or ``WrongState`` for a line that is as released, or the office's own.
    """
    require_may_keep_guide(by)
    line = _locked(line_id)
    row = released_row(line.key)
    if row is None:
        raise WrongState("This line is the office's own; retire it if it is no longer wanted.")
    if not line.amended:
        raise WrongState("This line is as it came; there is nothing to put back.")
    changed = keep_changes(line, {**row_as_data(row), "retired_on": None})
    line.amended = False
    line.save(update_fields=["amended"])
    record(by, "guide.put_back", line, key=line.key, changed=changed)
    return line


def _locked(line_id: UUID) -> GuideLine:
    return GuideLine.objects.select_for_update().get(pk=line_id)


def _in_order(facts: GuideFacts) -> dict[str, Any]:
    """The facts with their lists sorted, so that the same conditions read the same."""
    return {
        name: sorted(set(value)) if isinstance(value, list) else value
        for name, value in facts.items()
    }


def _require_readable(line: GuideLine) -> None:
    """Raise ``Unusable``, naming the field, for what the rule could not read. One query."""
    try:
        pure_row(line)
    except GuideError as error:
        raise Unusable(str(error), code="unusable", field=error.field) from error
    unknown = set(line.pests) - set(
        Pest.objects.filter(slug__in=line.pests).values_list("slug", flat=True)
    )
    if unknown:
        raise Unusable(
            f"There is no pest “{min(unknown)}” on file.", code="unknown_pest", field="pests"
        )


def _said(line: GuideLine) -> dict[str, Any]:
    """What a line says, for the trail: nothing that is empty."""
    held = {name: getattr(line, name) for name in ROW_FIELDS}
    return {name: value for name, value in held.items() if value not in ("", [], 0)}
