"""The shape of what phones send: one operation, and the body of each kind. Checks, writes nothing.

Identifiers are UUIDs; pests are named by their slug, photos by the SHA-256 of the file as it was
sent. Fields that are not known here are passed over, since a newer phone may say more; the receipt
keeps them. docs/sync.md tells the whole protocol.
"""

import re
from dataclasses import dataclass
from typing import Any

from rest_framework import serializers

from sites.models import Height
from visits.clocks import is_possible
from visits.models import (
    Finding,
    NotReached,
    Reading,
    RemedyKind,
    Treatment,
    WhoseMove,
)

MOST_OPERATIONS = 100
MOST_BYTES = 64_000
MOST_DEPTH = 12
HASH = r"^[0-9a-f]{64}\Z"
CLASH = "changed_elsewhere"
"""The code of what is parked as another phone has said something else of the same place."""
BY_FILE = "by_file"
"""The code of what came in a file that was saved on the phone; the phone is told the same."""


MOST_MINUTES = 7 * 24 * 60


class Clock(serializers.Serializer[Any]):
    """When an operation was made, by the phone's clock, and how far that clock was off."""

    made_at = serializers.DateTimeField(help_text="The phone's clock, with its offset.")
    clock_ahead = serializers.IntegerField(
        required=False,
        allow_null=True,
        default=None,
        help_text="Seconds by which it was ahead of the server's when they last met.",
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if not is_possible(attrs["made_at"], attrs["clock_ahead"]):
            raise serializers.ValidationError(
                {"made_at": "The phone's clock is out of all bounds."}, code="out_of_bounds"
            )
        return attrs


class Envelope(Clock):
    """One operation, whatever its kind."""

    id = serializers.UUIDField(help_text="Made by the phone, version 7.")
    device = serializers.CharField(max_length=40)
    seq = serializers.IntegerField(min_value=0, max_value=2**53 - 1)
    visit = serializers.UUIDField()
    kind = serializers.CharField(max_length=40)
    body = serializers.DictField()
    base_version = serializers.IntegerField(
        min_value=0,
        max_value=2**31 - 1,
        required=False,
        allow_null=True,
        default=None,
        help_text="The version of the visit that the phone had seen.",
    )
    offset_minutes = serializers.IntegerField(min_value=-900, max_value=900, default=0)


def text(most: int, **more: Any) -> serializers.CharField:
    """Words that may be left out."""
    return serializers.CharField(max_length=most, allow_blank=True, default="", **more)


def number(digits: int, places: int, **more: Any) -> serializers.DecimalField:
    """A figure that may be left out."""
    return serializers.DecimalField(
        digits, places, allow_null=True, default=None, min_value=0, **more
    )


def chosen(choices: Any, **more: Any) -> serializers.ChoiceField:
    """One of the choices of a model, or nothing."""
    return serializers.ChoiceField(choices=choices, allow_blank=True, default="", **more)


@dataclass(frozen=True, slots=True)
class Touches:
    """What an operation writes and what it erases, by name.

    Words about one place are one thing: a look, a reading and "not reached" erase each other. Of
    what another phone wrote and this one had not seen, it gives way to what it ``yields`` to, and
    takes the place of what it ``overrules``; all else that it erases is for a person to decide.
    """

    writes: frozenset[str] = frozenset()
    erases: frozenset[str] = frozenset()
    yields: frozenset[str] = frozenset()
    overrules: frozenset[str] = frozenset()

    def collides(self, later: "Touches") -> bool:
        """Whether one of the two, coming after the other, would undo some of it."""
        return bool(self.writes & later.erases or later.writes & self.erases)

    def gives_way_to(self, unseen: "Touches") -> bool:
        """Whether it changes nothing where another phone's unseen word stands."""
        return bool(self.yields & unseen.writes)

    def disputes(self, unseen: "Touches") -> bool:
        """Whether it would put its own word where another phone's unseen one stands."""
        return bool((self.erases - self.yields - self.overrules) & unseen.writes)

    def as_json(self) -> dict[str, list[str]]:
        return {"writes": sorted(self.writes), "erases": sorted(self.erases)}

    @classmethod
    def from_json(cls, kept: dict[str, list[str]]) -> "Touches":
        return cls(frozenset(kept.get("writes", ())), frozenset(kept.get("erases", ())))


def word(*names: str) -> Touches:
    """Something is said of these, instead of what was said before."""
    return Touches(frozenset(names), frozenset(names))


def erased(*names: str) -> Touches:
    """What was said of these is taken back: what this phone had seen of it, and no more."""
    return Touches(erases=frozenset(names), yields=frozenset(names))


class Body(serializers.Serializer[Any]):
    """Common to all bodies."""

    def touches(self) -> Touches:
        return Touches()

    def speaks_of(self) -> frozenset[str]:
        """By name, all of which it says something."""
        touches = self.touches()
        return touches.writes | touches.erases

    def words(self) -> dict[str, Any]:
        """What it says, however it is written: two bodies with the same words say the same."""
        return dict(self.validated_data)

    def _place(self) -> str:
        """The place that is spoken of, by name."""
        for name in ("checkpoint", "monitor", "zone"):
            if self.validated_data.get(name):
                return f"{name}/{self.validated_data[name]}"
        return ""


class Start(Body):
    """Nothing to say: the operation's own clock is the start."""


class CheckpointBody(Body):
    checkpoint = serializers.UUIDField()

    def touches(self) -> Touches:
        return erased(self._place())


class LookBody(CheckpointBody):
    def touches(self) -> Touches:
        """Another phone's finding says all that a look says, and more."""
        findings = f"findings/{self._place()}"
        return Touches(
            writes=frozenset({self._place()}),
            erases=frozenset({self._place(), findings}),
            yields=frozenset({findings}),
        )


class MonitorBody(Body):
    monitor = serializers.UUIDField()

    def touches(self) -> Touches:
        return erased(self._place())


class ReadingBody(MonitorBody):
    condition = serializers.ChoiceField(Reading.Condition.choices, default=Reading.Condition.SOUND)
    counts = serializers.DictField(
        child=serializers.IntegerField(min_value=0, max_value=100_000), default=dict
    )
    bait_taken = chosen(Reading.Bait.choices)
    bait_taken_g = number(8, 2)
    bait_lifted_g = number(8, 2)
    renewed = serializers.BooleanField(default=False)
    note = text(500)

    def touches(self) -> Touches:
        return word(self._place())

    def words(self) -> dict[str, Any]:
        """None of a pest is as good as not a word of it."""
        said = super().words()
        return {**said, "counts": {pest: count for pest, count in said["counts"].items() if count}}


class FindingRemoved(Body):
    finding = serializers.UUIDField(help_text="Made by the phone.")

    def touches(self) -> Touches:
        return erased(self._finding())

    def _finding(self) -> str:
        return f"finding/{self.validated_data['finding']}"


class FindingBody(FindingRemoved):
    zone = serializers.UUIDField()
    checkpoint = serializers.UUIDField(allow_null=True, default=None)
    height = chosen(Height.choices)
    kind = serializers.ChoiceField(Finding.Kind.choices)
    pest = text(40)
    count = serializers.IntegerField(
        min_value=0, max_value=1_000_000, allow_null=True, default=None
    )
    urgency = serializers.ChoiceField(Finding.Urgency.choices, default=Finding.Urgency.SOON)
    note = text(4000)
    place = text(160)
    remedy_kind = chosen(RemedyKind.choices)
    remedy = text(4000)
    whose_move = chosen(WhoseMove.choices)
    photos = serializers.ListField(child=serializers.RegexField(HASH), default=list, max_length=12)
    x = serializers.FloatField(min_value=0, max_value=1, allow_null=True, default=None)
    y = serializers.FloatField(min_value=0, max_value=1, allow_null=True, default=None)

    def touches(self) -> Touches:
        """A finding at a checkpoint takes the place of a look, not of other findings there.

        It does so whatever another phone has said of the place: a finding waits for nobody.
        """
        if not self.validated_data["checkpoint"]:
            return word(self._finding())
        return Touches(
            writes=frozenset({self._finding(), f"findings/{self._place()}"}),
            erases=frozenset({self._finding(), self._place()}),
            overrules=frozenset({self._place()}),
        )


class PlaceBody(Body):
    """Exactly one of the three."""

    zone = serializers.UUIDField(allow_null=True, default=None)
    checkpoint = serializers.UUIDField(allow_null=True, default=None)
    monitor = serializers.UUIDField(allow_null=True, default=None)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if sum(attrs[name] is not None for name in ("zone", "checkpoint", "monitor")) != 1:
            raise serializers.ValidationError("Name one checkpoint, one monitor or one zone.")
        return attrs

    def touches(self) -> Touches:
        return erased(self._place())


class NotReachedBody(PlaceBody):
    reason = serializers.ChoiceField(NotReached.Reason.choices)
    whose_move = serializers.ChoiceField(WhoseMove.choices)
    note = text(500)

    def touches(self) -> Touches:
        return Touches(
            writes=frozenset({self._place()}),
            erases=frozenset({self._place(), f"findings/{self._place()}"}),
        )


class TreatmentRemoved(Body):
    treatment = serializers.UUIDField(help_text="Made by the phone.")

    def touches(self) -> Touches:
        return erased(self._treatment())

    def _treatment(self) -> str:
        return f"treatment/{self.validated_data['treatment']}"


class TreatmentBody(TreatmentRemoved):
    zone = serializers.UUIDField()
    checkpoint = serializers.UUIDField(allow_null=True, default=None)
    monitor = serializers.UUIDField(allow_null=True, default=None)
    product = serializers.UUIDField()
    target = serializers.CharField(max_length=40)
    method = serializers.ChoiceField(Treatment.Method.choices)
    place = serializers.CharField(max_length=200)
    amount = serializers.DecimalField(12, 4, min_value=0)
    unit = chosen(Treatment.AmountUnit.choices)
    label = serializers.UUIDField(allow_null=True, default=None)  # type: ignore[assignment]
    rate = serializers.UUIDField(allow_null=True, default=None)
    surface = chosen(Treatment.Surface.choices)
    finished_amount = number(12, 4)
    finished_unit = chosen(Treatment.AmountUnit.choices)
    explanation = text(4000)
    started_at = serializers.DateTimeField()
    finished_at = serializers.DateTimeField(allow_null=True, default=None)
    batch_number = text(60)
    equipment = text(120)
    situation = text(120)
    dilution = text(120)
    area = number(12, 4)
    area_unit = chosen(Treatment.AreaUnit.choices)
    outdoors = serializers.BooleanField(default=False)
    wind_speed = number(5, 1)
    wind_direction = text(20)
    weather = text(120)
    precautions = text(4000)
    cautions_confirmed = serializers.ListField(
        child=serializers.CharField(max_length=40), default=list, max_length=40
    )
    re_entry = text(200)
    supervised_person = text(120)
    note = text(4000)

    def touches(self) -> Touches:
        return word(self._treatment())


class ContactBody(Body):
    contact_name = text(120)
    contact_job_title = text(80)
    summary = text(8000)
    signature = serializers.ListField(
        child=serializers.ListField(
            child=serializers.ListField(child=serializers.FloatField(), max_length=2),
            max_length=5000,
        ),
        allow_null=True,
        default=None,
        max_length=200,
        help_text="Pen strokes: lists of [x, y] points, fractions of the pad.",
    )
    signature_typed = text(120)
    no_signature_reason = text(300)

    def touches(self) -> Touches:
        return word("contact")


class CloseBody(ContactBody):
    operations = serializers.IntegerField(
        min_value=0,
        max_value=100_000,
        allow_null=True,
        default=None,
        help_text="How many operations this device made for this visit before this one.",
    )
    minutes_on_site = serializers.IntegerField(
        min_value=0,
        max_value=MOST_MINUTES,
        allow_null=True,
        default=None,
        help_text="Only where they are not those between start and closing.",
    )
    minutes_reason = text(300)

    def touches(self) -> Touches:
        return Touches()

    def speaks_of(self) -> frozenset[str]:
        """A closing that names whom it met says the last word on that."""
        return frozenset({"contact"} if self.validated_data["contact_name"] else ())


def photos_named(body: Any) -> list[str]:
    """The photos that a body names, by their hashes, each once; whatever the body is."""
    named = body.get("photos") if isinstance(body, dict) else None
    if not isinstance(named, list):
        return []
    return [one for one in dict.fromkeys(map(str, named)) if re.match(HASH, one)]
