"""Tokens by which a person's own programs sign in."""

from datetime import timedelta

from django.db import transaction
from knox.models import AuthToken

from accounts.models import User
from accounts.refusals import Refused
from accounts.trail import record

MOST_TOKENS = 10


@transaction.atomic
def issue_token(person: User, *, days: int) -> tuple[AuthToken, str]:
    """A new token and its text, which is shown once and kept only as a hash."""
    if AuthToken.objects.filter(user=person).count() >= MOST_TOKENS:
        raise Refused(f"You have {MOST_TOKENS} tokens. End one first.", code="too_many_tokens")
    token, text = AuthToken.objects.create(user=person, expiry=timedelta(days=days))
    record(person, "token.issued", person, token=token.token_key, days=days)
    return token, text


@transaction.atomic
def revoke_token(token_key: str, *, by: User) -> None:
    """End one of one's own tokens. Ending it twice is harmless."""
    ended, _ = AuthToken.objects.filter(user=by, token_key=token_key).delete()
    if ended:
        record(by, "token.revoked", by, token=token_key)
