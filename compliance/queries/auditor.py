"""What an auditor's pass opens: the sites, the period, until when, and how the evidence stands."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone

from accounts.models import Role, User
from compliance.evidence import Standing
from compliance.queries.evidence import Line, Period, evidence_of, usual_period
from sites.access import sites_visible_to, valid_pass_sites
from sites.models import Site

UNJUDGED = frozenset({Standing.NOTHING_TO_SHOW, Standing.NOT_KEPT})


@dataclass(frozen=True, slots=True)
class SiteToRead:
    """One site of a pass. ``valid_until`` is the instant at which the last pass for it ends."""

    site: Site
    period: Period
    valid_until: datetime | None
    lines: Sequence[Line]

    def number(self, standing: Standing) -> int:
        return sum(line.standing == standing for line in self.lines)

    @property
    def judged(self) -> list[Line]:
        """What there is something to say about, worst first."""
        return [line for line in self.lines if line.standing not in UNJUDGED]

    @property
    def unjudged(self) -> list[Line]:
        """What had nothing to show in the period, or is not kept here."""
        return [line for line in self.lines if line.standing in UNJUDGED]

    @property
    def missing(self) -> int:
        return self.number(Standing.MISSING)

    @property
    def not_current(self) -> int:
        return self.number(Standing.NOT_CURRENT)

    @property
    def current(self) -> int:
        return self.number(Standing.CURRENT)


def sites_to_read(user: User) -> QuerySet[Site]:
    """The sites a person may judge, by client and name."""
    return sites_visible_to(user).select_related("client").order_by("client__name", "name", "pk")


def read_sites(
    user: User, sites: Sequence[Site], *, now: datetime | None = None
) -> list[SiteToRead]:
    """The evidence of these sites in the period a person may see, in the order given.

    For an auditor the period is that of the pass (of all passes together where several name a
    site); for everybody else the last twelve months. Eleven queries at most, however many sites.
    """
    now = now or timezone.now()
    periods = {site.pk: usual_period(site.day_of(now)) for site in sites}
    until: dict[UUID, datetime] = {}
    if user.role == Role.AUDITOR:
        named: dict[UUID, Period] = {}
        passes = valid_pass_sites(user).filter(site__in=sites).select_related("auditor_pass")
        for row in passes:
            one = row.auditor_pass
            had = named.get(row.site_id, Period(one.period_from, one.period_to))
            named[row.site_id] = Period(
                min(had.first, one.period_from), max(had.last, one.period_to)
            )
            until[row.site_id] = max(until.get(row.site_id, one.valid_until), one.valid_until)
        periods.update(named)
    evidence = evidence_of(sites, periods, now=now)
    return [
        SiteToRead(
            site=site,
            period=periods[site.pk],
            valid_until=until.get(site.pk),
            lines=evidence[site.pk],
        )
        for site in sites
    ]
