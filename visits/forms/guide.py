"""What may be typed about the method guide."""

from typing import Any, cast

from django import forms

from accounts.forms import DayInput
from sites.forms import RecordForm
from sites.models import Boundary, Zone
from visits.dosing.guide import Situation
from visits.dosing.vocabulary import SURROUNDINGS
from visits.forms.inputs import ShortText
from visits.models import GuideLine, Pest, Product, Treatment

# What follows from the boundary of the zone is not ticked by itself.
TICKED = [(word, words) for word, words in SURROUNDINGS.items() if not word.startswith("boundary_")]
ANY = [("", "Any")]


class Several(forms.MultipleChoiceField):
    """Any number of words, as boxes to tick; none of them: no condition."""

    def __init__(self, choices: Any = (), **kwargs: Any) -> None:
        super().__init__(
            choices=choices, required=False, widget=forms.CheckboxSelectMultiple, **kwargs
        )


class FilterGuide(forms.Form):
    """What the table is narrowed to; it lives in the address."""

    zone_kind = forms.ChoiceField(label="Zone", choices=[*ANY, *Zone.Kind.choices], required=False)
    verdict = forms.ChoiceField(
        label="Says", choices=[*ANY, *GuideLine.Verdict.choices], required=False
    )
    pest_group = forms.ChoiceField(
        label="Against", choices=[*ANY, *Pest.Group.choices], required=False
    )
    retired = forms.BooleanField(label="Show retired ones too", required=False)


class GuideLineForm(RecordForm):
    """One line: when it holds, and what it then says."""

    zone_kinds = Several(
        Zone.Kind.choices, label="In these zones", help_text="None ticked: in every zone."
    )
    surfaces = Several(
        Treatment.Surface.choices, label="At these places", help_text="None ticked: at every place."
    )
    pest_groups = Several(
        Pest.Group.choices, label="Against these", help_text="None ticked: against every pest."
    )
    pests = Several(label="Only against these pests", help_text="None ticked: the whole group.")
    surroundings = Several(SURROUNDINGS.items(), label="Where all of this is so")
    but_not = Several(SURROUNDINGS.items(), label="And none of this is so")
    formulation = forms.ChoiceField(
        choices=[("", "None"), *Product.Formulation.choices], required=False
    )
    method = forms.ChoiceField(choices=[("", "None"), *Treatment.Method.choices], required=False)
    rank = forms.IntegerField(
        min_value=0,
        max_value=99,
        initial=1,
        help_text="For what suits: the lowest number comes first.",
    )

    class Meta:
        model = GuideLine
        fields = (
            "verdict",
            "formulation",
            "method",
            "words",
            "rank",
            "zone_kinds",
            "surfaces",
            "pest_groups",
            "pests",
            "surroundings",
            "but_not",
            "source",
        )
        labels = {"verdict": "Says", "words": "Why, in words"}
        help_texts = {
            "words": "What the technician reads.",
            "source": "Where it is written, or: common practice, no source.",
        }
        widgets = {"words": ShortText}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        pests = Pest.objects.order_by("group", "name").values_list("slug", "name")
        cast(forms.MultipleChoiceField, self.fields["pests"]).choices = list(pests)


class RetireGuideLine(forms.Form):
    """From when on a line no longer holds, and why."""

    on = forms.DateField(label="No longer holds from", widget=DayInput)
    reason = forms.CharField(max_length=300, widget=ShortText)


class AskGuide(forms.Form):
    """A place to be treated, for a try; it lives in the address."""

    zone_kind = forms.ChoiceField(label="Zone", choices=Zone.Kind.choices)
    surface = forms.ChoiceField(
        label="Place", choices=[("", "Not known"), *Treatment.Surface.choices], required=False
    )
    pest = forms.ModelChoiceField(
        Pest.objects.none(), to_field_name="slug", required=False, empty_label="Not known"
    )
    boundary = forms.ChoiceField(label="Our remit", choices=Boundary.choices, required=False)
    around = Several(TICKED, label="What is round it")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        pest = cast("forms.ModelChoiceField[Pest]", self.fields["pest"])
        pest.queryset = Pest.objects.order_by("group", "name")

    def situation(self) -> Situation:
        """What was asked, for the pure rule."""
        told = self.cleaned_data
        pest = told["pest"]
        return Situation(
            zone_kind=told["zone_kind"],
            surface=told["surface"],
            pest=pest.slug if pest else "",
            pest_group=pest.group if pest else "",
            boundary=told["boundary"] or Boundary.WITHIN,
            **dict.fromkeys(told["around"], True),
        )
