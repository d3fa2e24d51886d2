"""Which rules hold for records."""

from typing import Any, cast

from django import forms

from visits.dosing.rules import RULE_SETS, RuleSet


class ChooseRules(forms.Form):
    """``fallback`` is the company's set, for a site that may go by it."""

    rule_set = forms.ChoiceField(
        label="Records are judged by",
        choices=[(one.slug, one.title) for one in RULE_SETS.values()],
        widget=forms.RadioSelect,
    )

    def __init__(self, *args: Any, fallback: RuleSet | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if fallback is None:
            return
        field = cast(forms.ChoiceField, self.fields["rule_set"])
        field.required = False
        field.choices = [
            ("", f"As for the whole company: {fallback.title}"),
            *((one.slug, one.title) for one in RULE_SETS.values()),
        ]
