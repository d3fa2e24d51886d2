"""What may be typed about actions, flags and decisions. Forms check shape; services decide."""

from collections.abc import Sequence
from dataclasses import fields
from decimal import Decimal
from typing import Any, cast
from uuid import UUID

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.db.models import QuerySet
from django.http import QueryDict

from accounts.forms import DayInput, offer
from accounts.models import User
from accounts.refusals import Refused
from compliance.economics.costs import LONGEST_YEARS, SHORTEST_YEARS
from compliance.models import (
    ActionOption,
    Alarm,
    CorrectiveAction,
    Decision,
    Flag,
    JudgedMonth,
    ReviewPack,
    SealedGap,
    SiteFile,
)
from compliance.queries.actions import OPEN, STATE_FILTERS
from compliance.queries.flags import GROUPS
from compliance.queries.sheets import Sheet
from compliance.queries.trends import month_words
from compliance.services.actions import FEWEST_OPTIONS, MOST_OPTIONS, OptionGiven
from compliance.services.gaps import MOST_GAPS, WIDEST_MM, GapGiven
from compliance.services.signing import Proof, prove_by_password
from sites.models import Site, Zone
from visits.models import Pest, WhoseMove

MOST_PHOTOS = 6
DECLINE = "decline"


class FewLines(forms.Textarea):
    """A few lines of text."""

    def __init__(self, rows: int = 3) -> None:
        super().__init__({"rows": rows})


class PhotosInput(forms.ClearableFileInput):
    """Chooses several photos, or takes one with the phone's camera."""

    allow_multiple_selected = True

    def __init__(self) -> None:
        super().__init__({"accept": "image/*"})


class PhotosField(forms.FileField):
    """Several files as one field; what is in them is looked at when they are kept."""

    widget = PhotosInput

    def clean(self, data: Any, initial: Any = None) -> "list[UploadedFile[bytes]]":
        given = data if isinstance(data, list | tuple) else [data] if data else []
        if len(given) > MOST_PHOTOS:
            raise ValidationError(f"Choose at most {MOST_PHOTOS} photos.")
        return [super(PhotosField, self).clean(one, initial) for one in given]


class FilterActions(forms.Form):
    """What the list of actions is narrowed to; it lives in the address."""

    state = forms.ChoiceField(choices=STATE_FILTERS, required=False)
    kind = forms.ChoiceField(
        choices=[("", "All kinds"), *CorrectiveAction.Kind.choices], required=False
    )
    site = forms.ModelChoiceField(Site.objects.none(), required=False, empty_label="All sites")
    overdue = forms.BooleanField(required=False, label="Overdue only")

    def __init__(self, data: Any, *, sites: QuerySet[Site]) -> None:
        super().__init__({"state": OPEN, **data.dict()})
        offer(self, "site", sites.order_by("name", "pk"))

    def wanted(self) -> dict[str, Any]:
        """What to look for; what cannot be read narrows nothing, and the page says so."""
        self.is_valid()
        told = self.cleaned_data
        return {
            "state": told.get("state") or OPEN,
            "kind": told.get("kind", ""),
            "site": told.get("site"),
            "overdue": told.get("overdue", False),
        }


class WordAction(forms.Form):
    """What an action says; for raising one by hand and for changing it."""

    title = forms.CharField(
        max_length=160, label="What must change", help_text="In a few words, as the client reads."
    )
    kind = forms.ChoiceField(choices=CorrectiveAction.Kind.choices)
    whose_move = forms.ChoiceField(
        choices=WhoseMove.choices, widget=forms.RadioSelect, label="Whose move it is"
    )
    zone = forms.ModelChoiceField(Zone.objects.none(), required=False, empty_label="Whole site")
    due_on = forms.DateField(label="Due by", widget=DayInput)
    detail = forms.CharField(required=False, widget=FewLines(5), label="In more words")
    internal_note = forms.CharField(
        required=False, widget=FewLines(), help_text="Never shown to the client."
    )

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        zones = Zone.objects.filter(site=site, retired_on=None).order_by("walk_order", "pk")
        offer(self, "zone", zones)

    def words(self) -> dict[str, Any]:
        """What was typed, as the services take it."""
        told = dict(self.cleaned_data)
        zone = told.pop("zone")
        return {**told, "zone_id": zone.pk if zone else None}


class RaiseAction(WordAction):
    """An action raised by hand, with photos of how it looks now."""

    photos = PhotosField(required=False, label="Photos of how it looks now")

    def words(self) -> dict[str, Any]:
        told = super().words()
        del told["photos"]
        return told


class MoneyOrNone(forms.DecimalField):
    """A sum that may be left out."""

    def __init__(self, *, label: str) -> None:
        super().__init__(
            min_value=Decimal(0), max_digits=10, decimal_places=2, required=False, label=label
        )


class PriceOption(forms.Form):
    """One way to answer an action."""

    kind = forms.ChoiceField(choices=ActionOption.Kind.choices)
    description = forms.CharField(
        widget=FewLines(), label="What would be done", help_text="As the client reads it."
    )
    cost_once = forms.DecimalField(
        min_value=Decimal(0), max_digits=10, decimal_places=2, label="Cost now"
    )
    cost_monthly = forms.DecimalField(
        min_value=Decimal(0), max_digits=10, decimal_places=2, label="Cost each month"
    )
    life_years = forms.IntegerField(
        min_value=1,
        max_value=50,
        required=False,
        label="Lasts, in years",
        help_text="Left out: nothing wears out.",
    )
    remaining_risk = forms.CharField(
        widget=FewLines(2), label="What stays at risk", help_text="Even if it is little."
    )
    cost_once_low = MoneyOrNone(label="Now, at the lowest")
    cost_once_high = MoneyOrNone(label="Now, at the highest")
    cost_monthly_low = MoneyOrNone(label="Each month, at the lowest")
    cost_monthly_high = MoneyOrNone(label="Each month, at the highest")
    life_years_low = forms.IntegerField(
        min_value=1, max_value=50, required=False, label="Lasts, at the shortest"
    )
    life_years_high = forms.IntegerField(
        min_value=1, max_value=50, required=False, label="Lasts, at the longest"
    )
    effect_percent = forms.IntegerField(
        min_value=0,
        max_value=100,
        required=False,
        label="Saves, in percent",
        help_text="Of the extra visits, treatments and call-outs.",
    )
    effect_basis = forms.ChoiceField(
        choices=[("", "Nothing is said of it"), *ActionOption.Basis.choices],
        required=False,
        label="Where that is from",
    )
    effect_words = forms.CharField(
        widget=FewLines(2), required=False, label="Why so much", help_text="The client reads it."
    )

    FOLDED = (
        "cost_once_low",
        "cost_once_high",
        "cost_monthly_low",
        "cost_monthly_high",
        "life_years_low",
        "life_years_high",
        "effect_percent",
        "effect_basis",
        "effect_words",
    )

    def plain(self) -> list[forms.BoundField]:
        """The fields that every option needs."""
        return [self[name] for name in self.fields if name not in self.FOLDED]

    def folded(self) -> list[forms.BoundField]:
        """Ranges and expected effect, which may be left out."""
        return [self[name] for name in self.FOLDED]

    def opens(self) -> bool:
        """Whether anything in the fold is filled in or wrong."""
        return any(self[name].value() or self[name].errors for name in self.FOLDED)

    def has_changed(self) -> bool:
        """A kind alone is no option: every row shows one."""
        return any(name not in {"kind", "effect_basis"} for name in self.changed_data)

    def given(self) -> OptionGiven:
        """The option as the service takes it."""
        return OptionGiven(**self.cleaned_data)


class PriceOptionsBase(forms.BaseFormSet):  # type: ignore[type-arg]  # not generic at run time
    """Two to four options; one that is left wholly empty is no option.

    ``rows`` are first values. They are not the set's own initial data: a row that is emptied is
    then a row left out, not a mistake.
    """

    def __init__(self, *args: Any, rows: Sequence[dict[str, Any]] = (), **kwargs: Any) -> None:
        self._rows = rows
        super().__init__(*args, **kwargs)

    def get_form_kwargs(self, index: int | None) -> dict[str, Any]:
        kwargs = super().get_form_kwargs(index)
        if index is not None and index < len(self._rows):
            return {**kwargs, "initial": self._rows[index]}
        return kwargs

    def given(self) -> list[OptionGiven]:
        """The options that were filled in, in their order."""
        return [form.given() for form in self.forms if form.cleaned_data]


PriceOptions = cast(
    type[PriceOptionsBase],
    forms.formset_factory(
        PriceOption,
        formset=PriceOptionsBase,
        min_num=FEWEST_OPTIONS,
        extra=MOST_OPTIONS - FEWEST_OPTIONS,
        max_num=MOST_OPTIONS,
        validate_max=True,
    ),
)


def typed_rows(data: QueryDict) -> list[dict[str, Any]]:
    """What was typed for the options, unchecked, to be shown again while something else is done."""
    names = [*PriceOption.base_fields]
    return [
        {name: data.get(f"option-{row}-{name}", "") for name in names}
        for row in range(MOST_OPTIONS)
    ]


class WriteMessage(forms.Form):
    """A question or an answer about an action."""

    text = forms.CharField(
        max_length=2000,
        widget=FewLines(4),
        label="Your question or answer",
        error_messages={"required": "Write what you want to know or say."},
    )


class SeenRevision(forms.Form):
    """Which revision was read; beside a form that must not act on another."""

    revision = forms.IntegerField(widget=forms.HiddenInput)


class Proves(forms.Form):
    """A form that signs: it asks for the password, unless a passkey was shown a moment ago."""

    password = forms.CharField(
        label="Your password",
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "current-password"}),
        help_text="Typed again, so that nobody signs in your name.",
        error_messages={"required": "Type your password."},
    )

    proof: Proof

    def __init__(self, *args: Any, person: User, proof: Proof | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._person = person
        if proof:
            self.proof = proof
            del self.fields["password"]

    def clean(self) -> dict[str, Any]:
        """Checks the password last, and only where all else is right: a try is a try."""
        told = super().clean() or self.cleaned_data
        if "password" in self.fields and "password" in told and not self.errors:
            try:
                self.proof = prove_by_password(self._person, told["password"])
            except Refused as refused:
                self.add_error("password", str(refused))
        return told


class AnswerAction(forms.Form):
    """The client's answer: one of the options, or no, with the reason. Nothing is chosen before."""

    answer = forms.ChoiceField(
        widget=forms.RadioSelect,
        error_messages={"required": "Choose one of the options, or turn the work down."},
    )
    reason = forms.CharField(
        required=False,
        widget=FewLines(),
        help_text="Needed where no work is ordered. It stays on the record.",
    )
    revision = forms.IntegerField(widget=forms.HiddenInput)
    shown_hash = forms.CharField(max_length=64, widget=forms.HiddenInput)

    def __init__(self, *args: Any, sheet: Sheet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sheet = sheet
        nothing = [one for one in sheet.options if one.kind == ActionOption.Kind.NOTHING]
        self._asks_reason = {DECLINE, *(str(one.pk) for one in nothing)}
        cast(forms.ChoiceField, self.fields["answer"]).choices = [
            *((str(option.pk), str(option)) for option in sheet.options),
            (DECLINE, "Turn it down"),
        ]

    def clean_reason(self) -> str:
        reason: str = self.cleaned_data["reason"]
        if self.cleaned_data.get("answer") in self._asks_reason and not reason.strip():
            raise ValidationError("Say why you turn it down.")
        return reason

    def clean(self) -> dict[str, Any]:
        """What was read must be what stands: the fields that say so are put right if it is not."""
        told = self.cleaned_data
        read = (told.get("revision"), told.get("shown_hash"))
        if read != (self.sheet.action.revision, self.sheet.hash):
            self.add_error(
                None,
                "This changed while you were reading. Nothing was signed. What you see now is how "
                "it stands; read it again, then decide.",
            )
            posted = {name: self.data.get(name) for name in self.data}
            self.data = {**posted, **self._as_it_stands()}
        return super().clean() or told

    def _as_it_stands(self) -> dict[str, Any]:
        now = {
            "answer": "",
            "revision": self.sheet.action.revision,
            "shown_hash": self.sheet.hash,
        }
        return {self.add_prefix(name): value for name, value in now.items()}


class DecideAction(AnswerAction, Proves):
    """The answer to one action, signed."""

    years = forms.IntegerField(
        min_value=SHORTEST_YEARS, max_value=LONGEST_YEARS, widget=forms.HiddenInput
    )
    field_order = ("answer", "reason", "password")

    def answered(self) -> dict[str, Any]:
        """The answer as the service takes it."""
        told = self.cleaned_data
        return {
            **what_is_meant_by(told["answer"]),
            "reason": told["reason"],
            "revision": told["revision"],
            "shown_hash": told["shown_hash"],
            "years": told["years"],
            "proof": self.proof,
        }


def what_is_meant_by(answer: str) -> dict[str, Any]:
    """The outcome, and the option where one was chosen. Raises ``ValueError`` for other words."""
    if answer == DECLINE:
        return {"outcome": Decision.Outcome.DECLINED, "option_id": None}
    return {"outcome": Decision.Outcome.GO_AHEAD, "option_id": UUID(answer)}


class ReportDone(forms.Form):
    """What was done, in words and photos."""

    note = forms.CharField(widget=FewLines(), label="What was done")
    photos = PhotosField(required=False, label="Photos of the finished work")
    start_photos = PhotosField(required=False, label="Photos from before you began")


class ReportGap(forms.Form):
    """One gap that the work closed. Widths in millimetres."""

    place = forms.CharField(max_length=160, label="Where it is")
    material = forms.CharField(max_length=160, label="Closed with")
    before_mm = forms.DecimalField(
        min_value=Decimal("0.1"),
        max_value=WIDEST_MM,
        decimal_places=1,
        label="Width before, mm",
    )
    after_mm = forms.DecimalField(
        min_value=Decimal(0), max_value=WIDEST_MM, decimal_places=1, label="Width after, mm"
    )
    risk = forms.ChoiceField(choices=[("", "Choose"), *SealedGap.Risk.choices], label="Keeps out")

    def has_changed(self) -> bool:
        """Whom it keeps out alone is no gap: every row may show that."""
        return any(name != "risk" for name in self.changed_data)


class ReportGapsBase(forms.BaseFormSet):  # type: ignore[type-arg]  # not generic at run time
    """The gaps that were closed; a row that is left empty is none. ``risk`` stands in each row."""

    OPEN_ROWS = 3

    def __init__(self, *args: Any, risk: str | None, **kwargs: Any) -> None:
        self._risk = risk
        super().__init__(*args, **kwargs)

    def get_form_kwargs(self, index: int | None) -> dict[str, Any]:
        return {**super().get_form_kwargs(index), "initial": {"risk": self._risk or ""}}

    def open_rows(self) -> list[forms.Form]:
        """The rows that are always shown."""
        return self.forms[: self.OPEN_ROWS]

    def folded_rows(self) -> list[forms.Form]:
        """The rows for more gaps than most work has."""
        return self.forms[self.OPEN_ROWS :]

    def opens(self) -> bool:
        """Whether anything in the fold is filled in or wrong."""
        return self.is_bound and any(
            form.has_changed() or form.errors for form in self.folded_rows()
        )

    def given(self) -> list[GapGiven]:
        """The gaps that were filled in, in their order."""
        return [GapGiven(**form.cleaned_data) for form in self.forms if form.cleaned_data]


ReportGaps = cast(
    type[ReportGapsBase],
    forms.formset_factory(
        ReportGap, formset=ReportGapsBase, extra=MOST_GAPS, max_num=MOST_GAPS, validate_max=True
    ),
)


class AcceptWork(Proves):
    """The client accepts what was reported; ``shown_hash`` says what was read."""

    shown_hash = forms.CharField(max_length=64, widget=forms.HiddenInput)


class CheckAction(Proves):
    """The finished work was looked at and is sound."""

    note = forms.CharField(required=False, widget=FewLines(), label="What you saw")
    field_order = ("note", "password")


class GiveReason(forms.Form):
    """A reason that stays on the record."""

    reason = forms.CharField(max_length=300, widget=FewLines())


class FilterFlags(forms.Form):
    """What the list of flags is narrowed to; it lives in the address."""

    STATES = (
        ("", "Open and acknowledged"),
        (Flag.State.OPEN, "Open"),
        (Flag.State.ACKNOWLEDGED, "Acknowledged"),
        (Flag.State.CLEARED, "Cleared"),
    )

    state = forms.ChoiceField(choices=STATES, required=False)
    group = forms.ChoiceField(
        choices=[("", "All"), *((group.key, group.title) for group in GROUPS)], required=False
    )
    kind = forms.ChoiceField(choices=[("", "All kinds"), *Flag.Kind.choices], required=False)


class FilterAlarms(forms.Form):
    """Which alarms are listed; it lives in the address.

    Unless a month is named it is the last one in which places were read and judged.
    """

    ALL = "all"
    STATES = (*Alarm.State.choices, (ALL, "All"))

    month = forms.ChoiceField(
        required=False,
        error_messages={
            "invalid_choice": "“%(value)s” is no month that was judged. Months are written 2026-03."
        },
    )
    state = forms.ChoiceField(choices=STATES, required=False)
    site = forms.ModelChoiceField(Site.objects.none(), required=False, empty_label="All sites")
    pest = forms.ModelChoiceField(
        Pest.counted.none(), required=False, empty_label="All pests", to_field_name="slug"
    )

    def __init__(self, data: Any, *, judged: Sequence[JudgedMonth], sites: QuerySet[Site]) -> None:
        self.months = {f"{one.month:%Y-%m}": one.month for one in judged}
        # A month that has just begun was judged too, while nobody has read anything in it yet.
        looked = (f"{one.month:%Y-%m}" for one in judged if one.looked_at)
        latest = next(looked, next(iter(self.months), self.ALL))
        super().__init__({"month": latest, "state": Alarm.State.OPEN, **data.dict()})
        month = cast(forms.ChoiceField, self.fields["month"])
        names = [(key, month_words(day)) for key, day in self.months.items()]
        month.choices = [*names, (self.ALL, "All months")]
        self.latest = self.months.get(latest)
        offer(self, "site", sites.order_by("name", "pk"))
        offer(self, "pest", Pest.counted.order_by("name", "pk"))

    def wanted(self) -> dict[str, Any]:
        """What to look for; what cannot be read narrows nothing, and the page says so."""
        self.is_valid()
        told = self.cleaned_data
        state = told.get("state") or Alarm.State.OPEN
        asked = told.get("month")
        return {
            "month": None if asked == self.ALL else self.months.get(asked or "", self.latest),
            "state": "" if state == self.ALL else state,
            "site": told.get("site"),
            "pest": told.get("pest"),
        }


class LookOverMonths(forms.Form):
    """Over how many months a place or a site is looked at."""

    PERIODS = (12, 24, 36)
    USUAL = 24

    months = forms.TypedChoiceField(
        choices=[(str(number), f"{number} months") for number in PERIODS],
        coerce=int,
        required=False,
        error_messages={
            "invalid_choice": "“%(value)s” is no period to look over: 12, 24 or 36 months."
        },
    )

    def wanted(self) -> int:
        """The months asked for, or the usual ones where they cannot be read."""
        self.is_valid()
        return self.cleaned_data.get("months") or self.USUAL


class RequestSiteFile(forms.Form):
    """Which days a site file covers, and what it is printed on."""

    period_from = forms.DateField(label="From", widget=DayInput)
    period_to = forms.DateField(label="To", widget=DayInput, help_text="This day included.")
    paper_size = forms.ChoiceField(
        choices=SiteFile.PaperSize.choices,
        initial=SiteFile.PaperSize.A4,
        widget=forms.RadioSelect,
        label="Paper",
    )


class RequestReviewPack(forms.Form):
    """What a review pack is printed on."""

    paper_size = forms.ChoiceField(
        choices=ReviewPack.PaperSize.choices,
        initial=ReviewPack.PaperSize.A4,
        widget=forms.RadioSelect,
        label="Paper",
    )


class AcknowledgeFlag(forms.Form):
    """What is being done about a flag."""

    note = forms.CharField(max_length=300, widget=FewLines(2), label="What is being done")


class ChooseSummary(forms.Form):
    """Whether the daily summary comes."""

    wants = forms.TypedChoiceField(
        label="Send it to me",
        choices=[("yes", "Yes, by e-mail"), ("no", "No")],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
    )


class LookOverYears(forms.Form):
    """Over how many years the costs are compared."""

    years = forms.IntegerField(min_value=SHORTEST_YEARS, max_value=LONGEST_YEARS, required=False)

    def wanted(self) -> int | None:
        """The years asked for; None, the action's own, where they cannot be read."""
        self.is_valid()
        return self.cleaned_data.get("years")


def option_rows(options: Sequence[ActionOption]) -> list[dict[str, Any]]:
    """First values: the options that stand, or a row for each kind that is always wanted."""
    if options:
        return [
            {one.name: getattr(option, one.name) for one in fields(OptionGiven)}
            for option in options
        ]
    return [{"kind": ActionOption.Kind.LASTING}, {"kind": ActionOption.Kind.CARRY_ON}]
