"""Reviewing the bait that lies at a site: why it stays, or that it is to be lifted."""

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import User
from accounts.refusals import NotAllowed, Unusable, WrongState
from accounts.trail import record
from sites.access import sites_visible_to
from sites.models import Site
from visits.access import require_may_review_baiting
from visits.models import BaitingReview
from visits.queries.baiting import bait_at_points


@transaction.atomic
def review_baiting(
    site_id: UUID, *, by: User, outcome: str, cause: str, at: datetime | None = None
) -> BaitingReview:
    """Record a review of all bait at a site: it goes on for a cause, or is to be lifted.

    ``at`` is now unless said; its day at the site is the day of the review. What ends the baiting
    is that a technician lifts the bait. The same review by the same person on the same day is one.
    Raises ``NotAllowed``, ``Unusable`` without a cause, ``WrongState`` where no bait lies.
    """
    require_may_review_baiting(by)
    if not sites_visible_to(by).filter(pk=site_id).exists():
        raise NotAllowed("Only the office of this site's branch reviews its bait.")
    site = Site.objects.select_for_update(no_key=True).get(pk=site_id)
    at = at or timezone.now()
    cause = cause.strip()
    if not cause:
        raise Unusable(
            "Say why; without a cause bait may not go on lying.",
            code="cause_missing",
            field="cause",
        )
    if outcome not in BaitingReview.Outcome.values:
        raise Unusable(
            "Say whether baiting goes on or the bait is lifted.", code="unusable", field="outcome"
        )
    said = {
        "site": site,
        "reviewed_on": site.day_of(at),
        "outcome": outcome,
        "cause": cause,
        "reviewed_by": by,
    }
    same = BaitingReview.objects.filter(**said).first()
    if same is not None:
        return same
    found = bait_at_points([site], at)[site.pk]
    if found.state.is_lifted:
        raise WrongState(f"No bait lies at {site} by the record; there is nothing to review.")
    review = BaitingReview.objects.create(**said)
    record(
        by,
        "baiting.reviewed",
        review,
        outcome=outcome,
        cause=cause,
        points=len(found.state.open_points),
        since=found.state.open_since,
        balance_g=found.balance_g,
        was_due=found.state.review_due_on,
    )
    return review
