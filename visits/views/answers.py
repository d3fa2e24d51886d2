"""How a refusal is said on the page on which something was typed."""

from django.forms import BaseForm

from accounts.refusals import Refused


def told_no(form: BaseForm, refused: Refused) -> None:
    """Says it beside its fields, else on top of the form; nothing that was typed is lost."""
    named = refused.facts.get("fields") or {refused.facts.get("field"): [str(refused)]}
    for field, sentences in named.items():
        for sentence in sentences:
            form.add_error(field if field in form.fields else None, sentence)
