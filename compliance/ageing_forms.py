"""What the page of how long actions stay open is narrowed to."""

from typing import Any

from django import forms
from django.db.models import QuerySet

from accounts.forms import offer
from accounts.models import Client
from compliance.models import CorrectiveAction

USUAL_MONTHS = "24"
PERIODS = [
    ("6", "Last 6 months"),
    ("12", "Last 12 months"),
    (USUAL_MONTHS, "Last 24 months"),
    ("60", "Last 5 years"),
]


class FilterAgeing(forms.Form):
    """It lives in the address. Without ``clients`` there is no choice of one."""

    raised = forms.ChoiceField(choices=PERIODS, required=False)
    kind = forms.ChoiceField(
        choices=[("", "All kinds"), *CorrectiveAction.Kind.choices], required=False
    )
    client = forms.ModelChoiceField(
        Client.objects.none(), required=False, empty_label="All clients"
    )

    def __init__(self, data: Any, *, clients: QuerySet[Client] | None) -> None:
        super().__init__({"raised": USUAL_MONTHS, **data.dict()})
        if clients is None:
            del self.fields["client"]
        else:
            offer(self, "client", clients.order_by("name", "pk"))

    def wanted(self) -> dict[str, Any]:
        """What to look for; what cannot be read narrows nothing, and the page says so."""
        self.is_valid()
        told = self.cleaned_data
        return {
            "months": int(told.get("raised") or USUAL_MONTHS),
            "kind": told.get("kind", ""),
            "client": told.get("client"),
        }
