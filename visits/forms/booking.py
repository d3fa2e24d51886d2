"""What may be typed about one visit and about call-outs."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from accounts.forms import DayInput
from visits.forms.inputs import ShortText, TimeInput
from visits.forms.month import BookMany
from visits.models import Visit


class BookVisit(BookMany):
    """Who comes, and when."""

    time = forms.TimeField(
        widget=TimeInput,
        required=False,
        help_text="Local time at the site. Left empty, it is some time that day.",
    )
    despite_access = forms.BooleanField(
        required=False, label="Somebody has agreed to open the premises at that time"
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, ask_access: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # The second yes is offered only once the first was refused for the hours of access.
        if not ask_access and "despite_access" not in self.data:
            del self.fields["despite_access"]


class SeenVersion(forms.Form):
    """A step that changes a visit as it was seen."""

    version = forms.IntegerField(widget=forms.HiddenInput)


class GiveReason(SeenVersion):
    """Why a visit is not made; the reason stays on the record and in the site file."""

    reason = forms.CharField(
        max_length=300, widget=ShortText, help_text="Stays on the record; auditors read it."
    )


class DueDays(forms.Form):
    """A due day with the first and the last day that count as on time."""

    due_on = forms.DateField(label="Due on", widget=DayInput)
    opens_on = forms.DateField(label="First day on time", widget=DayInput)
    closes_on = forms.DateField(label="Last day on time", widget=DayInput)

    def clean(self) -> None:
        """The due day lies between the other two."""
        told = self.cleaned_data
        due_on, opens_on, closes_on = (
            told.get(name) for name in ("due_on", "opens_on", "closes_on")
        )
        if due_on and opens_on and opens_on > due_on:
            self.add_error("opens_on", "The first day on time lies after the due day.")
        if due_on and closes_on and closes_on < due_on:
            self.add_error("closes_on", "The last day on time lies before the due day.")


class MoveVisit(DueDays, SeenVersion):
    """New days for one visit."""


class VisitNote(SeenVersion):
    """What a visit is expected to take and what the technician is told."""

    minutes = forms.IntegerField(min_value=5, max_value=1440)
    office_note = forms.CharField(
        label="Note for the technician",
        required=False,
        widget=ShortText,
        help_text="The client never sees it.",
    )


class AddVisit(DueDays):
    """One visit outside any recurrence."""

    kind = forms.ChoiceField(
        choices=[one for one in Visit.Kind.choices if one[0] != Visit.Kind.CALL_OUT]
    )
    minutes = forms.IntegerField(min_value=5, max_value=1440, initial=45)
    office_note = forms.CharField(
        label="Note for the technician",
        required=False,
        widget=ShortText,
        help_text="The client never sees it.",
    )

    field_order = ("kind", "due_on", "opens_on", "closes_on", "minutes", "office_note")


class TakeCallOut(forms.Form):
    """What somebody reported, and when; times are local to the site."""

    reported_on = forms.DateField(label="Reported on", widget=DayInput)
    reported_time = forms.TimeField(
        label="Reported at", widget=TimeInput, help_text="Local time at the site."
    )
    reported_by = forms.CharField(max_length=120, help_text="Name, and how to reach them.")
    problem = forms.CharField(widget=ShortText, help_text="What was seen, where, and when.")
    minutes = forms.IntegerField(min_value=5, max_value=1440, initial=60)

    def __init__(self, *args: Any, zone: ZoneInfo, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.zone, self.now = zone, now

    def clean(self) -> None:
        """Nobody has called yet at a time that is still to come."""
        day, time = (self.cleaned_data.get(name) for name in ("reported_on", "reported_time"))
        if day is None or time is None:
            return
        reported_at = datetime.combine(day, time, tzinfo=self.zone)
        if reported_at > self.now:
            self.add_error("reported_time", "This is still to come at the site.")
        self.cleaned_data["reported_at"] = reported_at


class AskCallOut(forms.Form):
    """What the client's manager saw."""

    problem = forms.CharField(
        label="What did you see?", widget=ShortText, help_text="What, where, and since when."
    )


class FindSite(forms.Form):
    """Part of a site's name, reference or address, or of its client's name."""

    q = forms.CharField(label="Site or client", required=False, max_length=80)
