"""Site files: asked for by a person, built by a job, kept with their hash, handed out.

Building takes seconds to minutes, so it happens outside any transaction, under a lease. Every time
a job takes a file up the number of attempts grows, and whoever finds another number than their own
has lost the file to somebody else and stops.
"""

import logging
from datetime import date, datetime, timedelta
from uuid import UUID

from django.core.files.base import ContentFile
from django.db import transaction
from django.db.models import F, Q, QuerySet
from django.template.loader import render_to_string
from django.utils import timezone

from accounts.access import is_somebody
from accounts.models import Role, User
from accounts.refusals import NotAllowed, Unusable
from accounts.trail import record
from compliance.access import site_files_visible_to
from compliance.models import SiteFile
from compliance.queries.site_file import site_file_of
from compliance.sitefile.build import Paper, PaperSize
from compliance.sitefile.build import build_site_file as build_paper
from sites.access import sites_visible_to, valid_pass_sites
from sites.models import Site
from visits.verification import breaks_of_site

log = logging.getLogger(__name__)

LEASE = timedelta(minutes=5)
RETRY_AFTER = timedelta(seconds=30)
MOST_ATTEMPTS = 3
LONGEST_PERIOD = timedelta(days=3 * 366)
State = SiteFile.State


class LostLease(Exception):
    """Another job has taken the file up."""


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
    free = Q(lease_until=None) | Q(lease_until__lt=now)
    waiting = SiteFile.objects.filter(free, state__in=[State.REQUESTED, State.BUILDING])
    return waiting.order_by("created_at", "pk")


def build_site_files(limit: int = 3) -> int:
    """Build the site files that wait; returns how many were built. Safe twice, late, or never."""
    waiting = site_files_to_build(timezone.now()).values_list("pk", flat=True)[:limit]
    return sum(build_site_file(pk) for pk in list(waiting))


def build_site_file(site_file_id: UUID) -> bool:
    """Build one site file unless somebody else is at it, and say whether it was built."""
    site_file = _claim(site_file_id)
    if site_file is None:
        return False
    if site_file.attempts > MOST_ATTEMPTS:
        _give_up(site_file, "Building it failed several times; whoever runs Kickplate sees why.")
        return False
    try:
        paper = _printed(site_file)
        return _keep(site_file, paper)
    except LostLease:
        log.info("site file %s was taken up by another job", site_file_id)
        return False
    except OSError:
        log.exception("site file %s could not be built", site_file_id)
        _try_again(site_file, "A text library or the file store is not at hand; the log says more.")
        return False
    except Exception:  # whatever it is, the other files must go on; the log has the rest
        log.exception("site file %s could not be built", site_file_id)
        _try_again(site_file, "Something in the record could not be printed.")
        return False


def _claim(site_file_id: UUID) -> SiteFile | None:
    now = timezone.now()
    claimed = (
        site_files_to_build(now)
        .filter(pk=site_file_id)
        .order_by()
        .update(
            state=State.BUILDING,
            lease_until=now + LEASE,
            attempts=F("attempts") + 1,
            step="Reading the record",
            steps_done=0,
        )
    )
    if not claimed:
        return None
    return SiteFile.objects.select_related("site__client", "requested_by").get(pk=site_file_id)


def _mine(site_file: SiteFile) -> QuerySet[SiteFile]:
    return SiteFile.objects.filter(
        pk=site_file.pk, state=State.BUILDING, attempts=site_file.attempts
    )


def _printed(site_file: SiteFile) -> Paper:
    """The paper itself. Reads, lays out, and tells how far it is; writes nothing else."""

    def tell(done: int, steps: int, what: str) -> None:
        told = _mine(site_file).update(
            step=what[:80],
            steps_done=done,
            steps_all=steps,
            lease_until=timezone.now() + LEASE,
        )
        if not told:
            raise LostLease

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
    paper = build_paper(
        gathered.file,
        media=gathered.pictures,
        render=render_to_string,
        size=PaperSize(site_file.paper_size),
        progress=tell,
    )
    for fault in paper.faults:
        log.warning("site file %s: %s", site_file.pk, fault)
    return paper


def _keep(site_file: SiteFile, paper: Paper) -> bool:
    """Store the paper and say that it is ready, unless somebody else was faster."""
    storage = site_file.file.storage
    field = SiteFile._meta.get_field("file")
    name = storage.save(
        field.generate_filename(site_file, f"{site_file.pk}.pdf"),
        ContentFile(paper.pdf),
    )
    with transaction.atomic():
        mine = _mine(site_file).select_for_update(of=("self",)).first()
        if mine is not None:
            mine.file.name = name
            mine.state, mine.step, mine.lease_until, mine.problem = State.READY, "", None, ""
            mine.sha256, mine.pages, mine.size = paper.sha256, paper.pages, len(paper.pdf)
            mine.built_at = timezone.now()
            mine.save()
            record(
                site_file.requested_by,
                "site_file.built",
                site_file,
                sha256=paper.sha256,
                fingerprint=paper.fingerprint,
                pages=paper.pages,
                faults=list(paper.faults),
            )
            return True
    storage.delete(name)
    return False


def _try_again(site_file: SiteFile, sentence: str) -> None:
    if site_file.attempts >= MOST_ATTEMPTS:
        _give_up(site_file, sentence)
        return
    _mine(site_file).update(
        state=State.REQUESTED,
        step="",
        problem=sentence[:300],
        lease_until=timezone.now() + RETRY_AFTER,
    )


@transaction.atomic
def _give_up(site_file: SiteFile, sentence: str) -> None:
    mine = _mine(site_file).select_for_update(of=("self",)).first()
    if mine is None:
        return
    mine.state, mine.step, mine.lease_until = State.FAILED, "", None
    mine.problem = sentence[:300]
    mine.save(update_fields=["state", "step", "lease_until", "problem"])
    record(site_file.requested_by, "site_file.failed", site_file, problem=mine.problem)


@transaction.atomic
def note_download(site_file_id: UUID, *, by: User) -> SiteFile:
    """Put on the trail that somebody takes a ready site file away, and return it.

    Raises ``SiteFile.DoesNotExist`` for one that the person may not see or that is not ready.
    """
    visible = site_files_visible_to(by).filter(state=State.READY)
    site_file = visible.select_related("site").get(pk=site_file_id)
    record(by, "site_file.downloaded", site_file, sha256=site_file.sha256)
    return site_file
