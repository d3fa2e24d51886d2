"""Corrections that stand beside a closed visit; the sealed words stay as they are."""

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import User
from accounts.refusals import Unusable, require_state
from accounts.sealing import chained
from accounts.trail import record
from visits.access import require_may_amend
from visits.models import Amendment, Visit
from visits.verification import amendment_record


@transaction.atomic
def amend_visit(
    visit_id: UUID,
    *,
    by: User,
    about: str,
    correction: str,
    reason: str,
    at: datetime | None = None,
) -> Amendment:
    """Put a correction beside a closed visit, sealed after its seal and those of earlier ones.

    ``at`` is now unless said. Raises ``NotAllowed`` for anybody but the office and the visit's
    technician, ``WrongState`` unless the visit is closed, ``Unusable`` if a word is missing.
    """
    visit = Visit.objects.select_for_update(of=("self",)).select_related("site").get(pk=visit_id)
    require_may_amend(by, visit)
    return amend_locked(
        visit, by=by, about=about, correction=correction, reason=reason, at=at or timezone.now()
    )


def amend_locked(
    visit: Visit, *, by: User, about: str, correction: str, reason: str, at: datetime
) -> Amendment:
    """The same for who holds the visit's lock and may amend it."""
    require_state(visit, Visit.State.CLOSED)
    about, correction, reason = about.strip(), correction.strip(), reason.strip()
    for words, field, asked in (
        (about, "about", "Say what in the record this concerns."),
        (correction, "correction", "Write what is right."),
        (reason, "reason", "Say why it is corrected."),
    ):
        if not words:
            raise Unusable(asked, code="words_missing", field=field)
    if len(about) > 160:
        raise Unusable("Name in under 160 characters what it concerns.", field="about")
    last = visit.amendments.order_by("-number").first()
    amendment = Amendment(
        visit=visit,
        number=last.number + 1 if last else 1,
        author=by,
        at=at,
        about=about,
        correction=correction,
        reason=reason,
        previous_seal=last.seal if last else visit.seal,
    )
    amendment.sealed_record = amendment_record(visit, amendment)
    amendment.seal = chained(amendment.previous_seal, amendment.sealed_record)
    amendment.save(force_insert=True)
    record(
        by,
        "visit.amended",
        amendment,
        at=at,
        visit=visit.pk,
        number=amendment.number,
        about=about,
        seal=amendment.seal,
    )
    return amendment
