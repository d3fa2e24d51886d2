"""What the month page is narrowed to, and what books many visits at once."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from django import forms

from accounts.forms import DayInput
from accounts.models import User
from visits.forms.inputs import MonthInput
from visits.models import Visit
from visits.queries.month import LATE, MonthFilter


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
