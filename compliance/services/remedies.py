"""The price list is kept: remedies are added, changed and ended by the office.

What was worked out from it keeps its lines as they were, so a price may change in place; the trail
holds the old one.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django.utils.text import slugify

from accounts.models import User
from accounts.refusals import Unusable, WrongState
from accounts.trail import record, record_each
from compliance.access import require_may_keep_prices
from compliance.models import Remedy
from compliance.usual_remedies import USUAL_REMEDIES, UsualRemedy
from sites.keeping import keep_changes, keep_new
from visits.models import Finding, RemedyKind


@dataclass(frozen=True, slots=True)
class RemedyGiven:
    """What a remedy is to be. Money is of one unit; a price that is not known yet is None."""

    name: str
    unit: str
    holds: str
    basis: str
    price: Decimal | None = None
    price_low: Decimal | None = None
    price_high: Decimal | None = None
    minutes: int = 0
    life_years: int | None = None
    life_years_low: int | None = None
    life_years_high: int | None = None
    finding_kinds: Sequence[str] = ()
    remedy_kinds: Sequence[str] = ()
    cautions: str = ""


@transaction.atomic
def add_remedy(given: RemedyGiven, *, by: User) -> Remedy:
    """Add a remedy to the price list, as the office.

    Raises ``NotAllowed``, ``Unusable`` for what no remedy can be, ``Taken`` for a name that is on
    the list or a second price of labour.
    """
    require_may_keep_prices(by)
    facts = _cleaned(given)
    remedy = Remedy(slug=_free_slug(facts["name"]), **facts)
    keep_new(remedy)
    record(by, "remedy.added", remedy, **facts)
    return remedy


@transaction.atomic
def change_remedy(remedy_id: UUID, given: RemedyGiven, *, by: User, seen: str = "") -> Remedy:
    """Change a remedy; ``seen`` is the fingerprint of what was on screen (``sites.keeping``).

    The same again changes nothing. Raises as adding does, ``WrongState`` once it is ended, and
    ``Changed`` if somebody else wrote in between.
    """
    require_may_keep_prices(by)
    remedy = Remedy.objects.select_for_update().get(pk=remedy_id)
    _require_offered(remedy)
    changed = keep_changes(remedy, _cleaned(given), seen=seen)
    if changed:
        record(by, "remedy.changed", remedy, name=remedy.name, changed=changed)
    return remedy


@transaction.atomic
def end_remedy(remedy_id: UUID, *, by: User, at: datetime | None = None) -> Remedy:
    """Take a remedy off the price list; what was worked out with it stays. Ended twice is once.

    Raises ``NotAllowed``.
    """
    require_may_keep_prices(by)
    remedy = Remedy.objects.select_for_update().get(pk=remedy_id)
    if remedy.ended_at is None:
        remedy.ended_at = at or timezone.now()
        remedy.save(update_fields=["ended_at"])
        record(by, "remedy.ended", remedy, name=remedy.name)
    return remedy


@transaction.atomic
def load_usual_remedies(*, by: User) -> int:
    """Put the usual remedies on the price list, without prices, and say how many were new.

    One that was ever on it does not come back, nor does one whose name is on it, or labour where
    it has a price already. Safe to repeat. Raises ``NotAllowed``.
    """
    require_may_keep_prices(by)
    slugs = set(Remedy.objects.values_list("slug", flat=True))
    offered = Remedy.objects.filter(ended_at=None)
    names = {name.lower() for name in offered.values_list("name", flat=True)}
    labour = offered.filter(holds=Remedy.Holds.LABOUR).exists()
    new = [
        _remedy_of(one)
        for one in USUAL_REMEDIES
        if one.slug not in slugs
        and one.name.lower() not in names
        and not (labour and one.holds == Remedy.Holds.LABOUR)
    ]
    Remedy.objects.bulk_create(new)
    record_each(by, "remedy.added", new, own=[{"name": one.name, "usual": True} for one in new])
    return len(new)


def _remedy_of(usual: UsualRemedy) -> Remedy:
    facts = asdict(usual)
    low, likely, high = facts.pop("life") or (None, None, None)
    return Remedy(
        **{
            **facts,
            "finding_kinds": sorted(usual.finding_kinds),
            "remedy_kinds": sorted(usual.remedy_kinds),
        },
        life_years_low=low,
        life_years=likely,
        life_years_high=high,
    )


def _cleaned(given: RemedyGiven) -> dict[str, Any]:
    """The remedy's facts as they are kept. Raises ``Unusable``; the database has the last word."""
    facts = asdict(given)
    for name in ("name", "basis", "cautions"):
        facts[name] = facts[name].strip()
    if not facts["name"]:
        raise Unusable("Say what the remedy is.", field="name")
    if not facts["basis"]:
        raise Unusable(
            "Say where its life and labour are from, if only that it is your own experience.",
            field="basis",
        )
    if not set(given.finding_kinds) <= set(Finding.Kind.values):
        raise Unusable("There is no such kind of finding.", field="finding_kinds")
    if not set(given.remedy_kinds) <= set(RemedyKind.values):
        raise Unusable("There is no such kind of action.", field="remedy_kinds")
    facts["finding_kinds"] = sorted(given.finding_kinds)
    facts["remedy_kinds"] = sorted(given.remedy_kinds)
    return facts


def _free_slug(name: str) -> str:
    """A slug of the name that no remedy has had, numbered where it must be."""
    wanted = slugify(name)[:50] or "remedy"
    taken = set(Remedy.objects.filter(slug__startswith=wanted).values_list("slug", flat=True))
    number, slug = 1, wanted
    while slug in taken:
        number += 1
        slug = f"{wanted}-{number}"
    return slug


def _require_offered(remedy: Remedy) -> None:
    if remedy.ended_at is not None:
        raise WrongState(f"“{remedy}” is no longer on the price list; add it anew.")
