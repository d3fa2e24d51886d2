"""What the office may enter of monitors for a day without a visit."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django import forms
from django.forms import BoundField

from accounts.forms import DayInput
from sites.models import Monitor
from visits.models import Pest, Reading
from visits.services.readings import MOST_OF_A_PEST
from visits.services.writing import ReadingGiven

NOT_READ = ("", "Not read")


class ReadOn(forms.Form):
    """The day of which readings are entered; it lives in the address."""

    day = forms.DateField(label="Day", widget=DayInput)

    def __init__(self, *args: Any, latest: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.latest = latest

    def clean_day(self) -> date:
        day: date = self.cleaned_data["day"]
        if day > self.latest:
            raise forms.ValidationError("This day is still to come.")
        return day


@dataclass(frozen=True, slots=True)
class Row:
    """One monitor: its fields with their short names, or why it takes none."""

    monitor: Monitor
    fields: Sequence[tuple[str, BoundField]]
    otherwise: Reading | None


def _count(least: int) -> forms.IntegerField:
    sentence = f"Count from {least} to {MOST_OF_A_PEST:,} in whole numbers."
    return forms.IntegerField(
        min_value=least,
        max_value=MOST_OF_A_PEST,
        error_messages=dict.fromkeys(("invalid", "min_value", "max_value"), sentence),
    )


class EnterReadings(forms.Form):
    """A condition, counts and a note for each monitor; a row without any was not read."""

    def __init__(
        self,
        *args: Any,
        monitors: Sequence[Monitor],
        pests: Sequence[Pest],
        others: Sequence[Pest],
        held: Mapping[UUID, Reading],
        otherwise: Mapping[UUID, Reading],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.monitors, self.pests, self.held, self.otherwise = monitors, pests, held, otherwise
        choices = [("", "None"), *((one.slug, one.name) for one in others)]
        self.short: dict[str, str] = {}
        for monitor in monitors:
            if monitor.pk not in otherwise:
                self._add_fields(monitor, choices, held.get(monitor.pk))

    def _add_fields(
        self, monitor: Monitor, others: Sequence[tuple[str, str]], held: Reading | None
    ) -> None:
        counts = {one.pest.slug: one.count for one in held.counts.all()} if held else {}

        def add(name: str, label: str, field: forms.Field, initial: Any) -> None:
            field.label = f"Monitor {monitor.number}, {label}"
            field.required, field.initial = False, initial
            self.fields[f"{monitor.number}-{name}"] = field
            self.short[f"{monitor.number}-{name}"] = label

        add(
            "condition",
            "Condition",
            forms.ChoiceField(choices=[NOT_READ, *Reading.Condition.choices]),
            held.condition if held else "",
        )
        for pest in self.pests:
            add(pest.slug, pest.name, _count(0), counts.get(pest.slug))
        add("other", "Another pest", forms.ChoiceField(choices=others), "")
        add("other_count", "How many", _count(1), None)
        if monitor.kind == Monitor.Kind.BAIT_STATION:
            bait = forms.ChoiceField(choices=[("", "Not said"), *Reading.Bait.choices])
            add("bait_taken", "Bait", bait, held.bait_taken if held else "")
        add("note", "Note", forms.CharField(max_length=500), held.note if held else "")

    def rows(self) -> Iterator[Row]:
        """One for each monitor, in the order given."""
        for monitor in self.monitors:
            start = f"{monitor.number}-"
            fields = [
                (self.short[name], self[name]) for name in self.fields if name.startswith(start)
            ]
            yield Row(monitor, fields, self.otherwise.get(monitor.pk))

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        for monitor in self.monitors:
            other = told.get(f"{monitor.number}-other")
            if other and told.get(f"{monitor.number}-other_count") is None:
                self._say(f"{monitor.number}-other_count", "Say how many.")
            elif told.get(f"{monitor.number}-other_count") and not other:
                self._say(f"{monitor.number}-other", "Say which pest was counted.")
        return told

    def _say(self, name: str, sentence: str) -> None:
        """Unless something is wrong with it already."""
        if name not in self.errors:
            self.add_error(name, sentence)

    def given(self) -> list[ReadingGiven]:
        """The monitors of which anything was said."""
        return [one for monitor in self.monitors if (one := self._given(monitor)) is not None]

    def taken_back(self) -> list[UUID]:
        """The monitors that were entered before and of which nothing is said now."""
        said = {one.monitor_id for one in self.given()}
        return [one.pk for one in self.monitors if one.pk in self.held and one.pk not in said]

    def problems(self, sentences: Mapping[str, str]) -> None:
        """Say beside each monitor what stands in its way; by identifier."""
        for monitor in self.monitors:
            sentence = sentences.get(str(monitor.pk))
            name = f"{monitor.number}-condition"
            if sentence:
                self.add_error(name if name in self.fields else None, sentence)

    def _given(self, monitor: Monitor) -> ReadingGiven | None:
        def told(name: str) -> Any:
            return self.cleaned_data.get(f"{monitor.number}-{name}")

        counts = {pest.slug: count for pest in self.pests if (count := told(pest.slug)) is not None}
        if told("other"):
            counts[told("other")] = told("other_count")
        condition = told("condition") or ""
        if not (condition or counts or told("bait_taken") or told("note")):
            return None
        return ReadingGiven(
            monitor_id=monitor.pk,
            condition=condition or Reading.Condition.SOUND,
            counts=counts,
            bait_taken=told("bait_taken") or "",
            note=told("note") or "",
        )
