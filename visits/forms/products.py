"""What may be typed about products."""

from django import forms

from accounts.forms import DayInput
from sites.forms import RecordForm
from visits.forms.inputs import ShortText
from visits.models import Product


class FindProduct(forms.Form):
    """What the register is narrowed to; it lives in the address."""

    q = forms.CharField(
        label="Name, number, active ingredient or pest", required=False, max_length=80
    )
    withdrawn = forms.BooleanField(label="Show withdrawn ones too", required=False)


class ProductForm(RecordForm):
    """What stays the same from one version of the label to the next."""

    class Meta:
        model = Product
        fields = (
            "name",
            "registration_number",
            "authority",
            "formulation",
            "unit",
            "is_demo",
        )
        labels = {
            "unit": "Amounts are measured in",
            "is_demo": "Invented for demonstration",
        }
        help_texts = {
            "unit": "Stock and sums are kept in it. It stays once anything was recorded.",
        }


class WithdrawProduct(forms.Form):
    """From when on a product is no longer used, and why."""

    on = forms.DateField(label="No longer used from", widget=DayInput)
    reason = forms.CharField(max_length=300, widget=ShortText)
