"""How a person signs: known again at that moment, and bound to the exact text that was shown."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.cache import cache

from accounts.models import User
from accounts.refusals import Refused
from accounts.sealing import canonical, digest
from compliance.models import CorrectiveAction, SignOff

PASSWORD, PASSKEY, SIGNED_IN = "password", "passkey", "signed_in"
WRONG_TRIES, WRONG_SECONDS = 5, 300


class WrongPassword(Refused):
    """The password re-entered at signing is not the person's."""

    code = "wrong_password"
    status = 403


class TooManyTries(Refused):
    """Too many wrong passwords in a short time; the right one is refused too."""

    code = "too_many_tries"
    status = 429


@dataclass(frozen=True, slots=True)
class Proof:
    """How the one who signs was known: by ``password``, by ``passkey``, or as ``signed_in``.

    Only made by ``prove_by_password``, by a page that saw a passkey a moment ago, and for reports
    that ask for no more than being signed in.
    """

    method: str


def prove_by_password(person: User, password: str) -> Proof:
    """Make sure of a person by the password typed again.

    After five wrong ones within five minutes every further one is refused unread. Raises
    ``WrongPassword`` or ``TooManyTries``. Takes a third of a second by design: call it outside a
    transaction.
    """
    key = f"sign-off-tries:{person.pk}"
    if (cache.get(key) or 0) >= WRONG_TRIES:
        raise TooManyTries(
            "Too many wrong passwords. Wait five minutes, then try again.",
            wait_seconds=WRONG_SECONDS,
        )
    if not person.check_password(password):
        cache.add(key, 0, WRONG_SECONDS)
        cache.incr(key)
        raise WrongPassword("That is not your password. Nothing was signed.")
    cache.delete(key)
    return Proof(PASSWORD)


def sign(
    action: CorrectiveAction,
    *,
    by: User,
    meaning: str,
    content: Mapping[str, Any],
    proof: Proof,
    at: datetime,
) -> SignOff:
    """Write a sign-off under a text. Belongs inside the transaction of what is signed.

    ``content`` is what was shown and what was answered; who, as what, when and with which meaning
    are added here, so that the text stands by itself.
    """
    person_role = role_of(by)
    text = canonical(
        {
            **content,
            "meaning": SignOff.Meaning(meaning).label,
            "person": by.name,
            "role": person_role,
            "at": at,
            "zone": action.site.time_zone,
        }
    )
    return SignOff.objects.create(
        site=action.site,
        action=action,
        person=by,
        person_name=by.name,
        person_role=person_role,
        meaning=meaning,
        at=at,
        zone=action.site.time_zone,
        content=text,
        content_hash=digest(text),
        method=proof.method,
    )


def role_of(person: User) -> str:
    """As what a person signs: the job title where there is one, and for whom."""
    title = person.job_title or person.get_role_display()
    return (f"{title}, {person.client.name}" if person.client else title)[:120]


def is_whole(sign_off: SignOff) -> bool:
    """Whether the signed text is still the text that was signed."""
    return digest(sign_off.content) == sign_off.content_hash


def shown_facts(sign_off: SignOff) -> Any:
    """The facts that were on the page when this was signed, as plain JSON values."""
    return json.loads(sign_off.content).get("shown", {}).get("facts")


def reported_facts(sign_off: SignOff) -> Any:
    """What was reported of the finished work that this is signed under; None where it was none."""
    return json.loads(sign_off.content).get("done")
