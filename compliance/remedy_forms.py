"""What is typed about the price list, checked for its shape."""

from dataclasses import fields
from decimal import Decimal
from typing import Any

from django import forms

from compliance.models import Remedy
from compliance.services.remedies import RemedyGiven
from sites.keeping import fingerprint
from visits.models import Finding, RemedyKind

OFFERED, UNPRICED, ENDED, ALL = "", "unpriced", "ended", "all"
MOST_YEARS = 50
FACTS = tuple(one.name for one in fields(RemedyGiven))


class FilterRemedies(forms.Form):
    """Which remedies are listed; it lives in the address."""

    state = forms.ChoiceField(
        choices=[
            (OFFERED, "On the list"),
            (UNPRICED, "Without a price"),
            (ENDED, "Taken off"),
            (ALL, "All"),
        ],
        required=False,
    )
    holds = forms.ChoiceField(
        choices=[("", "All work"), *Remedy.Holds.choices], required=False, label="Kind of work"
    )

    def wanted(self) -> dict[str, str]:
        """What to look for; what cannot be read narrows nothing, and the page says so."""
        self.is_valid()
        return {name: self.cleaned_data.get(name, "") for name in self.fields}


def _money(label: str, help_text: str = "") -> forms.DecimalField:
    return forms.DecimalField(
        min_value=Decimal(0),
        max_digits=9,
        decimal_places=2,
        required=False,
        label=label,
        help_text=help_text,
    )


def _years(label: str, help_text: str = "") -> forms.IntegerField:
    return forms.IntegerField(
        min_value=1, max_value=MOST_YEARS, required=False, label=label, help_text=help_text
    )


class KeepRemedy(forms.Form):
    """A remedy of the price list; ``seen`` guards against two people writing at once."""

    name = forms.CharField(
        max_length=120, label="What is done", help_text="Clients read it in the working."
    )
    holds = forms.ChoiceField(
        choices=Remedy.Holds.choices, widget=forms.RadioSelect, label="Kind of work"
    )
    unit = forms.ChoiceField(choices=Remedy.Unit.choices, label="Counted by the")
    price = _money("Price of one", "Left empty it waits for a price, and cannot be chosen.")
    price_low = _money("Cheapest")
    price_high = _money("Dearest")
    minutes = forms.IntegerField(
        min_value=0,
        max_value=9999,
        initial=0,
        label="Labour for one, in minutes",
        help_text="Charged at the price of an hour on this list, besides the price of one.",
    )
    life_years = _years("Years that it lasts", "Left empty: as long as the building.")
    life_years_low = _years("Shortest life")
    life_years_high = _years("Longest life")
    finding_kinds = forms.MultipleChoiceField(
        choices=Finding.Kind.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices in-row"}),
        label="Findings it answers",
        help_text="None ticked means any.",
    )
    remedy_kinds = forms.MultipleChoiceField(
        choices=RemedyKind.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices in-row"}),
        label="Actions it is for",
        help_text="None ticked means any.",
    )
    basis = forms.CharField(
        max_length=300,
        label="Where this is from",
        help_text="A source, or “our own experience”; clients may ask.",
    )
    cautions = forms.CharField(
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        label="Cautions",
        help_text="One a line. The product's label, local codes and the licensed come first.",
    )
    seen = forms.CharField(required=False, widget=forms.HiddenInput)

    @staticmethod
    def first(remedy: Remedy) -> dict[str, Any]:
        """What a form that changes a remedy begins with."""
        facts = {name: getattr(remedy, name) for name in FACTS}
        return {**facts, "seen": fingerprint(remedy, FACTS)}

    def given(self) -> RemedyGiven:
        """As the services take it."""
        return RemedyGiven(**{name: self.cleaned_data[name] for name in FACTS})
