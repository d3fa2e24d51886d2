"""The form of the money terms."""

from decimal import Decimal

from django import forms

from compliance.services.money_terms import TermsGiven

HUNDRED = Decimal(100)


class SetMoneyTerms(forms.Form):
    """Interest and price growth in percent a year, the years looked at, and where they are from."""

    yearly_rate = forms.DecimalField(
        min_value=Decimal(-10),
        max_value=Decimal(50),
        decimal_places=2,
        max_digits=5,
        label="Interest a year, in percent",
        help_text="What money costs or earns. At 0 a sum in five years counts as much as today.",
    )
    yearly_growth = forms.DecimalField(
        min_value=Decimal(-10),
        max_value=Decimal(50),
        decimal_places=2,
        max_digits=5,
        label="Price growth a year, in percent",
        help_text="By how much visits and work grow dearer, on each anniversary.",
    )
    years = forms.IntegerField(
        min_value=1, max_value=10, label="Years", help_text="Options are weighed over so many."
    )
    basis = forms.CharField(
        max_length=200, label="Where these are from", help_text="Clients may ask."
    )

    def given(self) -> TermsGiven:
        """The terms as the service takes them."""
        told = self.cleaned_data
        return TermsGiven(
            yearly_rate=told["yearly_rate"] / HUNDRED,
            yearly_growth=told["yearly_growth"] / HUNDRED,
            years=told["years"],
            basis=told["basis"],
        )
