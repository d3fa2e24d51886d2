"""What may be typed about follow-ups."""

from django import forms

from visits.forms.inputs import ShortText
from visits.models import FollowUp

ALL = "all"


class FilterFollowUps(forms.Form):
    """What the list is narrowed to; it lives in the address. Unless asked, what waits."""

    state = forms.ChoiceField(
        choices=[("", "To answer"), *FollowUp.State.choices[1:], (ALL, "All")], required=False
    )
    site = forms.UUIDField(required=False, widget=forms.HiddenInput)


class PassOver(forms.Form):
    """Why nobody looks again."""

    reason = forms.CharField(
        label="Why nobody looks again",
        max_length=300,
        widget=ShortText,
        help_text="Stays on the record.",
    )
