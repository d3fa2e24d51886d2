"""What may be typed about products."""

from django import forms

from accounts.forms import DayInput
from sites.forms import RecordForm
from visits.forms.inputs import ShortText
from visits.models import Product


class FindProduct(forms.Form):
    """What the register is narrowed to; it lives in the address."""

    q = forms.CharField(label="Name, number or active ingredient", required=False, max_length=80)
    withdrawn = forms.BooleanField(label="Show withdrawn ones too", required=False)


class ProductForm(RecordForm):
    """What the label says."""

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


class WithdrawProduct(forms.Form):
    """From when on a product is no longer used, and why."""

    on = forms.DateField(label="No longer used from", widget=DayInput)
    reason = forms.CharField(max_length=300, widget=ShortText)
