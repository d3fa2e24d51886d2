"""Keeping beside each treatment what its record shows against the label, when the visit closes."""

from collections.abc import Mapping, Sequence
from typing import Any

from accounts.ids import uuid7
from accounts.models import User
from sites.models import Zone
from visits.models import Pest, Product, Treatment, Visit
from visits.queries.against_label import as_kept, judged
from visits.services.writing import Unknown, label_of, licences_of


def judge_treatments(visit: Visit, treatments: Sequence[Treatment]) -> list[Treatment]:
    """Put on each treatment what stands against it, and answer those that were forbidden.

    Part of closing a visit, before its seal is made: for who holds its lock. Ten queries at most,
    however many treatments; none without any.
    """
    found = judged(visit, treatments)
    for one in treatments:
        one.against_label = as_kept(found[one.pk])
        one.was_forbidden = any(notice.forbidden for notice in found[one.pk])
    if treatments:
        Treatment.objects.bulk_update(treatments, ["against_label", "was_forbidden"])
    return [one for one in treatments if one.was_forbidden]


def words_against(visit: Visit, said: Mapping[str, Any], *, by: User) -> list[str]:
    """What stands against a treatment that comes too late to be sealed with its visit, in words.

    ``said`` is the checked body of ``treatment.set``, ``by`` whose hand it was. Nothing is written.
    Empty where it names what the site or the register does not have. Fifteen queries at most.
    """
    zone = Zone.objects.filter(site=visit.site_id, pk=said["zone"]).first()
    product = Product.objects.select_related("label").filter(pk=said["product"]).first()
    target = Pest.objects.filter(slug=said["target"]).first()
    if zone is None or product is None or target is None:
        return []
    day = visit.site.day_of(said["started_at"])
    try:
        label, rate = label_of(product, day, label_id=said["label"], rate_id=said["rate"])
    except Unknown:
        return []
    one = Treatment(
        pk=uuid7(),
        visit=visit,
        zone=zone,
        product=product,
        target=target,
        label=label,
        rate=rate,
        monitor_id=said["monitor"],
        unit=said["unit"] or product.unit,
        applicator_licence=licences_of(by, day),
        **{name: said[name] for name in JUDGED_BY},
    )
    return [notice.words for notice in judged(visit, [one])[one.pk]]


JUDGED_BY = (
    "method",
    "surface",
    "amount",
    "area",
    "area_unit",
    "finished_amount",
    "finished_unit",
    "started_at",
    "outdoors",
    "wind_speed",
    "supervised_person",
)
