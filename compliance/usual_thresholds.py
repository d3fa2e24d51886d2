"""The thresholds that every installation starts with; an administrator may end them."""

from datetime import date, timedelta
from typing import Any

from django.db.models import QuerySet

from compliance.queries.thresholds import LOOK_BACK_DAYS
from compliance.trends.thresholds import CUSTOMARY


def ensure_usual_thresholds(
    thresholds: QuerySet[Any], pests: QuerySet[Any], *, today: date
) -> None:
    """Add those that are not on file and never were; one that was ended does not come back.

    They hold from as far back as readings are looked at, so that a company that begins sees what
    its monitors have caught lately. Rows may be those of a migration's own models.
    """
    known = set(thresholds.filter(site=None).values_list("name", flat=True))
    pest_ids = dict(pests.values_list("slug", "pk"))
    for one in CUSTOMARY:
        if one.name not in known:
            thresholds.create(
                name=one.name,
                per=one.per,
                least=one.least,
                pest_id=next((pest_ids[slug] for slug in one.pests), None),
                group=next(iter(one.groups), ""),
                zone_kinds=sorted(one.zone_kinds),
                begins_on=today - timedelta(days=LOOK_BACK_DAYS),
            )
