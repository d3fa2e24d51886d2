"""The quarterly trend review: a competent person writes it, signs it, and explains its alarms."""

import json
from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Max

from accounts.models import User
from accounts.refusals import Refused, WrongState
from accounts.sealing import canonical, digest
from accounts.trail import record
from compliance.access import require_may_review
from compliance.models import Alarm, TrendReview
from compliance.quarters import Quarter
from compliance.queries.reviews import ReviewSheet, competence_on, review_sheet
from compliance.services.signing import Proof, role_of
from sites.models import Site


class NotCompetent(Refused):
    """Whoever would sign held no competence that day."""

    code = "not_competent"
    status = 403


class SheetMoved(Refused):
    """The figures have changed since they were shown."""

    code = "sheet_moved"
    status = 409


@dataclass(frozen=True, slots=True)
class Explained:
    """Why an alarm was raised. ``set_aside``: an outbreak, and no part of what is usual."""

    words: str
    set_aside: bool = False


@transaction.atomic
def sign_review(
    site_id: UUID,
    quarter: Quarter,
    *,
    by: User,
    seen: str,
    cause: str,
    plan: str,
    explained: Mapping[UUID, Explained],
    shown_hash: str,
    proof: Proof,
    at: datetime,
) -> TrendReview:
    """Sign what was written about a site's ended quarter, and close the alarms it explains.

    ``shown_hash`` is that of the sheet that was read. A second review of a quarter stands beside
    the first; the same one sent twice is one (``same_review``). Raises ``NotAllowed``,
    ``NotCompetent``, ``WrongState`` for a quarter that is not over, ``SheetMoved`` where the
    figures are no longer those that were read or an alarm is not among them.
    """
    site = Site.objects.select_for_update().get(pk=site_id)
    require_may_review(by, site)
    today = site.day_of(at)
    competence = competence_on(by, today)
    if competence is None:
        raise NotCompetent(
            "Only somebody with a valid licence or certificate signs a trend review. None of yours "
            "is valid today; the office keeps them under your name."
        )
    if today <= quarter.last:
        raise WrongState(f"The {quarter} is not over. It can be reviewed from {quarter.after} on.")
    seen, cause, plan = seen.strip(), cause.strip(), plan.strip()
    twin = same_review(
        site,
        quarter,
        by=by,
        seen=seen,
        cause=cause,
        plan=plan,
        whys=set(explained.values()),
        shown_hash=shown_hash,
    )
    if twin is not None:
        return twin
    # Whoever judges meanwhile takes no alarm back that is being explained, and the other way round.
    list(
        Alarm.objects.select_for_update()
        .filter(site=site, state=Alarm.State.OPEN, month__lte=quarter.last)
        .order_by("pk")
        .values_list("pk")
    )
    sheet = review_sheet(site, quarter)
    alarms = {one.pk: one for one in sheet.alarms}
    if sheet.hash != shown_hash or not explained.keys() <= alarms.keys():
        raise SheetMoved(
            "The figures changed while you were writing. Nothing was signed; read them again, "
            "your words are kept."
        )
    review = _signed(
        sheet, by, seen, cause, plan, explained, competence=str(competence), proof=proof, at=at
    )
    _explain(review, alarms, explained)
    record(
        by,
        "trend_review.signed",
        review,
        quarter=quarter.first,
        number=review.number,
        content_hash=review.content_hash,
        explained=len(explained),
    )
    return review


def same_review(
    site: Site,
    quarter: Quarter,
    *,
    by: User,
    seen: str,
    cause: str,
    plan: str,
    whys: Set[Explained],
    shown_hash: str,
) -> TrendReview | None:
    """The review that somebody signed already with these words under these figures. One query.

    Whatever explains other alarms is another review, even where its words are the same.
    """
    for one in TrendReview.objects.filter(
        site=site, quarter=quarter.first, signed_by=by, seen=seen, cause=cause, plan=plan
    ).order_by("number"):
        signed = json.loads(one.content)
        told = {Explained(why["words"], why["set_aside"]) for why in signed["explained"].values()}
        if told == whys and digest(canonical(signed["shown"])) == shown_hash:
            return one
    return None


def _signed(
    sheet: ReviewSheet,
    by: User,
    seen: str,
    cause: str,
    plan: str,
    explained: Mapping[UUID, Explained],
    *,
    competence: str,
    proof: Proof,
    at: datetime,
) -> TrendReview:
    earlier = TrendReview.objects.filter(site=sheet.site, quarter=sheet.quarter.first)
    number = (earlier.aggregate(last=Max("number"))["last"] or 0) + 1
    text = canonical(
        {
            "shown": sheet.facts,
            "number": number,
            "seen": seen,
            "cause": cause,
            "plan": plan,
            "explained": {
                str(pk): {"words": one.words, "set_aside": one.set_aside}
                for pk, one in sorted(explained.items())
            },
            "person": by.name,
            "role": role_of(by),
            "competence": competence,
            "at": at,
            "zone": sheet.site.time_zone,
        }
    )
    return TrendReview.objects.create(
        site=sheet.site,
        quarter=sheet.quarter.first,
        number=number,
        seen=seen,
        cause=cause,
        plan=plan,
        signed_by=by,
        signed_name=by.name,
        signed_role=role_of(by),
        competence=competence[:200],
        signed_at=at,
        zone=sheet.site.time_zone,
        content=text,
        content_hash=digest(text),
        method=proof.method,
    )


def _explain(
    review: TrendReview, alarms: Mapping[UUID, Alarm], explained: Mapping[UUID, Explained]
) -> None:
    changed = []
    for pk, one in explained.items():
        alarm = alarms[pk]
        alarm.state, alarm.review = Alarm.State.EXPLAINED, review
        alarm.explanation, alarm.set_aside = one.words, one.set_aside
        changed.append(alarm)
    Alarm.objects.bulk_update(changed, ["state", "review", "explanation", "set_aside"])


def trouble_of(review: TrendReview) -> str:
    """What is wrong with a signed review as it is stored now; empty where nothing is."""
    if digest(review.content) != review.content_hash:
        return "The signed text no longer fits its hash."
    signed = json.loads(review.content)
    stored = {
        "seen": review.seen,
        "cause": review.cause,
        "plan": review.plan,
        "person": review.signed_name,
        "number": review.number,
    }
    if any(signed.get(name) != value for name, value in stored.items()):
        return "The stored words are no longer those that were signed."
    return ""


def broken_reviews() -> Iterator[tuple[TrendReview, str]]:
    """Every signed review that no longer stands as it was signed, oldest first."""
    for review in TrendReview.objects.order_by("signed_at", "pk").iterator(chunk_size=200):
        trouble = trouble_of(review)
        if trouble:
            yield review, trouble
