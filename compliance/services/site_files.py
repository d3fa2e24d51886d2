"""Site files: asked for by a person, built by a job, kept with their hash, handed out."""

from datetime import date, datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet
from django.template.loader import render_to_string
from django.utils import timezone

from accounts.access import is_somebody
from accounts.models import Role, User
from accounts.refusals import NotAllowed, Unusable
from accounts.trail import record
from compliance.access import site_files_visible_to
from compliance.models import SiteFile
from compliance.queries.site_file import site_file_of
from compliance.services import papers
from compliance.sitefile.build import Paper, PaperSize, Progress
from compliance.sitefile.build import build_site_file as build_paper
from sites.access import sites_visible_to, valid_pass_sites
from sites.models import Site
from visits.verification import breaks_of_site

LONGEST_PERIOD = timedelta(days=3 * 366)
State = SiteFile.State


@transaction.atomic
def request_site_file(
    site_id: UUID,
    *,
    by: User,
    period_from: date,
    period_to: date,
    paper_size: str = SiteFile.PaperSize.A4,
) -> SiteFile:
    """Ask for the site file of a period; a job builds it.

    Whoever asks for the same while it is waiting or being built gets the one that is under way.
    Raises ``NotAllowed`` for technicians and for an auditor whose pass does not cover the period,
    ``Unusable`` for a period that ends before it begins or spans more than three years.
    """
    site = Site.objects.select_for_update(of=("self",)).get(pk=site_id)
    _require_may_ask(by, site, period_from, period_to)
    if period_to < period_from:
        raise Unusable("The period ends before it begins.", field="period_to")
    if period_to - period_from > LONGEST_PERIOD:
        raise Unusable(
            "A site file covers at most three years; ask for a shorter period.", field="period_from"
        )
    wanted = {
        "site": site,
        "period_from": period_from,
        "period_to": period_to,
        "paper_size": paper_size,
        "audience": by.role,
    }
    under_way = SiteFile.objects.filter(
        **wanted, requested_by=by, state__in=[State.REQUESTED, State.BUILDING]
    )
    if found := under_way.order_by("created_at", "pk").first():
        return found
    site_file = SiteFile.objects.create(**wanted, requested_by=by)
    record(
        by,
        "site_file.requested",
        site_file,
        period_from=period_from,
        period_to=period_to,
        paper_size=paper_size,
    )
    return site_file


def _require_may_ask(by: User, site: Site, first: date, last: date) -> None:
    if not is_somebody(by) or by.role == Role.TECHNICIAN:
        raise NotAllowed("Site files are for the office, the client and auditors.")
    if not sites_visible_to(by).filter(pk=site.pk).exists():
        raise NotAllowed("This site is not one of yours.")
    if by.role != Role.AUDITOR:
        return
    covering = valid_pass_sites(by).filter(
        site=site, auditor_pass__period_from__lte=first, auditor_pass__period_to__gte=last
    )
    if not covering.exists():
        raise NotAllowed("Your pass does not cover the whole of this period.")


def site_files_to_build(now: datetime) -> QuerySet[SiteFile]:
    """Files that wait, or whose builder has fallen silent, oldest first."""
    return papers.to_build(KIND, now)


def build_site_files(limit: int = 3) -> int:
    """Build the site files that wait; returns how many were built. Safe twice, late, or never."""
    return papers.build_waiting(KIND, limit)


def build_site_file(site_file_id: UUID) -> bool:
    """Build one site file unless somebody else is at it, and say whether it was built."""
    return papers.build(KIND, site_file_id)


def _rows() -> QuerySet[SiteFile]:
    return SiteFile.objects.select_related("site__client", "requested_by")


def _printed(site_file: SiteFile, tell: Progress) -> Paper:
    """The paper itself. Reads and lays out; writes nothing."""
    breaks = breaks_of_site(site_file.site, with_photos=False)
    gathered = site_file_of(
        site_file.site,
        first=site_file.period_from,
        last=site_file.period_to,
        by=site_file.requested_by,
        role=site_file.audience,
        now=timezone.now(),
        broken_seals=[f"Sealed record {one.seal_number}: {one.what}." for one in breaks],
    )
    return build_paper(
        gathered.file,
        media=gathered.pictures,
        render=render_to_string,
        size=PaperSize(site_file.paper_size),
        progress=tell,
    )


KIND = papers.Kind(_rows, verb="site_file", words="site file", printed=_printed)


@transaction.atomic
def note_download(site_file_id: UUID, *, by: User) -> SiteFile:
    """Put on the trail that somebody takes a ready site file away, and return it.

    Raises ``SiteFile.DoesNotExist`` for one that the person may not see or that is not ready.
    """
    visible = site_files_visible_to(by).filter(state=State.READY)
    site_file = visible.select_related("site").get(pk=site_file_id)
    record(by, "site_file.downloaded", site_file, sha256=site_file.sha256)
    return site_file
