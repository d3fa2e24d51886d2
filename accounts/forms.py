"""What may be typed about people. Forms check shape; services decide."""

from typing import Any, cast
from zoneinfo import available_timezones

from django import forms
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db.models import QuerySet

from accounts.models import Branch, Client, CompetenceKind, Notice, Role, User
from accounts.notice_kinds import kinds_for


def offer(form: forms.BaseForm, field: str, rows: QuerySet[Any]) -> None:
    """Let a field choose among these rows; asked anew for every form."""
    cast("forms.ModelChoiceField[Any]", form.fields[field]).queryset = rows


def time_zone_choices() -> list[tuple[str, str]]:
    """Places, as "Europe/London"; the old abbreviations and offsets are left out."""
    areas = ("Africa", "America", "Asia", "Atlantic", "Australia", "Europe", "Indian", "Pacific")
    names = sorted(zone for zone in available_timezones() if zone.startswith(areas))
    return [(zone, zone.replace("_", " ")) for zone in ["UTC", *names]]


class TimeZoneField(forms.ChoiceField):
    """A choice among the zones of the time zone database."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(choices=time_zone_choices, **kwargs)


class DayInput(forms.DateInput):
    """A date field that phones and browsers help with."""

    input_type = "date"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%Y-%m-%d", **kwargs)


class Invite(forms.Form):
    """Whom to invite, as what."""

    name = forms.CharField(max_length=120)
    email = forms.EmailField(label="E-mail")
    role = forms.ChoiceField(choices=Role.choices, widget=forms.RadioSelect)
    client = forms.ModelChoiceField(
        Client.objects.none(),
        required=False,
        help_text="For a client manager: whose sites they manage.",
    )
    job_title = forms.CharField(max_length=80, required=False, label="Job title")
    phone = forms.CharField(max_length=40, required=False, label="Phone")
    branches = forms.ModelMultipleChoiceField(
        Branch.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="For the office: none chosen means every branch.",
    )
    is_administrator = forms.BooleanField(
        required=False,
        label="Administrator",
        help_text="May also manage people and settings (office only).",
    )

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "client", Client.objects.order_by("name", "pk"))
        offer(self, "branches", Branch.objects.order_by("name", "pk"))
        if not by.is_administrator:
            role = cast(forms.ChoiceField, self.fields["role"])
            role.choices = [(Role.CLIENT_MANAGER.value, Role.CLIENT_MANAGER.label)]
            role.initial = Role.CLIENT_MANAGER
            del self.fields["branches"], self.fields["is_administrator"]

    def clean(self) -> dict[str, object]:
        data = super().clean() or self.cleaned_data
        if data.get("role") == Role.CLIENT_MANAGER and not data.get("client"):
            self.add_error("client", "Say which client this person manages.")
        return data


class ChangePerson(forms.Form):
    """What may be changed about a person; never the role or the e-mail address."""

    name = forms.CharField(max_length=120)
    job_title = forms.CharField(max_length=80, required=False, label="Job title")
    phone = forms.CharField(max_length=40, required=False, label="Phone")
    time_zone = TimeZoneField(help_text="In which times are shown to this person.")
    wants_digest = forms.BooleanField(required=False, label="Daily summary by e-mail")
    branches = forms.ModelMultipleChoiceField(
        Branch.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="None chosen means every branch.",
    )
    is_administrator = forms.BooleanField(required=False, label="Administrator")

    def __init__(self, *args: Any, person: User, **kwargs: Any) -> None:
        kwargs.setdefault(
            "initial",
            {
                "name": person.name,
                "job_title": person.job_title,
                "phone": person.phone,
                "time_zone": person.time_zone,
                "wants_digest": person.wants_digest,
                "branches": person.branches.all(),
                "is_administrator": person.is_administrator,
            },
        )
        super().__init__(*args, **kwargs)
        offer(self, "branches", Branch.objects.order_by("name", "pk"))
        if not person.is_office:
            del self.fields["branches"], self.fields["is_administrator"]


class FilterPeople(forms.Form):
    """Which people a list shows."""

    q = forms.CharField(required=False, label="Name or e-mail")
    role = forms.ChoiceField(required=False, choices=[("", "Every role"), *Role.choices])


class FilterTrail(forms.Form):
    """Which entries of the trail a list shows."""

    q = forms.CharField(required=False, label="About")
    chain = forms.CharField(required=False, help_text="company, or site: and its number.")


class StopPerson(forms.Form):
    """Why somebody may no longer sign in."""

    reason = forms.CharField(max_length=300)


class Join(forms.Form):
    """A first password."""

    password = forms.CharField(
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least 10 characters; a few plain words are easy to keep and hard to guess.",
    )
    again = forms.CharField(
        label="The same password again",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, *args: Any, person: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person

    def clean_password(self) -> str:
        password: str = self.cleaned_data["password"]
        validate_password(password, self.person)
        return password

    def clean(self) -> dict[str, object]:
        data = super().clean() or self.cleaned_data
        if "password" in data and data.get("again") not in (None, data["password"]):
            self.add_error("again", ValidationError("The two passwords differ."))
        return data


class AddCompetence(forms.Form):
    """A licence or certificate with its days."""

    kind = forms.ModelChoiceField(CompetenceKind.objects.none())
    number = forms.CharField(max_length=60, required=False, label="Number")
    valid_from = forms.DateField(widget=DayInput())
    valid_until = forms.DateField(
        widget=DayInput(),
        required=False,
        label="Last valid day",
        help_text="Empty means that it does not lapse.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "kind", CompetenceKind.objects.order_by("name", "pk"))

    def clean(self) -> dict[str, object]:
        data = super().clean() or self.cleaned_data
        first, last = data.get("valid_from"), data.get("valid_until")
        if first and last and last < first:
            self.add_error("valid_until", "The last valid day is before the first.")
        return data


class ChangeCompetence(AddCompetence):
    """The number and days of a competence that is on file."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["kind"]


class WithdrawCompetence(forms.Form):
    """From when a competence no longer counts, and why."""

    on = forms.DateField(widget=DayInput(), label="No longer counts from")
    reason = forms.CharField(max_length=300)


class NameCompetenceKind(forms.Form):
    """A kind of licence that service lines may require."""

    name = forms.CharField(max_length=80)
    issuer = forms.CharField(max_length=120, required=False, label="Issued by")


class ReadNotices(forms.Form):
    """Up to when the reader had seen what there was."""

    up_to = forms.DateTimeField()


class ChooseNotices(forms.Form):
    """How to be told of each kind of thing that one's role is told of."""

    def __init__(self, *args: Any, person: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        held = dict(person.notice_wishes.values_list("kind", "how"))
        for kind in kinds_for(person.role):
            self.fields[kind.key] = forms.ChoiceField(
                label=kind.words,
                choices=Notice.How.choices,
                initial=held.get(kind.key, kind.usual[person.role]),
            )

    def wishes(self) -> dict[str, str]:
        """The way for each kind, for the service."""
        return {name: self.cleaned_data[name] for name in self.fields}


class IssueToken(forms.Form):
    """How long a token for programs lives."""

    days = forms.IntegerField(min_value=1, max_value=365, initial=90, label="Days it works")


class ChangeCompany(forms.Form):
    """The details of the service company."""

    name = forms.CharField(max_length=120)
    address = forms.CharField(widget=forms.Textarea({"rows": 3}), required=False)
    phone = forms.CharField(max_length=40, required=False)
    email = forms.EmailField(label="E-mail", required=False)
    registration = forms.CharField(
        max_length=120,
        required=False,
        help_text="Licence or registration number of the company.",
    )
    time_zone = TimeZoneField()
    currency = forms.RegexField(
        r"^[A-Z]{3}$",
        help_text="Three letters of ISO 4217, as GBP.",
        error_messages={"invalid": "A currency has three capital letters, as GBP."},
    )
