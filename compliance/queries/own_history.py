"""What checked proofing has done at the company's own sites: the basis of an expected effect.

Docs: docs/algorithms/two-ways.md (What an effect stands on), rates-and-effects.md (Did it help?).
"""

from dataclasses import dataclass
from datetime import datetime
from statistics import median

from django.db.models import Max

from accounts.models import User
from compliance.models import CorrectiveAction
from compliance.queries.effects import Helped, effects_at
from sites.access import sites_visible_to
from sites.models import Site
from visits.models import RemedyKind

MOST_SITES = 3
"""Each site costs five queries; those where proofing was checked last are looked at."""


@dataclass(frozen=True, slots=True)
class OwnHistory:
    """How much less was caught after checked proofing against pests of a group.

    ``percent`` is the median over ``pieces``, those included after which not less was caught (0);
    ``least`` and ``most`` are its ends. After ``fewer`` of them the counts leave no doubt.
    """

    percent: int
    least: int
    most: int
    pieces: int
    fewer: int
    sites: int

    @property
    def words(self) -> str:
        """On what it stands, for the client; no other site is named."""
        pieces = "piece" if self.pieces == 1 else "pieces"
        sites = "site" if self.sites == 1 else "sites"
        return (
            f"After {self.pieces} checked {pieces} of proofing against such pests, at {self.sites} "
            f"{sites} of ours, monitors caught {self.percent} % less (in the middle; from "
            f"{self.least} to {self.most} %); {self.fewer} of them beyond doubt. That visits and "
            "treatments fall as catches do is assumed."
        )


def saved_by_proofing(user: User, group: str, *, now: datetime | None = None) -> OwnHistory | None:
    """What the counts say, over the sites that a person sees; None where they leave it in doubt.

    At least one piece of work must have been followed by fewer beyond doubt. At most seventeen
    queries, however many sites there are.
    """
    checked = (
        CorrectiveAction.objects.filter(
            site__in=sites_visible_to(user),
            kind=RemedyKind.PROOFING,
            state=CorrectiveAction.State.CHECKED,
            finding__pest__group=group,
        )
        .values("site")
        .annotate(last=Max("done_at"))
        .order_by("-last", "site")
        .values_list("site", flat=True)[:MOST_SITES]
    )
    sites = Site.objects.filter(pk__in=list(checked)).select_related("client")
    found = {
        site.pk: [one for one in effects_at(site, user, now=now) if _tells(one, group)]
        for site in sites
    }
    told = [one for some in found.values() for one in some]
    fewer = sum(one.state == "fewer" for one in told)
    if not fewer:
        return None
    shares = [_percent_less(one) for one in told]
    return OwnHistory(
        percent=round(median(shares)),
        least=min(shares),
        most=max(shares),
        pieces=len(told),
        fewer=fewer,
        sites=sum(bool(some) for some in found.values()),
    )


def _tells(one: Helped, group: str) -> bool:
    """Proofing by itself, against such a pest, with a ratio that could be worked out."""
    of_group = one.pest is not None and one.pest.group == group
    return (
        one.kind == "proofing"
        and of_group
        and one.state != "too_early"
        and one.told is not None
        and one.told.ratio.value is not None
    )


def _percent_less(one: Helped) -> int:
    ratio = one.told.ratio.value if one.told else None
    return 0 if ratio is None else round(100 * (1 - min(1.0, ratio)))
