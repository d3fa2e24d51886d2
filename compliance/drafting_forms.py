"""The form by which the office has options worked out from the price list."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import QueryDict

from accounts.templatetags.kickplate import money
from compliance.economics.ranges import Range, exactly
from compliance.models import ActionOption, Remedy
from compliance.queries.drafting import AgreedPrice, Chosen, Wanted, WayWanted
from compliance.queries.remedies import priced_remedies

MOST_LASTING, MOST_INTERIM, MOST_VISITS = 4, 3, 20
Kind = ActionOption.Kind


class RemedyChoice(forms.ModelChoiceField):  # type: ignore[type-arg]  # not generic at run time
    """A remedy by its name and what one of it costs."""

    currency = ""

    def label_from_instance(self, obj: Any) -> str:
        price = money(obj.price, self.currency)
        return f"{obj.name} ({price} per {obj.get_unit_display()})"


def _quantity(label: str) -> forms.DecimalField:
    return forms.DecimalField(
        min_value=Decimal("0.01"), max_digits=7, decimal_places=2, required=False, label=label
    )


class ChooseRemedy(forms.Form):
    """So much of one remedy; left wholly empty it is none."""

    remedy = RemedyChoice(Remedy.objects.none(), required=False, empty_label="Nothing more")
    quantity = _quantity("How much of it")
    quantity_low = _quantity("Least")
    quantity_high = _quantity("Most")

    def __init__(
        self,
        *args: Any,
        remedies: QuerySet[Remedy],
        offered: list[Any],
        currency: str,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        field = cast(RemedyChoice, self.fields["remedy"])
        field.currency, field.queryset = currency, remedies
        field.choices = [
            ("", field.empty_label),
            *((one.pk, field.label_from_instance(one)) for one in offered),
        ]

    def clean(self) -> dict[str, Any]:
        told = super().clean() or self.cleaned_data
        given = [told.get(name) for name in ("quantity_low", "quantity", "quantity_high")]
        if told.get("remedy") is None:
            if any(one is not None for one in given):
                raise ValidationError("Choose the remedy that this is so much of.")
        elif given[1] is None:
            self.add_error("quantity", "Say how much of it.")
        elif (given[0] is None) != (given[2] is None):
            raise ValidationError("Give both the least and the most, or neither.")
        elif given[0] is not None and not given[0] <= given[1] <= cast(Decimal, given[2]):
            raise ValidationError("The least comes first, the most last.")
        return told

    def chosen(self) -> Chosen | None:
        """What was chosen, if anything."""
        told = self.cleaned_data
        if told.get("remedy") is None:
            return None
        likely, low = told["quantity"], told["quantity_low"]
        span = exactly(likely) if low is None else Range(low, likely, told["quantity_high"])
        return Chosen(told["remedy"], span)


class WorkTerms(forms.Form):
    """Visits charged for, and what the work is to save."""

    visit_price = forms.ChoiceField(required=False, label="Visits are charged as")
    lasting_visits = forms.IntegerField(
        min_value=0,
        max_value=MOST_VISITS,
        initial=1,
        required=False,
        label="Visits for lasting work",
    )
    interim_visits = forms.IntegerField(
        min_value=0, max_value=MOST_VISITS, initial=0, required=False, label="Visits for the fix"
    )
    lasting_effect = forms.IntegerField(
        min_value=0,
        max_value=100,
        required=False,
        label="Lasting work: share saved, in %",
        help_text="Left empty: what was measured at your sites, if anything was.",
    )
    lasting_words = forms.CharField(
        required=False, max_length=500, label="Lasting work: why that much"
    )
    interim_effect = forms.IntegerField(
        min_value=0, max_value=100, required=False, label="Interim fix: share saved, in %"
    )
    interim_words = forms.CharField(
        required=False, max_length=500, label="Interim fix: why that much"
    )
    with_nothing = forms.BooleanField(
        required=False, initial=True, label="Add doing nothing, knowingly, as the last way"
    )

    def __init__(
        self, *args: Any, prices: Sequence[AgreedPrice], currency: str, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self._prices = {one.key: one for one in prices}
        cast(forms.ChoiceField, self.fields["visit_price"]).choices = [
            ("", "Nothing"),
            *((one.key, f"{one.words} ({money(one.price, currency)})") for one in prices),
        ]

    def clean(self) -> dict[str, Any]:
        told = super().clean() or self.cleaned_data
        for way in ("lasting", "interim"):
            if told.get(f"{way}_effect") is not None and not told.get(f"{way}_words"):
                self.add_error(f"{way}_words", "Say why so much; it is your assumption.")
        return told

    def visit(self) -> AgreedPrice | None:
        """By which price visits are charged, if any."""
        return self._prices.get(self.cleaned_data["visit_price"])


class WorkOut:
    """The whole of it: remedies for lasting work and for the interim fix, and the terms.

    ``offers`` are the rows that can be chosen, fetched once for all selects. Two queries.
    """

    def __init__(
        self,
        data: QueryDict | None,
        *,
        remedies: QuerySet[Remedy],
        prices: Sequence[AgreedPrice],
        currency: str,
        first: dict[str, Any],
    ) -> None:
        def rows(holds: str, most: int) -> Any:
            offered = priced_remedies(remedies, holds)
            formset = forms.formset_factory(
                ChooseRemedy, extra=most, max_num=most, absolute_max=most
            )
            kwargs = {"remedies": offered, "offered": list(offered), "currency": currency}
            initial = first.get(holds, [])
            return formset(
                data, prefix=holds, form_kwargs=kwargs, initial=None if data else initial
            )

        self.lasting = rows(Remedy.Holds.LASTING, MOST_LASTING)
        self.interim = rows(Remedy.Holds.INTERIM, MOST_INTERIM)
        self.terms = WorkTerms(
            data, prefix="work", prices=prices, currency=currency, initial=first.get("terms")
        )
        self.first = first
        self.error = ""

    def is_valid(self) -> bool:
        """Whether it can be worked out; ``error`` says why not."""
        parts = (self.lasting, self.interim, self.terms)
        if not all(part.is_valid() for part in parts):
            self.error = "Something in it cannot be read; it says so where it stands."
        elif not _chosen(self.lasting):
            self.error = "Choose at least one remedy for the lasting work."
        return not self.error

    def can_be_chosen(self) -> bool:
        """Whether the price list has anything lasting to offer."""
        return len(self.lasting.form_kwargs["offered"]) > 0

    def wanted(self) -> Wanted:
        """As the drafting takes it."""
        told, interim = self.terms.cleaned_data, _chosen(self.interim)
        return Wanted(
            lasting=_way(told, "lasting", _chosen(self.lasting)),
            interim=_way(told, "interim", interim) if interim else None,
            visit_price=self.terms.visit(),
            with_nothing=told["with_nothing"],
        )


def _chosen(rows: Any) -> list[Chosen]:
    return [found for form in rows for found in [form.chosen()] if found]


def _way(told: dict[str, Any], way: str, chosen: list[Chosen]) -> WayWanted:
    return WayWanted(
        chosen=chosen,
        visits=told[f"{way}_visits"] or 0,
        effect_percent=told[f"{way}_effect"],
        effect_words=told[f"{way}_words"],
    )


def first_of_options(options: Sequence[ActionOption]) -> dict[str, Any]:
    """What the form begins with where options were worked out before; else nothing."""
    first: dict[str, Any] = {}
    terms: dict[str, Any] = {"with_nothing": any(one.kind == Kind.NOTHING for one in options)}
    for option in options:
        if option.working.get("from") != "price_list" or option.kind in first:
            continue
        first[option.kind] = [_first_row(line) for line in option.working["lines"]]
        visits = option.working["visits"]
        terms[f"{option.kind}_visits"] = visits["number"] if visits else 0
        terms["visit_price"] = visits["key"] if visits else terms.get("visit_price", "")
        if option.effect_basis == ActionOption.Basis.ASSUMPTION:
            terms[f"{option.kind}_effect"] = option.effect_percent
            terms[f"{option.kind}_words"] = option.effect_words
    return {**first, "terms": terms} if first else {}


def _first_row(line: dict[str, Any]) -> dict[str, Any]:
    low, likely, high = line["quantity"]
    row = {"remedy": line["remedy"], "quantity": likely}
    return row if low == high else {**row, "quantity_low": low, "quantity_high": high}
