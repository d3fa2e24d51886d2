"""What is needed to enter readings of a site by hand: which pests to offer first."""

from collections.abc import Collection, Iterable
from uuid import UUID

from django.db.models import Sum

from sites.models import Site
from visits.models import Pest, ReadingCount
from visits.watched import likeliest

MOST_OFFERED = 4


def likely_pests(site: Site, kinds: Iterable[str], *, also: Collection[UUID]) -> list[Pest]:
    """The pests to have a field of their own, the likeliest first.

    Those that the site's monitors caught most of, then those that its kinds of monitors are there
    for, four in all; and whichever are named in ``also``, whatever their number. Two queries.
    """
    caught = (
        ReadingCount.objects.filter(reading__monitor__site=site)
        .values("pest_id")
        .annotate(total=Sum("count"))
        .order_by("-total", "pest_id")[:MOST_OFFERED]
    )
    pests = {one.pk: one for one in Pest.objects.order_by("name", "pk")}
    by_slug = {one.slug: one for one in pests.values()}
    usual = [by_slug[slug] for kind in sorted(set(kinds)) if (slug := likeliest(kind)) in by_slug]
    first = [pests[one["pest_id"]] for one in caught] + usual
    chosen = list(dict.fromkeys(first))[:MOST_OFFERED]
    named = [pests[one] for one in also if one in pests]
    return list(dict.fromkeys([*chosen, *sorted(named, key=lambda one: one.name)]))
