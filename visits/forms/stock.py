"""What may be typed of batches, counts, what somebody carries, and a dose that is tried."""

from typing import Any, cast

from django import forms
from django.db.models import QuerySet

from accounts.forms import DayInput
from visits.dosing.doses import NO_RATE, Dose, Use, dose, use
from visits.dosing.label import Label
from visits.dosing.units import DosingError, Quantity
from visits.forms.amounts import AmountField, unit_choices
from visits.forms.inputs import ShortText
from visits.models import Product
from visits.queries.labels import LabelShown


class FindBatches(forms.Form):
    """What the list of batches is narrowed to; it lives in the address."""

    q = forms.CharField(label="Product or batch number", required=False, max_length=80)
    state = forms.ChoiceField(
        label="State",
        required=False,
        choices=[
            ("", "In use"),
            ("expiring", "Expired or expiring"),
            ("differs", "Count and records differ"),
            ("used_up", "Used up"),
            ("all", "All"),
        ],
    )


class BatchForm(forms.Form):
    """What came in."""

    seen = forms.CharField(required=False, widget=forms.HiddenInput)
    number = forms.CharField(
        label="Batch number", max_length=60, help_text="As it stands on the pack."
    )
    received_on = forms.DateField(label="Received on", widget=DayInput)
    amount = AmountField(label="Amount", places=2, required=True)
    expires_on = forms.DateField(label="Use by", required=False, widget=DayInput)
    note = forms.CharField(max_length=300, required=False, widget=ShortText)

    def __init__(self, *args: Any, product: Product, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["amount"].label = f"Amount, {product.get_unit_display()}"
        self.fields["amount"].help_text = "All packs of the batch together."

    def facts(self) -> dict[str, Any]:
        return {name: value for name, value in self.cleaned_data.items() if name != "seen"}


class CountForm(forms.Form):
    """What was left when somebody looked. Nothing left is a count too."""

    counted_on = forms.DateField(label="Counted on", widget=DayInput)
    amount = AmountField(label="What is left", places=2, required=True)
    note = forms.CharField(max_length=300, required=False, widget=ShortText)

    def __init__(self, *args: Any, product: Product, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["amount"].label = f"What is left, {product.get_unit_display()}"


class UsedUpForm(forms.Form):
    """From when on nothing is left."""

    on = forms.DateField(label="Used up on", widget=DayInput)


class CarryForm(forms.Form):
    """A product that goes into the van, found by its name or number, and which batch of it."""

    product = forms.CharField(
        label="Product",
        max_length=200,
        help_text="Its full name or its registration number.",
    )
    batch = forms.CharField(
        label="Batch number", max_length=60, required=False, help_text="As it stands on the pack."
    )

    def __init__(self, *args: Any, products: QuerySet[Product], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.products = products

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        told = " ".join(data.get("product", "").split()).casefold()
        if not told:
            return data
        found = [
            one
            for one in self.products.filter(withdrawn_on=None, found_by__contains=told)[:50]
            if told in (one.name.casefold(), one.registration_number.casefold())
        ]
        if len(found) != 1:
            self.add_error(
                "product",
                "Several products are called so. Type the registration number."
                if found
                else "No product in use has this name or number.",
            )
            return data
        data["product"] = found[0]
        number = " ".join(data.get("batch", "").split()).casefold()
        batches = found[0].batches.filter(used_up_on=None) if number else ()
        matching = [one for one in batches if one.number.casefold() == number]
        if number and not matching:
            self.add_error("batch", f"No batch of {found[0]} in use has this number.")
        data["batch"] = matching[0] if matching else None
        return data


class TryDose(forms.Form):
    """A measured place, or a tank, against a line of rates. Nothing is written."""

    rate = forms.ChoiceField(label="Rate", error_messages={"required": "Choose a rate."})
    measure = AmountField(
        label="Size of the place or the tank",
        required=True,
        error_messages={"required": "Say how large the place is."},
    )
    measure_unit = forms.ChoiceField(
        label="Unit",
        error_messages={"required": "Choose a unit."},
        choices=unit_choices("points", "area", "length", "void", "volume"),
    )
    amount = AmountField(
        label="Amount used",
        help_text="Of the product itself, to see it against the label.",
    )
    amount_unit = forms.ChoiceField(
        label="Unit", required=False, choices=unit_choices("mass", "volume")
    )

    def __init__(self, *args: Any, shown: LabelShown, **kwargs: Any) -> None:
        super().__init__(*args, **{**kwargs, "prefix": "try"})
        choices = [(str(one.position), one.words) for one in shown.rates]
        cast(forms.ChoiceField, self.fields["rate"]).choices = choices
        if not choices:
            self.fields["rate"].help_text = NO_RATE
        self.found: Dose | None = None
        self.against: Use | None = None

    @property
    def is_asked(self) -> bool:
        """Whether anything was asked: a page opened plainly shows no errors."""
        return self.is_bound and self.add_prefix("measure") in self.data

    def work_out(self, label: Label | None) -> None:
        """Work the dose out; what stands in the way is said beside its field."""
        sound = self.is_valid()
        if label is None or not label.rates:
            # Whatever was chosen, there was nothing to choose from.
            self.errors.pop("rate", None)
            self.add_error("rate", NO_RATE)
            return
        if not sound:
            return
        data = self.cleaned_data
        line = label.rates[int(data["rate"]) - 1]
        measure = Quantity(data["measure"], data["measure_unit"])
        try:
            self.found = dose(line, label, measure)
        except DosingError as error:
            self._told(error, "measure")
            return
        if data["amount"] is None:
            return
        try:
            self.against = use(line, label, measure, Quantity(data["amount"], data["amount_unit"]))
        except DosingError as error:
            self._told(error, "amount")

    def _told(self, error: DosingError, about: str) -> None:
        field = f"{about}_unit" if error.field == "unit" else error.field
        self.add_error(field if field in self.fields else about, str(error))
