"""What may be typed about sites. Forms check shape; services decide and write."""

from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db.models import QuerySet

from accounts.forms import DayInput, TimeZoneField, offer
from accounts.models import Branch, Client, User
from accounts.refusals import Unusable
from sites.holiday_regions import is_known_region
from sites.keeping import fingerprint
from sites.labels.codes import typed
from sites.labels.sheets import A4_21, LETTER_10
from sites.media import MEGABYTE, MOST_DOCUMENT_BYTES, MOST_PHOTO_BYTES, MOST_PLAN_BYTES
from sites.models import (
    AccessWindow,
    Checkpoint,
    Contact,
    Contract,
    Document,
    Height,
    Monitor,
    Site,
    Zone,
)
from sites.queries import people_to_escalate_to
from sites.services.monitors import MOST_AT_ONCE
from sites.services.sites import Opening, require_sound
from sites.services.zones import MOST_CORNERS, Corner

PICTURES = "image/jpeg,image/png,image/webp"


class RecordForm(forms.ModelForm):  # type: ignore[type-arg]  # generic in the stubs only
    """What is on file for one record.

    It never saves: services take ``facts()``. A hidden mark says what the writer had on screen, so
    that nobody overwrites what somebody else has just typed without knowing it.
    """

    # Which field the sentence of a constraint stands beside, by its code.
    beside: ClassVar[dict[str, str]] = {}

    seen = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._was = "" if self.instance._state.adding else self._mark()
        self._held = {name: self._words(name) for name in self._on_screen()}
        self.fields["seen"].initial = self._was

    def facts(self) -> dict[str, Any]:
        """What was typed, for the service."""
        return {name: self.cleaned_data[name] for name in self._on_screen()}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        seen = data.get("seen")
        if seen and seen != self._was:
            # The answer shows what stands there now, so what is sent next has seen it.
            self.data = {**self.data.dict(), self.add_prefix("seen"): self._was}  # type: ignore[attr-defined]
            self.add_error(
                None,
                "Somebody else changed this while you were typing. What stands there now: "
                f"{self._told()}. Save again to put what you typed in its place.",
            )
        return data

    def _told(self) -> str:
        return "; ".join(
            f"{self.fields[name].label}: {self._held[name] or 'nothing'}"
            for name in self.changed_data
            if name in self._held
        )

    def _words(self, name: str) -> str:
        shown = getattr(self.instance, f"get_{name}_display", None)
        value = shown() if shown else getattr(self.instance, name)
        return "" if value is None else str(value)

    def _on_screen(self) -> list[str]:
        return [name for name in self._meta.fields or () if name in self.fields]

    def _mark(self) -> str:
        return fingerprint(self.instance, self._on_screen())

    def _get_validation_exclusions(self) -> set[str]:
        # The page's address says which site (zone, client) is meant: it counts for uniqueness.
        excluded: set[str] = super()._get_validation_exclusions()  # type: ignore[misc]
        told = ("site", "zone", "client")
        return excluded - {name for name in told if getattr(self.instance, f"{name}_id", None)}

    def _post_clean(self) -> None:
        super()._post_clean()  # type: ignore[misc]
        errors = self.non_field_errors().as_data()
        if any(error.code in self.beside for error in errors):
            del self.errors[NON_FIELD_ERRORS]
            for error in errors:
                self.add_error(self.beside.get(error.code or ""), error)


class UploadField(forms.FileField):
    """A file of at most so many bytes, which is seen before it is read into memory."""

    def __init__(self, *, most_bytes: int, kinds: str, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.FileInput(attrs={"accept": kinds}))
        super().__init__(**kwargs)
        self.most_bytes = most_bytes

    def clean(self, data: Any, initial: Any = None) -> Any:
        file = super().clean(data, initial)
        if file and file.size > self.most_bytes:
            raise ValidationError(
                f"The file has {file.size / MEGABYTE:.0f} MB; at most "
                f"{self.most_bytes // MEGABYTE} MB can be sent."
            )
        return file


class ClientForm(RecordForm):
    beside = {"reference_taken": "reference"}

    class Meta:
        model = Client
        fields = ["name", "reference", "address", "billing_email", "internal_note", "closed_on"]
        widgets = {
            "address": forms.Textarea(attrs={"rows": 3}),
            "internal_note": forms.Textarea(attrs={"rows": 3}),
            "closed_on": DayInput(),
        }
        labels = {"billing_email": "E-mail for bills", "closed_on": "No longer a client since"}


class NewClientForm(ClientForm):
    class Meta(ClientForm.Meta):
        fields = ["name", "reference", "address", "billing_email", "internal_note"]


class SiteForm(RecordForm):
    beside = {"reference_taken": "reference"}

    time_zone = TimeZoneField(help_text="Visits fall due by the calendar of this place.")

    class Meta:
        model = Site
        fields = [
            "name",
            "reference",
            "branch",
            "address",
            "postcode",
            "latitude",
            "longitude",
            "time_zone",
            "holiday_region",
            "holiday_rule",
            "access_note",
            "hazards",
            "internal_note",
        ]
        widgets = {
            "address": forms.Textarea(attrs={"rows": 3}),
            "access_note": forms.Textarea(attrs={"rows": 3}),
            "hazards": forms.Textarea(attrs={"rows": 3}),
            "internal_note": forms.Textarea(attrs={"rows": 3}),
        }
        labels = {
            "holiday_region": "Public holidays of",
            "holiday_rule": "A visit due on a public holiday",
        }
        help_texts = {
            "latitude": "In degrees, such as 50.36900. Give both or neither.",
            "longitude": "In degrees, west of Greenwich with a minus.",
            "holiday_region": "Country, or country and region: GB-ENG, IE, DE-BY. Empty: none.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choose(self, "branch", Branch.objects.order_by("name", "pk"), nothing="No branch")

    def clean_holiday_region(self) -> str:
        code: str = self.cleaned_data["holiday_region"].strip().upper()
        if code and not is_known_region(code):
            raise ValidationError("No public holidays are known for this country or region.")
        return code


class NewSiteForm(SiteForm):
    """A site is added to a client; it never moves to another."""

    client = forms.ModelChoiceField(Client.objects.none())
    field_order = ["client"]

    def __init__(self, *args: Any, clients: QuerySet[Client], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choose(
            self,
            "client",
            clients.filter(closed_on=None).order_by("name", "pk"),
            nothing="Choose a client",
        )


class DayAndReason(forms.Form):
    """When something ends, and why."""

    on = forms.DateField(label="Day", widget=DayInput())
    reason = forms.CharField(max_length=300, widget=forms.Textarea(attrs={"rows": 2}))


class Reason(forms.Form):
    """Why something is done."""

    reason = forms.CharField(max_length=300, widget=forms.Textarea(attrs={"rows": 2}))


class Nothing(forms.Form):
    """For a step that only needs a yes."""


class WindowForm(forms.Form):
    """One span of a weekday."""

    weekday = forms.TypedChoiceField(
        choices=[("", "Choose a day"), *AccessWindow.Weekday.choices], coerce=int, label="Day"
    )
    opens = forms.TimeField(widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"))
    closes = forms.TimeField(widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        opens, closes = data.get("opens"), data.get("closes")
        if opens and closes and closes <= opens:
            self.add_error(
                "closes", "It closes before it opens; give two rows for a span over midnight."
            )
        return data


class BaseWindows(forms.BaseFormSet):  # type: ignore[type-arg]  # generic in the stubs only
    """When the premises can be entered: spans that do not overlap."""

    def add_fields(self, form: forms.BaseForm, index: int | None) -> None:
        super().add_fields(form, index)
        form.fields["DELETE"].label = "Remove this span"

    def clean(self) -> None:
        if any(self.errors):
            return
        try:
            require_sound(sorted(openings_of(self)))
        except Unusable as refusal:
            raise ValidationError(str(refusal)) from refusal


Windows = forms.formset_factory(
    WindowForm, formset=BaseWindows, extra=2, max_num=28, validate_max=True, can_delete=True
)


def openings_of(formset: Any) -> list[Opening]:
    """The spans of a valid set that were typed and not marked for removal."""
    return [
        Opening(weekday=data["weekday"], opens=data["opens"], closes=data["closes"])
        for form in formset.forms
        if (data := form.cleaned_data) and not data.get("DELETE")
    ]


class ContactForm(RecordForm):
    class Meta:
        model = Contact
        fields = ["name", "job_title", "email", "phone", "is_premises_manager"]
        labels = {
            "email": "E-mail",
            "is_premises_manager": "Manages the premises",
        }


class ContractForm(RecordForm):
    beside = {
        "number_taken": "number",
        "first_reminder_missing": "remind_days",
        "escalation_half_said": "escalate_to",
    }

    class Meta:
        model = Contract
        fields = [
            "number",
            "starts_on",
            "ends_on",
            "scope",
            "response_hours",
            "call_out_price",
            "remind_days",
            "remind_every_days",
            "escalate_days",
            "escalate_to",
            "internal_note",
        ]
        widgets = {
            "starts_on": DayInput(),
            "ends_on": DayInput(),
            "scope": forms.Textarea(attrs={"rows": 5}),
            "internal_note": forms.Textarea(attrs={"rows": 3}),
        }
        labels = {
            "starts_on": "First day",
            "ends_on": "Last day",
            "response_hours": "Hours to answer a call-out",
            "call_out_price": "Price of a call-out",
            "remind_days": "Days until a reminder to decide",
            "remind_every_days": "Days between further reminders",
            "escalate_days": "Days until it is passed on",
            "escalate_to": "Whom to tell then",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # Whoever was chosen once and no longer sees the site stays until somebody else is.
        chosen = User.objects.filter(pk=self.instance.escalate_to_id)
        offer(self, "escalate_to", people_to_escalate_to(self.instance.site) | chosen)


class ZoneForm(RecordForm):
    beside = {"name_taken": "name"}

    class Meta:
        model = Zone
        fields = ["name", "kind", "boundary", "boundary_note"]
        widgets = {"boundary": forms.RadioSelect}
        labels = {"kind": "Kind of zone", "boundary_note": "What is shared or outside"}


class CheckpointForm(RecordForm):
    beside = {"label_taken": "label"}

    class Meta:
        model = Checkpoint
        fields = ["height", "label"]
        labels = {"label": "Place to look at"}
        help_texts = {"label": "Such as “Under and behind the fryer”."}


class NewCheckpoint(forms.Form):
    """A place to look at; words of a retired one bring it back, so they are not refused here."""

    height = forms.ChoiceField(choices=Height.choices)
    label = forms.CharField(
        max_length=120,
        label="Place to look at",
        help_text="Such as “Under and behind the fryer”.",
    )


class MonitorForm(RecordForm):
    beside = {"number_taken": "number"}

    class Meta:
        model = Monitor
        fields = ["number", "kind", "place", "placed_on"]
        widgets = {"placed_on": DayInput()}
        labels = {"placed_on": "Stands since"}


class NewMonitorForm(RecordForm):
    """One monitor, placed in a zone."""

    beside = {"number_taken": "number"}

    zone = forms.ModelChoiceField(Zone.objects.none())

    class Meta:
        model = Monitor
        fields = ["number", "kind", "place", "placed_on"]
        widgets = {"placed_on": DayInput()}
        labels = {"placed_on": "Stands since"}
        help_texts = {"number": "A number is used once at a site, for ever."}

    field_order = ["zone"]

    def __init__(self, *args: Any, zones: QuerySet[Zone], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choose(self, "zone", zones, nothing="Choose a zone")


class MonitorRun(forms.Form):
    """Several monitors of one kind, numbered one after another."""

    zone = forms.ModelChoiceField(Zone.objects.none())
    kind = forms.ChoiceField(choices=Monitor.Kind.choices)
    first_number = forms.IntegerField(min_value=1, label="First number")
    how_many = forms.IntegerField(min_value=1, max_value=MOST_AT_ONCE, label="How many")
    place = forms.CharField(
        max_length=160,
        required=False,
        help_text="The same for all of them; each can be made exact afterwards.",
    )
    placed_on = forms.DateField(label="Stand since", widget=DayInput())

    def __init__(self, *args: Any, zones: QuerySet[Zone], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choose(self, "zone", zones, nothing="Choose a zone")


class MoveMonitor(forms.Form):
    """Where a monitor stands now."""

    zone = forms.ModelChoiceField(Zone.objects.none())
    place = forms.CharField(max_length=160, required=False, help_text="Where exactly it stands.")

    def __init__(self, *args: Any, zones: QuerySet[Zone], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choose(self, "zone", zones)


class NewPlan(forms.Form):
    """A drawing of the site."""

    title = forms.CharField(max_length=80, help_text="Such as “Ground floor”.")
    file = UploadField(
        most_bytes=MOST_PLAN_BYTES,
        kinds=f"{PICTURES},application/pdf",
        label="Drawing",
        help_text="A picture (JPEG, PNG or WebP) or a PDF, up to 25 MB.",
    )
    page_number = forms.IntegerField(
        min_value=1, max_value=300, initial=1, label="Page", help_text="Of a PDF with several."
    )


class Percent(forms.DecimalField):
    """A share of the plan's width or height, typed from 0 to 100 and handed on from 0 to 1."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0, max_value=100, decimal_places=2, **kwargs)


class MarkOnPlan(forms.Form):
    """Where on the plan a monitor stands, in hundredths of its width and height."""

    x = Percent(label="From the left edge", help_text="In per cent of the plan's width.")
    y = Percent(label="From the top edge", help_text="In per cent of the plan's height.")

    def point(self) -> Corner:
        """Fractions from the top left."""
        return float(self.cleaned_data["x"]) / 100, float(self.cleaned_data["y"]) / 100


class CornersField(forms.CharField):
    """Corners of an outline: one ``x, y`` per line, in per cent of the plan's sides."""

    widget = forms.Textarea(attrs={"rows": 6, "spellcheck": "false"})

    def clean(self, value: str | None) -> list[Corner]:
        text = super().clean(value)
        corners: list[Corner] = []
        for number, line in enumerate(text.splitlines(), start=1):
            if not line.strip():
                continue
            try:
                x, y = (float(part) / 100 for part in line.replace(";", ",").split(","))
            except ValueError as error:
                raise ValidationError(f"Line {number} is not two numbers: “{line}”.") from error
            if not (0 <= x <= 1 and 0 <= y <= 1):
                raise ValidationError(f"Line {number} lies outside the plan (0 to 100).")
            corners.append((x, y))
        if not 3 <= len(corners) <= MOST_CORNERS:
            raise ValidationError(f"An outline needs 3 to {MOST_CORNERS} corners.")
        return corners


class Outline(forms.Form):
    """The corners of a zone on the plan, in order round it."""

    corners = CornersField(
        label="Corners",
        help_text="One corner a line: per cent from the left, comma, per cent from the top.",
    )


class NewerDocument(forms.Form):
    """A newer issue of a paper that is on file."""

    title = forms.CharField(max_length=160)
    issued_on = forms.DateField(required=False, label="Issued on", widget=DayInput())
    expires_on = forms.DateField(required=False, label="Last day it holds", widget=DayInput())
    file = UploadField(
        most_bytes=MOST_DOCUMENT_BYTES,
        kinds=f"application/pdf,{PICTURES}",
        help_text="A PDF, or a picture of the paper (JPEG, PNG or WebP), up to 25 MB.",
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        issued, expires = data.get("issued_on"), data.get("expires_on")
        if issued and expires and expires < issued:
            self.add_error("expires_on", "It expires before it was issued.")
        return data


class NewDocument(NewerDocument):
    """A paper and what it is."""

    kind = forms.ChoiceField(choices=Document.Kind.choices, label="Kind of document")
    field_order = ["kind"]


class NewPhoto(forms.Form):
    """A photo as a phone sends it."""

    photo = UploadField(most_bytes=MOST_PHOTO_BYTES, kinds=PICTURES)
    taken_at = forms.DateTimeField(required=False)


SHEETS = {"a4": A4_21, "letter": LETTER_10}


class PrintLabels(forms.Form):
    """Which monitors get a label, and on what sheet."""

    monitors = forms.ModelMultipleChoiceField(
        Monitor.objects.none(), error_messages={"required": "Choose at least one monitor."}
    )
    sheet = forms.ChoiceField(
        choices=[(key, sheet.name) for key, sheet in SHEETS.items()], initial="a4"
    )
    skip = forms.IntegerField(
        min_value=0,
        initial=0,
        label="Places used up already",
        help_text="On a sheet that was begun: so many places are left empty.",
    )

    def __init__(self, *args: Any, monitors: QuerySet[Monitor], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choose(self, "monitors", monitors)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        sheet = SHEETS.get(data.get("sheet", ""))
        if sheet and data.get("skip", 0) >= sheet.places:
            self.add_error("skip", f"A sheet has {sheet.places} places.")
        return data

    def chosen(self) -> list[UUID]:
        return [monitor.pk for monitor in self.cleaned_data["monitors"]]


class FindLabels(forms.Form):
    """Which monitors to choose labels among."""

    zone = forms.ModelChoiceField(Zone.objects.none(), required=False, empty_label="All")
    kind = forms.ChoiceField(choices=[("", "All"), *Monitor.Kind.choices], required=False)
    first = forms.IntegerField(required=False, label="From number")
    last = forms.IntegerField(required=False, label="To number")

    def __init__(self, *args: Any, zones: QuerySet[Zone], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choose(self, "zone", zones)


class TypedCode(forms.Form):
    """The code under the square on a label; ``monitor`` is what it leads to."""

    code = forms.CharField(
        max_length=40,
        label="Code on the label",
        help_text="In groups of four, with the last character after the dash.",
        widget=forms.TextInput(attrs={"autocapitalize": "characters", "autocomplete": "off"}),
    )

    def __init__(self, *args: Any, monitors: QuerySet[Monitor], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._monitors = monitors

    def clean_code(self) -> str:
        code = typed(self.cleaned_data["code"])
        if code is None:
            raise ValidationError("This is not quite the code; compare it with the label.")
        found = self._monitors.filter(label_code=code).first()
        if found is None:
            raise ValidationError("No monitor that is open to you has this code.")
        self.monitor = found
        return code


class FindSites(forms.Form):
    """The filters of the list of sites; what cannot be read filters nothing."""

    text = forms.CharField(required=False, label="Name, reference or place")
    client = forms.ModelChoiceField(Client.objects.none(), required=False, empty_label="All")
    branch = forms.ModelChoiceField(Branch.objects.none(), required=False, empty_label="All")
    closed = forms.BooleanField(required=False, label="Closed sites too")

    def __init__(
        self, *args: Any, clients: QuerySet[Client], sites: QuerySet[Site], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        choose(self, "client", clients.order_by("name", "pk"))
        branches = Branch.objects.filter(pk__in=sites.values("branch_id"))
        choose(self, "branch", branches.order_by("name", "pk"))


class FindClients(forms.Form):
    """The filters of the list of clients."""

    text = forms.CharField(required=False, label="Name or reference")
    closed = forms.BooleanField(required=False, label="Former clients too")


class FindMonitors(forms.Form):
    """The filters of a site's list of monitors."""

    zone = forms.ModelChoiceField(Zone.objects.none(), required=False, empty_label="All")
    kind = forms.ChoiceField(choices=[("", "All"), *Monitor.Kind.choices], required=False)
    removed = forms.BooleanField(required=False, label="Removed ones too")

    def __init__(self, *args: Any, zones: QuerySet[Zone], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choose(self, "zone", zones)


def choose(form: forms.BaseForm, name: str, rows: QuerySet[Any], *, nothing: str = "") -> None:
    """Let a field choose among these rows only; ``nothing`` are the words for none of them."""
    field = form.fields[name]
    assert isinstance(field, forms.ModelChoiceField)  # noqa: S101  (ours, told to the checker)
    field.queryset = rows
    if nothing:
        field.empty_label = nothing
