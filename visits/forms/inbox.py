"""What may be typed about records that wait to be placed."""

from collections.abc import Sequence
from typing import Any

from django import forms

from sites.forms import UploadField
from visits.forms.inputs import ShortText
from visits.models import Visit
from visits.services.log_files import MOST_LOG_BYTES


class FilterInbox(forms.Form):
    """What the list is narrowed to; it lives in the address."""

    settled = forms.BooleanField(label="Show settled ones too", required=False)


class PlaceParked(forms.Form):
    """The visit that a record belongs to: one to be chosen, or the one that it ``must`` be."""

    visit = forms.ChoiceField(label="Which visit does it belong to?", widget=forms.RadioSelect)
    together = forms.BooleanField(required=False, initial=True)
    note = forms.CharField(label="Note", max_length=300, required=False, widget=ShortText)

    def __init__(
        self,
        *args: Any,
        visits: Sequence[Visit],
        others: int,
        must: Visit | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        if others:
            records = "one other record" if others == 1 else f"{others} other records"
            self.fields[
                "together"
            ].label = f"Place the {records} that this phone sent for the same visit with it"
        else:
            del self.fields["together"]
        chosen: Any = self.fields["visit"]
        chosen.choices = [(str(visit.pk), _words(visit)) for visit in visits]
        if must:
            chosen.choices, chosen.initial = [(str(must.pk), str(must))], str(must.pk)
            chosen.widget = forms.HiddenInput()


def _words(visit: Visit) -> str:
    day = visit.booked_on or visit.due_on
    who = f", {visit.technician.name}" if visit.technician else ""
    return (
        f"{visit.site.name}: {visit.get_kind_display().lower()}, {day:%a %-d %b %Y}{who} "
        f"({visit.get_state_display().lower()})"
    )


class LoadLog(forms.Form):
    """A file that was saved on a phone."""

    file = UploadField(
        label="The phone’s file",
        most_bytes=MOST_LOG_BYTES,
        kinds=".json,application/json",
        help_text="The technician saves it on the phone and sends it by whatever way is left.",
    )


class SetAside(forms.Form):
    """Why a record is placed nowhere."""

    note = forms.CharField(label="Why", max_length=300, widget=ShortText)
