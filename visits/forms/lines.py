"""What may be typed about service lines and how often they recur."""

from datetime import date
from typing import Any

from django import forms
from django.db import models

from accounts.forms import DayInput
from accounts.models import CompetenceKind, User
from sites.forms import RecordForm
from sites.models import ServiceLine, VisitKind
from visits.forms.inputs import ShortText
from visits.recurrence.rules import RuleError, check, parts_of
from visits.recurrence.words import (
    WEEKDAY_NAMES,
    WEEKDAYS,
    every_months_on_day,
    every_months_on_weekday,
    every_weeks,
    every_year,
)
from visits.services.lines import Tolerance as ToleranceFacts

RECURRING_KINDS = [one for one in VisitKind.choices if one[0] != VisitKind.CALL_OUT]
LONGEST_TOLERANCE = 60


class RecurrenceForm(forms.Form):
    """How often a visit comes back: one of the usual ways, or RFC 5545 text.

    After ``is_valid`` the rule is in ``cleaned_data["rule"]``.
    """

    class Pattern(models.TextChoices):
        WEEKS = "weeks", "Every week, or every few weeks, on certain weekdays"
        MONTH_WEEKDAY = "month_weekday", "Every month, quarter or half-year, on a weekday of it"
        MONTH_DAY = "month_day", "Every month, quarter or half-year, on a day of the month"
        YEAR = "year", "Every year, on the day and month of “From”"
        TEXT = "text", "Another way, as RFC 5545 text"

    pattern = forms.ChoiceField(
        label="How often",
        choices=Pattern.choices,
        widget=forms.RadioSelect,
        initial="month_weekday",
    )
    weeks = forms.IntegerField(
        label="Every so many weeks", min_value=1, max_value=52, initial=1, required=False
    )
    weekdays = forms.TypedMultipleChoiceField(
        label="On",
        coerce=int,
        choices=list(enumerate(WEEKDAY_NAMES)),
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices in-row"}),
        required=False,
    )
    months = forms.TypedChoiceField(
        label="Every",
        coerce=int,
        choices=[
            (1, "month"),
            (2, "other month"),
            (3, "quarter"),
            (4, "four months"),
            (6, "half-year"),
        ],
        initial=1,
        required=False,
    )
    ordinal = forms.TypedChoiceField(
        label="On the",
        coerce=int,
        choices=[(1, "first"), (2, "second"), (3, "third"), (4, "fourth"), (-1, "last")],
        initial=1,
        required=False,
    )
    weekday = forms.TypedChoiceField(
        label="Weekday", coerce=int, choices=list(enumerate(WEEKDAY_NAMES)), required=False
    )
    day_months = forms.TypedChoiceField(
        label="Every",
        coerce=int,
        choices=[
            (1, "month"),
            (2, "other month"),
            (3, "quarter"),
            (4, "four months"),
            (6, "half-year"),
        ],
        initial=1,
        required=False,
    )
    month_day = forms.IntegerField(
        label="On day",
        min_value=1,
        max_value=31,
        initial=1,
        required=False,
        help_text="A month that has no such day gets its last day.",
    )
    rule_text = forms.CharField(
        label="RFC 5545 text",
        max_length=200,
        required=False,
        help_text="For example FREQ=MONTHLY;BYDAY=2TU. The time is given when a visit is booked.",
    )

    # Which field starts the recurrence; a form that has another says so.
    starts = "first_on"

    def clean(self) -> dict[str, Any]:
        """Make the rule, and put what stands in its way beside the field where it was typed."""
        told = super().clean() or self.cleaned_data
        first_on, pattern = told.get(self.starts), told.get("pattern")
        if first_on and pattern:
            try:
                told["rule"] = check(self._rule(pattern, told, first_on), first_on)
            except RuleError as error:
                self.add_error(self._where(pattern), str(error))
        return told

    def _rule(self, pattern: str, told: dict[str, Any], first_on: date) -> str:
        if pattern == self.Pattern.WEEKS:
            return every_weeks(self._number("weeks"), told.get("weekdays") or ())
        if pattern == self.Pattern.MONTH_WEEKDAY:
            return every_months_on_weekday(
                self._number("months"), self._number("ordinal"), self._number("weekday")
            )
        if pattern == self.Pattern.MONTH_DAY:
            return every_months_on_day(self._number("day_months"), self._number("month_day"))
        if pattern == self.Pattern.YEAR:
            return every_year(first_on.month, first_on.day)
        return str(told.get("rule_text", ""))

    def _number(self, name: str) -> int:
        value = self.cleaned_data.get(name)
        if value in (None, ""):
            raise RuleError(f"Fill in “{self.fields[name].label}”.")
        return int(value)

    def _where(self, pattern: str) -> str:
        return {
            self.Pattern.WEEKS: "weekdays",
            self.Pattern.MONTH_WEEKDAY: "ordinal",
            self.Pattern.MONTH_DAY: "month_day",
            self.Pattern.TEXT: "rule_text",
        }.get(self.Pattern(pattern), "pattern")


def recurrence_typed(rule: str) -> dict[str, Any]:
    """What fills a ``RecurrenceForm`` for a rule: its usual way, or its text."""
    parts = parts_of(rule)
    step = int(parts.get("INTERVAL", "1"))
    rest = {
        name: value for name, value in parts.items() if name not in ("FREQ", "INTERVAL", "WKST")
    }
    by_day, by_month_day = rest.get("BYDAY", ""), rest.get("BYMONTHDAY", "")
    usual_months = step in (1, 2, 3, 4, 6)
    if parts["FREQ"] == "WEEKLY" and set(rest) == {"BYDAY"} and step <= 52:
        return {
            "pattern": "weeks",
            "weeks": step,
            "weekdays": [WEEKDAYS.index(day) for day in by_day.split(",")],
        }
    if parts["FREQ"] == "MONTHLY" and usual_months and set(rest) == {"BYDAY"}:
        ordinal, weekday = by_day[:-2], by_day[-2:]
        if ordinal in ("1", "2", "3", "4", "-1"):
            return {
                "pattern": "month_weekday",
                "months": step,
                "ordinal": int(ordinal),
                "weekday": WEEKDAYS.index(weekday),
            }
    if parts["FREQ"] == "MONTHLY" and usual_months and "BYDAY" not in rest:
        day = by_month_day.rpartition(",")[2]
        if day.isdigit() and rule == every_months_on_day(step, int(day)):
            return {"pattern": "month_day", "day_months": step, "month_day": int(day)}
    return {"pattern": "text", "rule_text": rule}


class Tolerance(forms.Form):
    """How early and how late still counts as on time, and how long a visit takes."""

    days_before = forms.IntegerField(
        label="Days before", min_value=0, max_value=LONGEST_TOLERANCE, initial=3
    )
    days_after = forms.IntegerField(
        label="Days after", min_value=0, max_value=LONGEST_TOLERANCE, initial=3
    )
    minutes = forms.IntegerField(
        label="Minutes a visit takes", min_value=5, max_value=1440, initial=45
    )


class AgreeLine(RecurrenceForm, Tolerance):
    """A recurring service of a contract."""

    kind = forms.ChoiceField(choices=RECURRING_KINDS)
    title = forms.CharField(
        max_length=120, help_text="As the client knows it, such as External rodent check."
    )
    first_on = forms.DateField(
        label="From", widget=DayInput, help_text="The first day on which a visit may be due."
    )
    last_on = forms.DateField(
        label="Until",
        widget=DayInput,
        required=False,
        help_text="Left empty, it goes on for as long as the contract.",
    )
    competences = forms.ModelMultipleChoiceField(
        CompetenceKind.objects.order_by("name", "pk"),
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="Whoever is booked must hold all of these on the day.",
    )
    preferred_technician = forms.ModelChoiceField(
        User.objects.filter(role=User.Role.TECHNICIAN, is_active=True).order_by("name", "pk"),
        label="Usual technician",
        required=False,
        empty_label="Nobody in particular",
    )
    price = forms.DecimalField(
        label="Price of a visit", min_value=0, max_digits=9, decimal_places=2, initial=0
    )
    looked_at = forms.CharField(widget=forms.HiddenInput, required=False)

    def clean(self) -> dict[str, Any]:
        told = super().clean()
        if told.get("last_on") and told.get("first_on") and told["last_on"] < told["first_on"]:
            self.add_error("last_on", "This is before the day from which it runs.")
        return told

    def facts(self) -> dict[str, Any]:
        """What ``agree_service_line`` takes."""
        names = (
            "kind",
            "title",
            "rule",
            "first_on",
            "last_on",
            "days_before",
            "days_after",
            "minutes",
            "competences",
            "preferred_technician",
            "price",
        )
        return {name: self.cleaned_data[name] for name in names}


class ChangeLine(RecordForm):
    """What a line asks for; when it recurs is changed elsewhere."""

    competences = forms.ModelMultipleChoiceField(
        CompetenceKind.objects.order_by("name", "pk"),
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="Whoever is booked must hold all of these on the day.",
    )

    class Meta:
        model = ServiceLine
        fields = (
            "kind",
            "title",
            "days_before",
            "days_after",
            "minutes",
            "preferred_technician",
            "price",
        )
        labels = {
            "days_before": "Days before",
            "days_after": "Days after",
            "minutes": "Minutes a visit takes",
            "preferred_technician": "Usual technician",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kind: Any = self.fields["kind"]
        kind.choices = RECURRING_KINDS
        usual: Any = self.fields["preferred_technician"]
        usual.queryset = User.objects.filter(role=User.Role.TECHNICIAN).order_by("name", "pk")
        usual.empty_label = "Nobody in particular"


class ChangeRule(RecurrenceForm, Tolerance):
    """A new recurrence for the visits from a day on."""

    starts = "from_on"

    from_on = forms.DateField(
        label="From",
        widget=DayInput,
        help_text="Visits due before this day stay; from this day on the new recurrence counts.",
    )
    looked_at = forms.CharField(widget=forms.HiddenInput, required=False)

    def tolerance(self) -> ToleranceFacts:
        """What the new recurrence changes besides the days."""
        return {
            "days_before": self.cleaned_data["days_before"],
            "days_after": self.cleaned_data["days_after"],
            "minutes": self.cleaned_data["minutes"],
        }


class EndLine(forms.Form):
    """The last day of a service line, and why it ends."""

    last_on = forms.DateField(label="Last day", widget=DayInput)
    reason = forms.CharField(max_length=300, widget=ShortText)
