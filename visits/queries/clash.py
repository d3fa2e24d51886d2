"""Two phones' words on one place, side by side: what one said, and what the record says now."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import Prefetch, Q
from django.utils import timezone
from rest_framework import serializers

from accounts.sealing import plain
from visits.cautions import CAUTIONS
from visits.clocks import when
from visits.models import (
    Finding,
    FindingPhoto,
    Look,
    NotReached,
    Operation,
    ParkedOperation,
    Pest,
    Reading,
    ReadingCount,
    Treatment,
    Visit,
)
from visits.protocol import CLASH, Body, Clock, Touches
from visits.queries.inbox import names_in
from visits.queries.package import said_of
from visits.services.clashes import body_of
from visits.services.operations import CLOSE, KINDS
from visits.visit_record import Rows

NOTHING = "nothing"
PESTS = ("pest", "target")
IN_THE_HEADING = ("zone", "height")
SAYS_WHERE = ("checkpoint", "monitor", "finding", "treatment", "operations", "x", "y")


@dataclass(frozen=True, slots=True)
class Voice:
    """Who said it, when it happened, and by the last signs of its name on which phone.

    ``placed_by`` is who of the office put it on the record, if anybody did.
    """

    name: str
    at: datetime | None
    phone: str
    placed_by: str = ""


@dataclass(frozen=True, slots=True)
class Compared:
    """One thing that both may say something of."""

    label: str
    here: str
    there: str
    differs: bool


@dataclass(frozen=True, slots=True)
class Clash:
    """``there`` is None where what stands came from no phone, or where nothing stands.

    ``is_changed`` says that it is no more what this one clashed with when it came.
    """

    place: str
    here: Voice
    there: Voice | None
    stands: bool
    is_changed: bool
    lines: Sequence[Compared]

    @property
    def is_over(self) -> bool:
        """Whether the record says the same by now."""
        return self.stands and not any(one.differs for one in self.lines)


@dataclass(frozen=True, slots=True)
class _Word:
    """What is said of a place: the kind of operation that says it, and its words."""

    kind: str
    words: Mapping[str, Any]


def clash_of(parked: ParkedOperation) -> Clash | None:
    """What a phone said against what the record says now; None unless two phones clashed.

    Lines that differ come first. None, too, where what was sent has not the shape of a record any
    more: then it can only be read. Fourteen queries at most. ``parked`` must have its person, and
    its visit with the site, at hand.
    """
    body = body_of(parked.sent)
    if parked.code != CLASH or parked.visit is None or body is None:
        return None
    visit, mine = parked.visit, _Word(parked.sent["kind"], body.words())
    there = _on_record(visit, body)
    voice, by = _said_by(visit, body, there[0].kind if there else "")
    names = names_in(plain([mine.words, *(one.words for one in there)]))
    say = _Sayer(names, _pests([mine, *there]), visit)
    lines = list(_compared(mine, there[0] if there else None, say))
    if len(there) > 1:
        lines.append(Compared("Findings here", NOTHING, str(len(there)), True))
    return Clash(
        place=_place(body, names),
        here=_voice_of(parked),
        there=voice,
        stands=bool(there),
        is_changed=by != parked.by_operation,
        lines=sorted(lines, key=lambda one: not one.differs),
    )


# --- what the record says -------------------------------------------------------------------------


def _on_record(visit: Visit, body: Body) -> list[_Word]:
    """What stands of all that an operation speaks of, findings last. Four queries at most."""
    named = body.validated_data
    rows = Rows()
    if named.get("finding"):
        rows.findings = _findings(Q(visit=visit, pk=named["finding"]))
    elif named.get("treatment"):
        treatments = Treatment.objects.select_related("target").filter(visit=visit)
        rows.treatments = list(treatments.filter(pk=named["treatment"]))
    elif named.get("checkpoint"):
        at = {"visit": visit, "checkpoint": named["checkpoint"]}
        rows.looks = list(Look.objects.filter(**at))
        rows.not_reached = list(NotReached.objects.filter(**at))
        rows.findings = _findings(Q(**at))
    elif named.get("monitor"):
        at = {"visit": visit, "monitor": named["monitor"]}
        counts = ReadingCount.objects.select_related("pest").order_by("pest__slug")
        rows.readings = list(
            Reading.objects.filter(**at).prefetch_related(Prefetch("counts", counts))
        )
        rows.not_reached = list(NotReached.objects.filter(**at))
    elif named.get("zone"):
        rows.not_reached = list(
            NotReached.objects.filter(
                visit=visit, zone=named["zone"], checkpoint=None, monitor=None
            )
        )
    else:
        return [_Word("contact.set", _words("contact.set", said_of(visit, rows, {})["contact"]))]
    said = said_of(visit, rows, defaultdict(list))
    looks = {place: {"checkpoint": place} for place in said["looks"]}
    return [
        _Word(kind, _words(kind, one))
        for kind, found in (
            ("look.add", looks),
            ("reading.set", said["readings"]),
            ("not_reached.set", said["not_reached"]),
            ("treatment.set", said["treatments"]),
            ("finding.set", said["findings"]),
        )
        for one in found.values()
    ]


def _findings(which: Q) -> list[Finding]:
    shown_by = FindingPhoto.objects.select_related("photo").order_by("position", "pk")
    findings = Finding.objects.filter(which).select_related("pest").order_by("at", "pk")
    return list(findings.prefetch_related(Prefetch("shown_by", shown_by)))


def _words(kind: str, said: Mapping[str, Any]) -> Mapping[str, Any]:
    """What the record says, in the words of the operation that says it."""
    body = body_of({"kind": kind, "body": plain(said)})
    return body.words() if body else {name: said.get(name) for name in _fields(kind)}


def _fields(kind: str) -> dict[str, Any]:
    return dict(KINDS[kind].body().fields.items())


# --- who said it ----------------------------------------------------------------------------------


def _said_by(visit: Visit, body: Body, kind: str) -> tuple[Voice | None, UUID | None]:
    """Whose word of that kind stands, and its operation. Two queries.

    It is the latest that changed anything of the place, or what the office has placed there since.
    """
    named = body.speaks_of()
    last: Operation | None = None
    for one in (
        Operation.objects.filter(_speaks_of(named), visit=visit, version__isnull=False)
        .select_related("person")
        .order_by("-version")
    ):
        touches = Touches.from_json(one.touches)
        if named & (touches.writes | touches.erases) or one.kind == CLOSE:
            last = one
            break
    placed = ParkedOperation.objects.filter(placed_on=visit).select_related("person", "settled_by")
    if last:
        placed = placed.filter(settled_at__gt=last.received_at)
    for parked in placed.order_by("-settled_at", "-pk"):
        then = body_of(parked.sent)
        if then and named & then.speaks_of():
            voice = _voice_of(parked)
            return (voice if parked.sent["kind"] == kind else None), parked.operation_id
    if last is None:
        return None, None
    if last.kind != kind and not (last.kind == CLOSE and kind == "contact.set"):
        return None, last.pk
    at = when(last.made_at, ahead=last.clock_ahead_seconds, received_at=last.received_at).at
    return Voice(last.person.name, at, _phone(last.device)), last.pk


def _speaks_of(named: frozenset[str]) -> Q:
    """Those that name one of the places; the fewest that have to be looked at one by one."""
    which = Q(kind__in=["contact.set", CLOSE]) if "contact" in named else Q()
    for name in named:
        *_, sort, key = name.split("/") if "/" in name else ("", "")
        if key:
            which |= Q(**{f"body__{sort}": key})
    return which


def _voice_of(parked: ParkedOperation) -> Voice:
    clock = Clock(data=parked.sent)
    at = None
    if clock.is_valid():
        told = clock.validated_data
        at = when(told["made_at"], ahead=told["clock_ahead"], received_at=parked.created_at).at
    by = parked.settled_by.name if parked.placed_on_id and parked.settled_by else ""
    return Voice(parked.person.name, at, _phone(parked.sent.get("device")), by)


def _phone(device: Any) -> str:
    return str(device or "")[-4:]


# --- in words -------------------------------------------------------------------------------------


def _place(body: Body, names: Mapping[str, str]) -> str:
    for name in ("checkpoint", "monitor", "zone"):
        key = body.validated_data.get(name)
        if key:
            return names.get(str(key), f"A {name} that is not on file any more")
    return "Whom they met"


def _pests(said: Sequence[_Word]) -> dict[str, str]:
    """By slug, the names of the pests that are spoken of. One query at most."""
    slugs = {one.words.get(name) for one in said for name in PESTS}
    slugs |= {slug for one in said for slug in one.words.get("counts", {})}
    slugs = {slug for slug in slugs if slug}
    if not slugs:
        return {}
    return dict(Pest.objects.filter(slug__in=slugs).values_list("slug", "name"))


@dataclass(frozen=True, slots=True)
class _Sayer:
    """Says a value for a person: names for ids and slugs, choices in words, the site's own time."""

    names: Mapping[str, str]
    pests: Mapping[str, str]
    visit: Visit

    def say(self, name: str, field: Any, value: Any) -> str:
        if not _is_said(value):
            return "no" if value is False else NOTHING
        match value:
            case bool():
                return "yes"
            case datetime():
                local = timezone.localtime(value, self.visit.site.zone_info)
                return f"{local:%a %-d %b %Y, %H:%M}"
            case UUID():
                return self.names.get(str(value), str(value))
            case Decimal():
                return format(value.normalize(), "f")
        if name == "photos":
            return "1 photo" if len(value) == 1 else f"{len(value)} photos"
        if name == "signature":
            return "Signed by hand"
        if name == "cautions_confirmed":
            return " ".join(one.text for one in CAUTIONS if one.key in value) or NOTHING
        if name in PESTS:
            return self.pests.get(value, value)
        if isinstance(field, serializers.ChoiceField):
            return str(field.choices.get(value, value))
        return str(value)


def _compared(mine: _Word, theirs: _Word | None, say: _Sayer) -> Iterator[Compared]:
    """Line by line; of what neither says anything there is no line."""
    there: Mapping[str, Any] = theirs.words if theirs else {}
    stands = KINDS[theirs.kind].words if theirs else NOTHING
    if theirs is None or theirs.kind != mine.kind:
        yield Compared("What was said", KINDS[mine.kind].words, stands, True)
    fields = _fields(mine.kind) | (_fields(theirs.kind) if theirs else {})
    if theirs and theirs.kind != mine.kind:
        fields = {name: field for name, field in fields.items() if name not in IN_THE_HEADING}
    for name, field in fields.items():
        left, right = mine.words.get(name), there.get(name)
        if name == "counts":
            yield from _counts(left or {}, right or {}, say.pests)
        elif name not in SAYS_WHERE and (_is_said(left) or _is_said(right)):
            here, over_there = say.say(name, field, left), say.say(name, field, right)
            yield Compared(str(field.label), here, over_there, _differ(left, right))
    here, over_there = _mark(mine.words), _mark(there)
    if (here, over_there) != (NOTHING, NOTHING):
        yield Compared("Mark on the plan", here, over_there, here != over_there)


def _differ(left: Any, right: Any) -> bool:
    if isinstance(left, list) and isinstance(right, list) and left and isinstance(left[0], str):
        return set(left) != set(right)  # photos and cautions, in whatever order
    return (left if _is_said(left) else None) != (right if _is_said(right) else None)


def _is_said(value: Any) -> bool:
    """Whether it is worth a line: a box that was not ticked says nothing."""
    return value is not False and value not in (None, "", [], {})


def _counts(
    left: Mapping[str, int], right: Mapping[str, int], pests: Mapping[str, str]
) -> Iterator[Compared]:
    for slug in sorted({*left, *right}, key=lambda one: pests.get(one, one)):
        here, there = left.get(slug, 0), right.get(slug, 0)
        yield Compared(
            pests.get(slug, slug), str(here or "none"), str(there or "none"), here != there
        )


def _mark(words: Mapping[str, Any]) -> str:
    x, y = words.get("x"), words.get("y")
    if x is None or y is None:
        return NOTHING
    return f"{x:.0%} from the left, {y:.0%} from the top"
