"""What is typed about action thresholds and their breaches, checked for its shape."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.http import QueryDict

from accounts.forms import DayInput, offer
from compliance.models import ActionThreshold, Breach
from compliance.services.thresholds import MOST_ANSWER, ThresholdGiven
from sites.models import Contract, Site, Zone
from visits.models import Pest

ALL = "all"


class FilterThresholds(forms.Form):
    """Which thresholds are listed; it lives in the address."""

    where = forms.ChoiceField(
        choices=[("", "Everywhere"), ("company", "Whole company"), ("sites", "Agreed for a site")],
        required=False,
        label="Where",
    )
    state = forms.ChoiceField(
        choices=[("", "In force"), ("ended", "Ended"), (ALL, "All")], required=False
    )

    def wanted(self) -> dict[str, str]:
        """What to look for; what cannot be read narrows nothing, and the page says so."""
        self.is_valid()
        return {name: self.cleaned_data.get(name, "") for name in self.fields}


class FilterBreaches(forms.Form):
    """Which breaches are listed; it lives in the address. Open ones unless another is named."""

    state = forms.ChoiceField(choices=[*Breach.State.choices, (ALL, "All")], required=False)
    site = forms.ModelChoiceField(Site.objects.none(), required=False, empty_label="All sites")
    pest = forms.ModelChoiceField(
        Pest.objects.none(), required=False, empty_label="All pests", to_field_name="slug"
    )

    def __init__(self, data: QueryDict, *, sites: QuerySet[Site]) -> None:
        super().__init__({"state": Breach.State.OPEN, **data.dict()})
        offer(self, "site", sites.order_by("name", "pk"))
        offer(self, "pest", Pest.objects.order_by("name", "pk"))

    def wanted(self) -> dict[str, Any]:
        """What to look for; what cannot be read narrows nothing, and the page says so."""
        self.is_valid()
        told = self.cleaned_data
        state = told.get("state") or Breach.State.OPEN
        return {
            "state": "" if state == ALL else state,
            "site": told.get("site"),
            "pest": told.get("pest"),
        }


class SetThreshold(forms.Form):
    """What a threshold is to be; for a site it may be one zone, and name the contract."""

    name = forms.CharField(max_length=120, help_text="By which people know it: “Any rodent”.")
    pest = forms.ModelChoiceField(
        Pest.objects.none(), required=False, label="Pest", empty_label="Not one alone"
    )
    group = forms.ChoiceField(
        choices=[("", "No group"), *Pest.Group.choices],
        required=False,
        label="Or a group of pests",
        help_text="Without pest and group it is asked of each pest by itself.",
    )
    per = forms.ChoiceField(
        choices=ActionThreshold.Per.choices, widget=forms.RadioSelect, label="What is counted"
    )
    least = forms.DecimalField(
        label="To act from",
        max_digits=8,
        decimal_places=2,
        help_text="Reached at this number itself. Individuals are whole numbers.",
        error_messages={"invalid": "Write a number, such as 1 or 2.5."},
    )
    zone = forms.ModelChoiceField(
        Zone.objects.none(), required=False, label="Zone", empty_label="Every zone"
    )
    zone_kinds = forms.MultipleChoiceField(
        choices=Zone.Kind.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices in-row"}),
        label="Kinds of zones",
        help_text="None ticked means every kind.",
    )
    contract = forms.ModelChoiceField(
        Contract.objects.none(),
        required=False,
        label="Agreed in",
        empty_label="No contract",
    )
    then = forms.ChoiceField(
        choices=ActionThreshold.Then.choices, widget=forms.RadioSelect, label="What follows"
    )
    begins_on = forms.DateField(
        label="Holds from",
        required=False,
        widget=DayInput,
        help_text="Today if left empty; at most 62 days back.",
    )

    def __init__(self, *args: Any, site: Site | None, changes: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.site = site
        offer(self, "pest", Pest.objects.order_by("name", "pk"))
        if site:
            zones = Zone.objects.filter(site=site, retired_on=None)
            offer(self, "zone", zones.order_by("walk_order", "pk"))
            offer(self, "contract", Contract.objects.filter(site=site).order_by("-starts_on", "pk"))
        else:
            del self.fields["zone"], self.fields["contract"]
        if changes:
            del self.fields["begins_on"]

    @staticmethod
    def first(threshold: ActionThreshold) -> dict[str, Any]:
        """What a form that changes a threshold begins with."""
        told = {
            name: getattr(threshold, name)
            for name in ("name", "pest", "group", "per", "zone", "zone_kinds", "contract", "then")
        }
        return {**told, "least": f"{threshold.least.normalize():f}"}

    def given(self) -> ThresholdGiven:
        """As the services take it."""
        told = self.cleaned_data
        pest, zone, contract = told["pest"], told.get("zone"), told.get("contract")
        return ThresholdGiven(
            name=told["name"],
            per=told["per"],
            least=told["least"],
            then=told["then"],
            pest_id=pest.pk if pest else None,
            group=told["group"],
            site_id=self.site.pk if self.site else None,
            zone_id=zone.pk if zone else None,
            contract_id=contract.pk if contract else None,
            zone_kinds=told["zone_kinds"],
        )


class AnswerBreach(forms.Form):
    """What was done about a breach."""

    answer = forms.CharField(
        max_length=MOST_ANSWER,
        widget=forms.Textarea(attrs={"rows": 3}),
        label="What was done",
        help_text="The client and auditors read it too.",
    )
    with_the_rest = forms.BooleanField(required=False)

    def __init__(self, *args: Any, others: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if others:
            which = "the other open one" if others == 1 else f"the {others} other open ones"
            self.fields["with_the_rest"].label = f"It answers {which} of this pest and zone too"
        else:
            del self.fields["with_the_rest"]
