"""What the application register is narrowed to."""

from datetime import date
from typing import Any, cast

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator

from accounts.forms import DayInput
from visits.models import Pest

SHOW = (
    ("", "All"),
    ("incomplete", "Something is left unsaid"),
    ("late", "Made after the deadline"),
    ("forbidden", "What the label or law forbids"),
)


# At the very ends of the calendar a day has no midnight in every zone.
FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2999, 12, 31)


def _day(label: str) -> forms.DateField:
    return forms.DateField(
        label=label,
        required=False,
        widget=DayInput,
        validators=[MinValueValidator(FIRST_DAY), MaxValueValidator(LAST_DAY)],
    )


class NarrowRegister(forms.Form):
    """It lives in the address; what cannot be read narrows nothing. One query, for the pests.

    Products and people are typed: a register of five thousand products is no list to choose from.
    """

    where = forms.CharField(label="Site or client", required=False, max_length=80)
    product = forms.CharField(label="Product, number or active", required=False, max_length=80)
    pest = forms.ChoiceField(required=False)
    technician = forms.CharField(required=False, max_length=80)
    first = _day("From")
    last = _day("Up to")
    show = forms.ChoiceField(label="Show", required=False, choices=SHOW)

    def __init__(self, *args: Any, of_one_site: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if of_one_site:
            del self.fields["where"]
        pests = Pest.objects.order_by("name", "pk").values_list("pk", "name")
        choices = [("", "All"), *((str(pk), name) for pk, name in pests)]
        cast(forms.ChoiceField, self.fields["pest"]).choices = choices
