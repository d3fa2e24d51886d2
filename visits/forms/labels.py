"""What may be typed of a label: its facts, its active ingredients and its lines of rates.

Three forms stand on one page and are checked together by the pure sums, so that a sentence stands
beside the field that it is about. They check shape; ``services/labels.py`` decides.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any, ClassVar, cast

from django import forms
from django.forms import BaseFormSet, formset_factory
from django.http import QueryDict
from django.utils.datastructures import MultiValueDict

from accounts.forms import DayInput
from sites.forms import UploadField
from sites.media import MOST_DOCUMENT_BYTES
from visits.dosing.label import BASIS_WORDS, Active, Cover, Label, LabelError, RateLine
from visits.dosing.units import DosingError
from visits.forms.amounts import AmountField, unit_choices
from visits.forms.inputs import ShortText
from visits.label_words import rate_words
from visits.models import LabelRate, Pest, PlaceKind, Product, ProductLabel, Treatment
from visits.services.labels import (
    RATE_STATED,
    STATED,
    LabelFacts,
    Papers,
    label_mark,
    rate_stated,
)

MOST_ACTIVES, MOST_RATES = 20, 40
PAPERS = "application/pdf,image/jpeg,image/png"
_IN_ROW = {"class": "choices in-row"}


def _several(label: str, choices: Any, **kwargs: Any) -> forms.MultipleChoiceField:
    return forms.MultipleChoiceField(
        label=label,
        choices=choices,
        required=False,
        widget=forms.CheckboxSelectMultiple(attrs=_IN_ROW),
        **kwargs,
    )


class ActiveForm(forms.Form):
    """One active ingredient."""

    name = forms.CharField(label="Active ingredient", max_length=80)
    strength = AmountField(label="Strength", required=True)
    basis = forms.ChoiceField(
        label="Measured in",
        choices=[("", "Choose"), *((str(k), v) for k, v in BASIS_WORDS.items())],
    )

    def active(self) -> Active:
        data = self.cleaned_data
        return Active(data["name"], data["strength"], data["basis"])

    def facts(self) -> dict[str, str]:
        data = self.cleaned_data
        return {
            "name": data["name"],
            "strength": f"{data['strength'].normalize():f}",
            "basis": data["basis"],
        }

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if self.is_given and not self.errors:
            try:
                self.active()
            except LabelError as error:
                self.add_error(error.field, str(error))
        return data

    @property
    def is_given(self) -> bool:
        return self.has_changed() or bool(self.initial)


class RateForm(forms.Form):
    """One line of rates: so much, for so much of a place or of finished spray."""

    per = forms.ChoiceField(
        label="The rate is for", choices=[("", "Choose"), *LabelRate.Per.choices]
    )
    least = AmountField(label="At least", help_text="Where the label gives a range.")
    most = AmountField(label="At most", required=True)
    unit = forms.ChoiceField(label="Unit", choices=unit_choices("mass", "volume"))
    per_amount = AmountField(label="For each", initial="1")
    per_unit = forms.ChoiceField(
        label="Unit of that",
        choices=unit_choices("area", "length", "void", "points", "volume"),
    )
    of = forms.ChoiceField(label="Of", choices=LabelRate.Of.choices, initial="product")
    active = forms.CharField(
        label="Which active ingredient",
        max_length=80,
        required=False,
        help_text="Only for a rate of an active ingredient, where the label has several.",
    )
    cover_amount = AmountField(
        label="Finished spray", help_text="How much of the mixture goes over a place."
    )
    cover_unit = forms.ChoiceField(label="Unit", required=False, choices=unit_choices("volume"))
    cover_per_amount = AmountField(label="Over each")
    cover_per_unit = forms.ChoiceField(
        label="Unit of that",
        required=False,
        choices=unit_choices("area", "length", "void", "points"),
    )
    methods = _several(
        "For these methods only", Treatment.Method.choices, help_text="None: all of the label's."
    )
    places = _several(
        "In these places only", PlaceKind.choices, help_text="None: all of the label's."
    )
    words = forms.CharField(label="In the label's own words", max_length=200, required=False)

    # What the pure sums call differently from the form.
    beside: ClassVar[Mapping[str, str]] = {"cover": "cover_amount"}

    @property
    def is_given(self) -> bool:
        return self.has_changed() or bool(self.initial.get("most"))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not self.is_given:
            return data
        cover = ("cover_amount", "cover_unit", "cover_per_amount", "cover_per_unit")
        missing = [name for name in cover if not data.get(name)]
        if len(missing) < len(cover) and not any(name in self.errors for name in cover):
            for name in missing:
                self.add_error(name, "Give all four of what is sprayed, or none of them.")
        if not self.errors:
            try:
                self.line()
            except DosingError as error:
                self.told(error)
        return data

    def told(self, error: DosingError) -> None:
        field = self.beside.get(error.field, error.field)
        self.add_error(field if field in self.fields else "most", str(error))

    def line(self) -> RateLine:
        """The line for the sums. Raises ``DosingError``."""
        data = self.cleaned_data
        cover = None
        if data["cover_amount"] is not None:
            cover = Cover(
                data["cover_amount"],
                data["cover_unit"],
                data["cover_per_amount"],
                data["cover_per_unit"],
            )
        return RateLine(
            per=data["per"],
            most=data["most"],
            unit=data["unit"],
            per_amount=Fraction(1) if data["per_amount"] is None else data["per_amount"],
            per_unit=data["per_unit"],
            least=data["least"],
            of=data["of"],
            active=data["active"],
            cover=cover,
            methods=frozenset(data["methods"]),
            places=frozenset(data["places"]),
        )

    def facts(self) -> dict[str, Any]:
        facts = {name: self.cleaned_data[name] for name in RATE_STATED}
        return {**facts, "per_amount": facts["per_amount"] or 1}

    @property
    def has_finer(self) -> bool:
        """Whether any of the finer points is filled or wrong, so that the page unfolds them."""
        finer = (
            "cover_amount",
            "cover_unit",
            "cover_per_amount",
            "cover_per_unit",
            "active",
            "methods",
            "places",
            "words",
        )
        if self.is_bound and any(name in self.errors for name in finer):
            return True
        return any(self[name].value() for name in finer)

    def in_words(self) -> str:
        """How the row reads; nothing while it cannot be read."""
        form = self
        if not self.is_bound:
            if not self.initial.get("most"):
                return ""
            form = RateForm(self.initial)
        try:
            if not form.is_given or form.errors:
                return ""
            return f"Reads: {rate_words(form.line())}."
        except DosingError:
            return ""


ActiveRows = formset_factory(
    ActiveForm, extra=0, max_num=MOST_ACTIVES, absolute_max=MOST_ACTIVES, can_delete=True
)
RateRows = formset_factory(
    RateForm, extra=0, max_num=MOST_RATES, absolute_max=MOST_RATES, can_delete=True
)


class LabelForm(forms.Form):
    """What a label states besides its actives and rates."""

    seen = forms.CharField(required=False, widget=forms.HiddenInput)
    in_force_from = forms.DateField(
        label="In force from",
        widget=DayInput,
        help_text="The day from which this version applies to what your people do.",
    )
    issued_on = forms.DateField(label="Date of the label", required=False, widget=DayInput)
    authorised_until = forms.DateField(label="Authorised until", required=False, widget=DayInput)
    safety_data_sheet_on = forms.DateField(
        label="Date of the safety data sheet", required=False, widget=DayInput
    )
    density = AmountField(
        label="Density, kg/l",
        places=4,
        digits=4,
        help_text="Of the product as bought. Needed where a weight is compared with a volume.",
    )
    ready_to_use = forms.BooleanField(label="Ready to use, never diluted", required=False)
    pests = _several("Pests", ())
    pest_groups = _several("Whole groups of pests", Pest.Group.choices)
    permitted_pests = forms.CharField(
        label="Pests in the label's own words", required=False, widget=ShortText
    )
    places = _several("Places", PlaceKind.choices)
    permitted_places = forms.CharField(
        label="Places in the label's own words", required=False, widget=ShortText
    )
    methods = _several("Methods", Treatment.Method.choices)
    interval_days = forms.IntegerField(
        label="Days between applications, at least", required=False, min_value=0, max_value=3660
    )
    most_a_year = forms.IntegerField(
        label="Applications in a year, at most", required=False, min_value=1, max_value=366
    )
    re_entry_minutes = forms.IntegerField(
        label="Minutes until people may come back",
        required=False,
        min_value=0,
        max_value=14 * 24 * 60,
        help_text="From these, clients are told a day and an hour.",
    )
    re_entry = forms.CharField(
        label="When people may come back, in the label's own words", required=False, max_length=200
    )
    wind_most_kmh = AmountField(label="Wind at most, km/h", places=1, digits=3)
    names_weather = forms.BooleanField(
        label="The label names temperature, humidity or rain", required=False
    )
    cautions = forms.CharField(
        required=False, widget=ShortText, help_text="One a line, in the label's own words."
    )
    label_file = UploadField(
        label="The label itself",
        required=False,
        most_bytes=MOST_DOCUMENT_BYTES,
        kinds=PAPERS,
        help_text="A PDF or a picture. It is kept among the company's papers.",
    )
    sheet_file = UploadField(
        label="The safety data sheet",
        required=False,
        most_bytes=MOST_DOCUMENT_BYTES,
        kinds=PAPERS,
    )

    def __init__(self, *args: Any, pests: Sequence[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(forms.MultipleChoiceField, self.fields["pests"]).choices = list(pests)

    def facts(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in STATED if name != "actives"}


@dataclass
class LabelEntry:
    """The three forms of one version of a label, as a page shows them and a service takes them."""

    form: LabelForm
    actives: "BaseFormSet[ActiveForm]"
    rates: "BaseFormSet[RateForm]"

    @classmethod
    def made(
        cls,
        *,
        pests: Sequence[tuple[str, str]],
        today: date,
        data: QueryDict | None = None,
        files: MultiValueDict[str, Any] | None = None,
        label: ProductLabel | None = None,
        rates: Sequence[LabelRate] = (),
    ) -> "LabelEntry":
        """The forms as they start from a version, or as they were sent.

        With ``more`` in ``data`` a row of that kind is added to what was typed.
        """
        initial: dict[str, Any] = {"in_force_from": today}
        active_rows: list[Any] = []
        rate_rows: list[Any] = []
        if label is not None:
            initial |= {name: getattr(label, name) for name in STATED}
            initial["seen"] = label_mark(label, rates)
            active_rows = [dict(one) for one in label.actives]
            rate_rows = [rate_stated(one) for one in rates]
        if data is not None:
            data = _with_more(data)
        entry = cls(
            LabelForm(data, files, initial=initial, pests=pests),
            ActiveRows(data, initial=active_rows, prefix="actives"),
            RateRows(data, initial=rate_rows, prefix="rates"),
        )
        entry.actives.extra = 1 if active_rows else 2
        entry.rates.extra = 1
        return entry

    def is_valid(self, product: Product | None = None) -> bool:
        """Whether all of it can be a label, of this product; every sentence is where it belongs."""
        sound = [self.form.is_valid(), self.actives.is_valid(), self.rates.is_valid()]
        if all(sound) and product is not None:
            self._check_together(product)
        return not self.problems()

    def _check_together(self, product: Product) -> None:
        actives = tuple(one.active() for one in _kept(self.actives))
        stated = {
            "name": product.name,
            "formulation": product.formulation,
            "measured_in": product.unit,
            "actives": actives,
            "density": self.form.cleaned_data["density"],
            "wind_most_kmh": self.form.cleaned_data["wind_most_kmh"],
            "ready_to_use": self.form.cleaned_data["ready_to_use"],
        }
        try:
            Label(**stated)
        except DosingError as error:
            self.told(error.field, str(error))
            return
        for row in _kept(self.rates):
            try:
                Label(**stated, rates=(row.line(),))
            except DosingError as error:
                row.told(error)

    def told(self, field: str | None, sentence: str) -> None:
        """Say something beside a field of the label, else on top."""
        self.form.add_error(field if field in self.form.fields else None, sentence)

    def refused(self, fields: Mapping[str, Sequence[str]], sentence: str) -> None:
        """Say a service's no: beside its fields where this form has them."""
        for field, sentences in (fields or {"": [sentence]}).items():
            for one in sentences:
                self.told(field, one)

    def facts(self) -> LabelFacts:
        """What was typed, for the service."""
        return cast(
            LabelFacts,
            {
                **self.form.facts(),
                "actives": [one.facts() for one in _kept(self.actives)],
                "rates": [one.facts() for one in _kept(self.rates)],
            },
        )

    def papers(self) -> Papers:
        sent = self.form.cleaned_data
        return Papers(
            sent["label_file"].read() if sent["label_file"] else None,
            sent["sheet_file"].read() if sent["sheet_file"] else None,
        )

    def problems(self) -> list[tuple[str, str]]:
        """Every sentence with the id of its field, in the order of the page."""
        if not self.form.is_bound:
            return []
        found = problems_of(self.form)
        for rows in (self.actives, self.rates):
            found += [("", str(sentence)) for sentence in rows.non_form_errors()]
            for row in _kept(rows):
                found += problems_of(row)
        return found


def _kept(rows: "BaseFormSet[Any]") -> list[Any]:
    """The rows in which something stands and that are not to be taken out."""
    return [row for row in rows if row.is_given and not row["DELETE"].value()]


def problems_of(form: forms.BaseForm) -> list[tuple[str, str]]:
    """Every sentence of a form with the id of its field, those of the whole form first."""
    found = [("", str(sentence)) for sentence in form.non_field_errors()]
    return found + [
        (field.id_for_label, str(sentence))
        for field in form.visible_fields()
        for sentence in field.errors
    ]


def _with_more(data: QueryDict) -> QueryDict:
    """What was typed, with a row more of the kind whose button was pressed."""
    kind = data.get("more", "")
    most = {"actives": MOST_ACTIVES, "rates": MOST_RATES}.get(kind)
    told = data.get(f"{kind}-TOTAL_FORMS", "")
    if most is None or not told.isdecimal():
        return data
    data = data.copy()
    data[f"{kind}-TOTAL_FORMS"] = str(min(int(told) + 1, most))
    return data
