"""What may be typed about visits. Forms check shape; services decide."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from accounts.forms import DayInput
from accounts.models import User
from visits.models import Product, Visit
from visits.queries.month import LATE, MonthFilter


class TimeInput(forms.TimeInput):
    """A time of day, to the minute."""

    input_type = "time"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%H:%M", **kwargs)


class MonthInput(forms.DateInput):
    """A month, as browsers offer it; any day of the month will do."""

    input_type = "month"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%Y-%m", **kwargs)


class ShortText(forms.Textarea):
    """A few lines."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__({"rows": 3, **kwargs})


class FilterMonth(forms.Form):
    """What the month page is narrowed to; it lives in the address."""

    month = forms.DateField(input_formats=["%Y-%m"], widget=MonthInput, required=False)
    state = forms.ChoiceField(
        choices=[("", "All"), (LATE, "Late, from any month"), *Visit.State.choices],
        required=False,
    )
    technician = forms.TypedChoiceField(required=False, empty_value=None)
    client = forms.TypedChoiceField(required=False, empty_value=None)
    branch = forms.TypedChoiceField(required=False, empty_value=None)
    day = forms.DateField(widget=forms.HiddenInput, required=False)

    def __init__(
        self,
        data: Any,
        *,
        technicians: Sequence[Any],
        clients: Sequence[Any],
        branches: Sequence[Any],
    ) -> None:
        super().__init__(data)
        for name, found in (
            ("technician", technicians),
            ("client", clients),
            ("branch", branches),
        ):
            field = self.fields[name]
            field.choices = [("", "All"), *((str(one.pk), str(one)) for one in found)]  # type: ignore[attr-defined]
            if not found:
                del self.fields[name]

    def wanted(self, today: date) -> MonthFilter:
        """What to look for; what cannot be read narrows nothing, and the page says so."""
        self.is_valid()
        told = self.cleaned_data
        return MonthFilter(
            first=(told.get("month") or today).replace(day=1),
            state=told.get("state") or "",
            technician_id=told.get("technician"),
            client_id=told.get("client"),
            branch_id=told.get("branch"),
            day=told.get("day"),
        )


class BookMany(forms.Form):
    """One technician and one day for all the visits that were ticked."""

    technician = forms.ChoiceField()
    day = forms.DateField(widget=DayInput)

    def __init__(self, *args: Any, technicians: Iterable[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.people = {str(person.pk): person for person in technicians}
        chosen: Any = self.fields["technician"]
        chosen.choices = [("", "Choose"), *((key, one.name) for key, one in self.people.items())]

    def clean_technician(self) -> User:
        """The person behind the choice."""
        return self.people[self.cleaned_data["technician"]]


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


class FindProduct(forms.Form):
    """What the register is narrowed to; it lives in the address."""

    q = forms.CharField(label="Name, number or active ingredient", required=False, max_length=80)
    withdrawn = forms.BooleanField(label="Show withdrawn ones too", required=False)


class ProductForm(forms.ModelForm):  # type: ignore[type-arg]  # not generic when it runs
    """What the label says; the model's own limits are the shape. Never saved from here."""

    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    class Meta:
        model = Product
        fields = (
            "name",
            "registration_number",
            "authority",
            "formulation",
            "actives",
            "unit",
            "permitted_places",
            "permitted_pests",
            "cautions",
            "re_entry",
            "safety_data_sheet_on",
            "authorised_until",
            "is_demo",
        )
        labels = {
            "unit": "Amounts are measured in",
            "permitted_places": "Where the label permits it",
            "permitted_pests": "Against which pests the label permits it",
            "re_entry": "When people may come back",
            "safety_data_sheet_on": "Date of the safety data sheet",
            "is_demo": "Invented for demonstration",
        }
        help_texts = {
            "cautions": "One a line, in the label's own words.",
            "re_entry": "As on the label.",
        }
        widgets = {
            "permitted_places": ShortText,
            "permitted_pests": ShortText,
            "cautions": ShortText,
            "safety_data_sheet_on": DayInput,
            "authorised_until": DayInput,
        }

    def facts(self) -> dict[str, Any]:
        """What was typed, without the mark of what was seen."""
        return {name: value for name, value in self.cleaned_data.items() if name != "seen"}


class WithdrawProduct(forms.Form):
    """From when on a product is no longer used, and why."""

    on = forms.DateField(label="No longer used from", widget=DayInput)
    reason = forms.CharField(max_length=300, widget=ShortText)
