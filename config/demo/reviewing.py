"""What was made of the counts: judged, held against thresholds, and reviewed quarter by quarter."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from accounts.services.competences import add_competence, add_competence_kind
from compliance.models import ActionThreshold, Alarm
from compliance.quarters import Quarter, ended_quarters
from compliance.queries.reviews import ReviewSheet, review_sheet
from compliance.services.counting import count_sites
from compliance.services.judging import judge_months
from compliance.services.signing import Proof
from compliance.services.thresholds import ThresholdGiven, find_breaches, set_threshold
from compliance.services.trend_reviews import Explained, sign_review
from config.demo.cast import Cast
from config.demo.desk import Desk
from visits.models import Pest

QUARTERS = 4
REVIEWED_AFTER_DAYS = 12
# The office has these still to write: their last quarter waits.
UNREVIEWED = frozenset({"S002", "S011"})
CAUSES: Mapping[tuple[str, str], Explained] = {
    ("ovens", "german-cockroach"): Explained(
        "A nest behind the deck ovens; the pipe chase stood open.", set_aside=True
    ),
    ("moths", "indian-meal-moth"): Explained(
        "Old flour at the back of the flour room; twelve sacks thrown out.", set_aside=True
    ),
    ("rats", "brown-rat"): Explained(
        "Rats come to the grain dock every autumn until the gap under the door is closed."
    ),
}
LOOKED_AT = Explained("Looked at on the next round; no source was found, and the count fell again.")


def take_stock(desks: Sequence[Desk], people: Cast, proof: Proof, *, now: datetime) -> int:
    """Count, judge, set a threshold, and sign the reviews; says how many were signed."""
    count_sites(everything=True, now=now)
    judge_months(now=now)
    for desk in desks:
        if desk.spec.story == "flies":
            _agree_on_flies(desk)
    find_breaches(now=now)
    _make_competent(people, now.date())
    return sum(_review(desk, people, proof, now) for desk in desks)


def _agree_on_flies(desk: Desk) -> None:
    contract = desk.site.contracts.order_by("-starts_on", "pk").first()
    set_threshold(
        ThresholdGiven(
            name="House flies in the market hall",
            per=ActionThreshold.Per.ZONE_MONTH,
            least=Decimal("60"),
            pest_id=Pest.objects.get(slug="house-fly").pk,
            site_id=desk.site.pk,
            zone_id=desk.rooms["Market hall"].zone.pk,
            contract_id=contract.pk if contract else None,
        ),
        by=desk.cast.coordinator,
        begins_on=desk.today - timedelta(days=60),
    )


def _make_competent(people: Cast, today: date) -> None:
    """The coordinator holds what it takes to review trends."""
    kind = add_competence_kind(
        "Monitoring and trend review", by=people.administrator, issuer="Port Marlow Training (demo)"
    )
    add_competence(
        people.coordinator.pk,
        by=people.administrator,
        kind=kind,
        number="DEMO-T001",
        valid_from=today - timedelta(days=700),
        valid_until=today + timedelta(days=500),
    )


def _review(desk: Desk, people: Cast, proof: Proof, now: datetime) -> int:
    """The reviews of one site, oldest first, each signed a fortnight after its quarter."""
    signed = 0
    for quarter in reversed(ended_quarters(desk.today, QUARTERS)):
        is_last = quarter == ended_quarters(desk.today, 1)[0]
        if is_last and desk.spec.reference in UNREVIEWED:
            continue
        sheet = review_sheet(desk.site, quarter)
        if not any(one.trap_days for one in sheet.places):
            continue
        ago = (desk.today - quarter.last).days - REVIEWED_AFTER_DAYS
        sign_review(
            desk.site.pk,
            quarter,
            by=people.coordinator,
            **_words(desk, quarter, sheet),
            shown_hash=sheet.hash,
            proof=proof,
            at=desk.instant(ago, 10) if ago > 0 else now,
        )
        signed += 1
    return signed


def _words(desk: Desk, quarter: Quarter, sheet: ReviewSheet) -> dict[str, Any]:
    explained: dict[UUID, Explained] = {one.pk: _why(desk, one) for one in sheet.alarms}
    loud = sorted({one.pest.name for one in sheet.alarms})
    if not loud:
        return {
            "seen": f"Counts of {quarter} are as usual for the time of year in every zone.",
            "cause": "",
            "plan": "Nothing needs to be done; monitors stay where they are.",
            "explained": {},
        }
    return {
        "seen": f"More than usual of {' and '.join(loud).lower()}; the other counts as usual.",
        "cause": "\n".join(sorted({one.words for one in explained.values()})),
        "plan": "Visits, treatments and proofing as raised; looked at again next quarter.",
        "explained": explained,
    }


def _why(desk: Desk, alarm: Alarm) -> Explained:
    return CAUSES.get((desk.spec.story, alarm.pest.slug), LOOKED_AT)
