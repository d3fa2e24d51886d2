"""Whether the person who signs has shown a passkey a moment ago."""

import time

from allauth.account.authentication import get_authentication_records
from allauth.mfa.models import Authenticator
from django.http import HttpRequest

from accounts.models import User
from compliance.services.signing import PASSKEY, Proof

# Long enough to come back to the form and read it; a passkey shown for one signature is used up.
FRESH_SECONDS = 300
USED_KEY = "passkey_used_for_sign_off"


def passkey_shown(request: HttpRequest) -> Proof | None:
    """The proof that a passkey was shown for the next signature, if it was. No query."""
    return Proof(PASSKEY) if _shown_at(request) else None


def use_up_passkey(request: HttpRequest) -> None:
    """Make sure that the passkey shown for this signature serves no other."""
    shown_at = _shown_at(request)
    if shown_at:
        request.session[USED_KEY] = shown_at


def has_passkey(user: User) -> bool:
    """Whether the person may sign with a passkey instead of the password. One query."""
    found = Authenticator.objects.filter(user=user, type=Authenticator.Type.WEBAUTHN)
    return bool(found.exists())


def _shown_at(request: HttpRequest) -> float | None:
    """When a passkey was last shown again, unless that is long ago or was used up."""
    shown = [
        record["at"]
        for record in get_authentication_records(request, request.user)
        if record.get("type") == "webauthn" and record.get("reauthenticated")
    ]
    if not shown:
        return None
    last: float = max(shown)
    fresh = time.time() - last < FRESH_SECONDS
    return last if fresh and last > request.session.get(USED_KEY, 0) else None
