"""What may be typed into an amendment."""

from django import forms

from visits.forms.inputs import ShortText


class AmendVisit(forms.Form):
    """A correction that stands beside the sealed record."""

    about = forms.CharField(
        label="What does it concern?",
        max_length=160,
        help_text="Such as: monitor 12, or the finding behind the left oven.",
    )
    correction = forms.CharField(label="What is right?", max_length=4000, widget=ShortText)
    reason = forms.CharField(
        label="Why is it corrected?",
        max_length=2000,
        widget=ShortText,
        help_text="How the mistake came about, and how it was noticed.",
    )
