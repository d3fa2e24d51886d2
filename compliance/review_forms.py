"""What is typed in a trend review, checked for its shape."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any
from uuid import UUID

from django import forms
from django.core.exceptions import ValidationError
from django.forms.boundfield import BoundField

from compliance.forms import FewLines, Proves
from compliance.models import Alarm
from compliance.queries.reviews import ReviewSheet
from compliance.services.trend_reviews import Explained

MOST_WORDS = 4000
MOST_EXPLANATION = 300
MOST_LEFT = 20


@dataclass(frozen=True, slots=True)
class AlarmedPlace:
    """The open alarms of one place and pest, explained together. ``key`` names their fields."""

    key: str
    zone: str
    pest: str
    alarms: tuple[Alarm, ...]


def alarmed_places(sheet: ReviewSheet) -> list[AlarmedPlace]:
    """The open alarms by place and pest, each in the order of months."""

    def place(one: Alarm) -> tuple[str, str]:
        return (one.zone_id.hex if one.zone_id else "site", one.pest_id.hex)

    gathered = []
    for (zone, pest), alarms in groupby(sorted(sheet.alarms, key=place), place):
        together = tuple(alarms)
        first = together[0]
        gathered.append(
            AlarmedPlace(
                key=f"{zone}_{pest}",
                zone=first.zone.name if first.zone else "Whole site",
                pest=first.pest.name,
                alarms=together,
            )
        )
    return sorted(gathered, key=lambda one: (one.zone == "Whole site", one.zone, one.pest))


class SignReview(Proves):
    """What the counts show, why, and what is done; and why each open alarm was raised."""

    seen = forms.CharField(
        label="What the counts show",
        max_length=MOST_WORDS,
        widget=FewLines(5),
        help_text="By pest and zone: what went up, what went down, what could not be read.",
        error_messages={"required": "Say what the counts show, even if all is as usual."},
    )
    cause = forms.CharField(
        label="Why",
        required=False,
        max_length=MOST_WORDS,
        widget=FewLines(),
        help_text="As far as it is known.",
    )
    plan = forms.CharField(
        label="What is done about it",
        max_length=MOST_WORDS,
        widget=FewLines(),
        help_text="By whom and by when; or why nothing needs to be done.",
        error_messages={"required": "Say what is done, or why nothing needs to be."},
    )
    shown_hash = forms.CharField(max_length=64, widget=forms.HiddenInput)

    def __init__(self, *args: Any, sheet: ReviewSheet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._sheet = sheet
        self._places = alarmed_places(sheet)
        for one in self._places:
            self.fields[f"why_{one.key}"] = forms.CharField(
                label=f"Why there was more: {one.zone}, {one.pest}",
                required=False,
                max_length=MOST_EXPLANATION,
                widget=FewLines(2),
                help_text="An alarm that is explained is closed. Left empty, it stays open.",
            )
            self.fields[f"aside_{one.key}"] = forms.BooleanField(
                label="An outbreak: leave these months out of what is usual here",
                required=False,
            )
        self._keep_words_of_closed_alarms()
        order = [name for name in self.fields if name.startswith(("why_", "aside_"))]
        self.order_fields([*order, "seen", "cause", "plan", "password"])

    def _keep_words_of_closed_alarms(self) -> None:
        """What was typed about alarms that are open no more: shown to be copied, not signed."""
        typed = [
            name
            for name in self.data
            if name.startswith("why_") and name not in self.fields and self.data[name].strip()
        ]
        self._left = typed[:MOST_LEFT]
        for name in self._left:
            self.fields[name] = forms.CharField(
                label="What you wrote about an alarm that is no longer open",
                required=False,
                widget=forms.Textarea({"rows": 2, "readonly": True}),
                help_text="Not part of the review. Copy from it what you need.",
            )

    @property
    def left(self) -> Iterator[BoundField]:
        """The words about alarms that somebody else explained, or that were taken back."""
        return (self[name] for name in self._left)

    @property
    def places(self) -> Iterator[dict[str, Any]]:
        """Each place with open alarms beside its two fields."""
        for one in self._places:
            yield {
                "place": one,
                "why": self[f"why_{one.key}"],
                "aside": self[f"aside_{one.key}"],
            }

    def clean(self) -> dict[str, Any]:
        """What was read must be what stands, and whoever sets months aside says why."""
        told = self.cleaned_data
        for one in self._places:
            why, aside = told.get(f"why_{one.key}", ""), told.get(f"aside_{one.key}")
            if aside and not why.strip():
                self.add_error(f"why_{one.key}", ValidationError("Say what the outbreak was."))
        if told.get("shown_hash") != self._sheet.hash:
            self.add_error(
                None,
                "The figures changed while you were writing. Nothing was signed. What you see now "
                "is how they stand; your words are kept.",
            )
            # Whoever signs next has read these figures; a box left empty stays absent.
            typed = {name: self.data[name] for name in self.fields if name in self.data}
            self.data = {**typed, "shown_hash": self._sheet.hash}
        return super().clean()

    def sent(self) -> dict[str, Any]:
        """What was sent, unchecked, by which a review that was signed already is known again."""

        def words(name: str) -> str:
            return str(self.data.get(name, "")).strip()

        whys = {
            Explained(words(name), f"aside_{name.removeprefix('why_')}" in self.data)
            for name in self.data
            if name.startswith("why_") and words(name)
        }
        told = {name: words(name) for name in ("seen", "cause", "plan", "shown_hash")}
        return {**told, "whys": whys}

    def answered(self) -> dict[str, Any]:
        """The review as the service takes it."""
        told = self.cleaned_data
        explained: dict[UUID, Explained] = {}
        for one in self._places:
            why = told[f"why_{one.key}"].strip()
            if why:
                words = Explained(why, told[f"aside_{one.key}"])
                explained.update({alarm.pk: words for alarm in one.alarms})
        return {
            "seen": told["seen"],
            "cause": told["cause"],
            "plan": told["plan"],
            "shown_hash": told["shown_hash"],
            "explained": explained,
            "proof": self.proof,
        }
