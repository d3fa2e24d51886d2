"""What may be typed to decide several actions at one sitting, and to ask a colleague."""

import json
from collections.abc import Sequence
from typing import Any, cast
from uuid import UUID

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils.html import format_html

from accounts.forms import offer
from accounts.models import User
from compliance.forms import AnswerAction, FewLines, Proves, what_is_meant_by
from compliance.queries.sheets import Sheet
from compliance.services.asking import LONGEST_NOTE
from compliance.services.sittings import Answer
from sites.models import Site

LATER = "later"


class FilterDecisions(forms.Form):
    """Of which site decisions are shown; it lives in the address."""

    site = forms.ModelChoiceField(Site.objects.none(), required=False, empty_label="All sites")

    def __init__(self, data: Any, *, sites: QuerySet[Site]) -> None:
        super().__init__(data)
        offer(self, "site", sites.order_by("name", "pk"))

    def wanted(self) -> Site | None:
        """The site to look at; what cannot be read narrows nothing, and the page says so."""
        self.is_valid()
        return self.cleaned_data.get("site")


class AnswerNowOrLater(AnswerAction):
    """The answer to one of several actions; to decide it later is no answer."""

    def __init__(self, *args: Any, sheet: Sheet, **kwargs: Any) -> None:
        action = sheet.action
        super().__init__(*args, sheet=sheet, prefix=str(action.pk), **kwargs)
        answer = cast(forms.ChoiceField, self.fields["answer"])
        answer.choices = [*cast(Sequence[Any], answer.choices), (LATER, "Decide it later")]
        answer.label = format_html("{}, {}", action, action.site)
        # Every reason is named for its action: a reader who hears the page meets several.
        self.fields["reason"].label = format_html(
            'Your reason<span class="visually-hidden"> for {}, {}</span>', action, action.site
        )

    @property
    def is_later(self) -> bool:
        """Whether this is left for later, as it is until something is chosen."""
        return (self["answer"].value() or LATER) == LATER

    def clean(self) -> dict[str, Any]:
        if self.cleaned_data.get("answer") == LATER:
            return self.cleaned_data
        return super().clean()

    def drafted(self) -> dict[str, Any] | None:
        """The answer as it is kept until it is signed; None where it is left for later."""
        told = self.cleaned_data
        if told["answer"] == LATER:
            return None
        return {
            "action": str(self.sheet.action.pk),
            "answer": told["answer"],
            "reason": told["reason"].strip(),
            "revision": told["revision"],
            "shown_hash": told["shown_hash"],
        }


class SignAnswers(Proves):
    """The signature under several answers, which come back as they were shown."""

    answers = forms.CharField(widget=forms.HiddenInput)

    def clean_answers(self) -> list[Answer]:
        try:
            return [answer_of(one) for one in json.loads(self.cleaned_data["answers"])]
        except (KeyError, TypeError, ValueError) as fault:
            raise ValidationError("What was to be signed came back damaged.") from fault


def answer_of(draft: dict[str, Any]) -> Answer:
    """A drafted answer as the service takes it.

    Raises ``KeyError``, ``TypeError`` or ``ValueError`` for what is none.
    """
    return Answer(
        action_id=UUID(draft["action"]),
        revision=int(draft["revision"]),
        shown_hash=str(draft["shown_hash"]),
        reason=str(draft["reason"]),
        **what_is_meant_by(draft["answer"]),
    )


class AskColleague(forms.Form):
    """Who is asked to decide, and what they should know."""

    person = forms.ModelChoiceField(
        User.objects.none(), label="Who is asked", empty_label="Choose a manager"
    )
    note = forms.CharField(
        required=False,
        max_length=LONGEST_NOTE,
        widget=FewLines(),
        label="What they should know",
        help_text="It stands among the questions and answers; the service company reads it too.",
    )

    def __init__(self, *args: Any, people: QuerySet[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "person", people.order_by("name", "pk"))
