"""Fields for amounts as people type them: a comma or a point, and never a guess."""

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from visits.dosing.units import UNITS_OF, Kind, UnitError, read_number
from visits.models import MeasureUnit


class AmountField(forms.CharField):
    """A number as a label or a scale gives it; cleans to ``Decimal`` or None.

    What can be read in two ways is refused with a sentence, and what was typed stays.
    """

    def __init__(self, *, places: int = 6, digits: int = 8, **kwargs: Any) -> None:
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(**{"required": False, "widget": widget, **kwargs})
        self.places, self.digits = places, digits

    def prepare_value(self, value: Any) -> Any:
        return f"{value.normalize():f}" if isinstance(value, Decimal) else value

    def clean(self, value: Any) -> Any:
        typed = super().clean(value)
        if not typed:
            return None
        try:
            number = read_number(typed)
        except UnitError as error:
            raise ValidationError(str(error)) from error
        figure = Decimal(number.numerator) / Decimal(number.denominator)
        if Fraction(figure) != number or -int(figure.as_tuple().exponent) > self.places:
            raise ValidationError(f"At most {self.places} digits after the point can be kept.")
        if number >= 10**self.digits:
            raise ValidationError(f"At most {self.digits} digits before the point can be kept.")
        return figure


def unit_choices(*kinds: Kind, nothing: str = "Choose") -> list[tuple[str, str]]:
    """The units of some kinds that the register keeps, with nothing chosen first."""
    words: Mapping[str, str] = dict(MeasureUnit.choices)
    units = [unit for kind in kinds for unit in UNITS_OF[kind]]
    return [("", nothing), *((unit, words[unit]) for unit in units if unit in words)]
