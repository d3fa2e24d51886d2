"""What may be typed about rodent bait."""

from django import forms

from visits.forms.inputs import ShortText
from visits.models import BaitingReview


class ReviewBaiting(forms.Form):
    """Why bait goes on lying, or that it is lifted."""

    outcome = forms.ChoiceField(
        label="What follows", choices=BaitingReview.Outcome.choices, widget=forms.RadioSelect
    )
    cause = forms.CharField(
        label="Why",
        max_length=2000,
        widget=ShortText,
        help_text="What was seen, and what else was tried. Stays on the record.",
    )


class FilterBaiting(forms.Form):
    """What the list is narrowed to; it lives in the address."""

    overdue = forms.BooleanField(label="Past their review day only", required=False)
