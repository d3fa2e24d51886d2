"""Taking spreadsheets in: received, checked, accepted by a person, imported whole or not at all."""

import logging
from datetime import timedelta
from uuid import UUID

from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from accounts.models import User
from accounts.refusals import Unusable, require_state
from accounts.sealing import digest
from accounts.trail import record
from sites.access import require_may_keep_sites
from sites.importing.books import MOST_BYTES, Unreadable
from sites.importing.planning import Plan, plan_file, write_plan
from sites.importing.sheets import Progress, Verdict
from sites.models import ImportJob, Site

logger = logging.getLogger(__name__)

LEASE = timedelta(minutes=10)
MOST_ATTEMPTS = 3
State = ImportJob.State


@transaction.atomic
def receive_import(data: bytes, file_name: str, *, by: User) -> ImportJob:
    """Keep an uploaded spreadsheet; a job checks it next. Raises ``Unusable`` if too large."""
    require_may_keep_sites(by)
    if len(data) > MOST_BYTES:
        raise Unusable(
            f"The file has {len(data) / 1e6:.0f} MB; the most is {MOST_BYTES // 1_000_000} MB."
        )
    job = ImportJob(file_name=file_name[:200], sha256=digest(data), uploaded_by=by)
    job.file.save(f"{job.pk}.bin", ContentFile(data), save=False)
    job.save()
    record(by, "import.received", job, sha256=job.sha256, bytes=len(data))
    return job


def imports_due() -> QuerySet[ImportJob]:
    """Imports that wait to be checked or imported and that nobody works on, oldest first."""
    free = Q(lease_until=None) | Q(lease_until__lt=timezone.now())
    waiting = ImportJob.objects.filter(free, state__in=[State.RECEIVED, State.ACCEPTED])
    return waiting.order_by("created_at", "pk")


def work_imports(limit: int = 5) -> int:
    """Check and import what waits; returns how many moved on. Safe twice, late, or never."""
    return sum(work_import(pk) for pk in imports_due().values_list("pk", flat=True)[:limit])


def work_import(job_id: UUID) -> int:
    """Take one import a step further, unless somebody else is at it."""
    claimed = imports_due().filter(pk=job_id).order_by().update(lease_until=timezone.now() + LEASE)
    if not claimed:
        return 0
    job = ImportJob.objects.select_related("uploaded_by").get(pk=job_id)
    job.attempts += 1
    if job.attempts > MOST_ATTEMPTS:
        _stop(job, "It failed several times. Ask whoever runs Kickplate to look at the log.")
        return 0
    ImportJob.objects.filter(pk=job.pk).update(attempts=job.attempts)
    with job.file.open("rb") as file:
        data = file.read()
    try:
        if job.state == State.RECEIVED:
            _check(job, data)
        else:
            _apply(job, data)
    except Unreadable as error:
        _stop(job, str(error))
    except IntegrityError:
        # Somebody added the same meanwhile. Nothing was written; the next check will see theirs.
        logger.warning("import %s met other changes and is checked again", job.pk)
        ImportJob.objects.filter(pk=job.pk).update(state=State.RECEIVED, lease_until=None)
    return 1


def _progress(job: ImportJob) -> Progress:
    def told(done: int, total: int) -> None:
        ImportJob.objects.filter(pk=job.pk).update(steps_done=done, steps_all=total)

    return told


def _stop(job: ImportJob, sentence: str) -> None:
    ImportJob.objects.filter(pk=job.pk).update(
        state=State.UNREADABLE, problem=sentence[:500], lease_until=None
    )


def _check(job: ImportJob, data: bytes) -> None:
    plan = plan_file(data, job.file_name, user=job.uploaded_by, progress=_progress(job))
    with transaction.atomic():
        job = ImportJob.objects.select_for_update().get(pk=job.pk)
        if job.state != State.RECEIVED:
            return
        job.state, job.outcome, job.lease_until, job.attempts = State.CHECKED, {}, None, 0
        job.outcome = plan.as_outcome()
        job.save(update_fields=["state", "outcome", "lease_until", "attempts"])
        record(job.uploaded_by, "import.checked", job, counts=job.outcome["counts"])


@transaction.atomic
def accept_import(job_id: UUID, *, by: User, good_rows_only: bool = False) -> ImportJob:
    """Order a checked spreadsheet to be imported.

    With errors in it, nothing is imported unless ``good_rows_only`` says that the rest will do.
    """
    require_may_keep_sites(by)
    job = ImportJob.objects.select_for_update().get(pk=job_id)
    require_state(job, State.CHECKED)
    if job.outcome["counts"]["error"] and not good_rows_only:
        raise Unusable("Some rows have errors. Correct the file, or accept the good rows alone.")
    job.state, job.good_rows_only, job.uploaded_by = State.ACCEPTED, good_rows_only, by
    job.save(update_fields=["state", "good_rows_only", "uploaded_by"])
    record(by, "import.accepted", job, good_rows_only=good_rows_only)
    return job


@transaction.atomic
def drop_import(job_id: UUID, *, by: User) -> ImportJob:
    """Leave a spreadsheet that has not been imported."""
    require_may_keep_sites(by)
    job = ImportJob.objects.select_for_update().get(pk=job_id)
    require_state(job, State.RECEIVED, State.CHECKED, State.UNREADABLE)
    job.state = State.DROPPED
    job.save(update_fields=["state"])
    record(by, "import.dropped", job)
    return job


def _apply(job: ImportJob, data: bytes) -> None:
    """Plan again, since the data may have moved, and write in the same transaction."""
    progress = _progress(job)
    with transaction.atomic():
        job = ImportJob.objects.select_for_update(of=("self",)).get(pk=job.pk)
        if job.state != State.ACCEPTED:
            return
        plan = plan_file(data, job.file_name, user=job.uploaded_by)
        if plan.has_errors and not job.good_rows_only:
            job.state, job.outcome, job.lease_until = State.CHECKED, plan.as_outcome(), None
            job.problem = "The data changed since this was checked: look at the errors again."
            job.save(update_fields=["state", "outcome", "lease_until", "problem"])
            return
        apply_plan(plan, by=job.uploaded_by, source=job.file_name, sha256=job.sha256)
        job.state, job.applied_at, job.lease_until = State.APPLIED, timezone.now(), None
        job.outcome, job.problem = plan.as_outcome(), ""
        job.save(update_fields=["state", "applied_at", "lease_until", "outcome", "problem"])
        record(job.uploaded_by, "import.applied", job, counts=job.outcome["counts"])
    progress(1, 1)


@transaction.atomic
def apply_plan(plan: Plan, *, by: User | None, source: str, sha256: str) -> None:
    """Write the good rows of a plan, with one entry on the trail of each site they touch."""
    touched = write_plan(plan)
    sites = Site.objects.in_bulk(list(touched))
    for site_id in sorted(sites):
        site, rows = sites[site_id], touched[site_id]
        record(by, "site.imported", site, rows=rows, file=source, sha256=sha256)


def import_file(
    data: bytes, file_name: str, *, by: User | None, write: bool, good_rows_only: bool = False
) -> Plan:
    """Check a file and, with ``write``, import it at once: what the command line does.

    Writes nothing when rows have errors, unless ``good_rows_only``. Raises ``Unreadable``.
    """
    with transaction.atomic():
        plan = plan_file(data, file_name, user=by)
        if write and (good_rows_only or not plan.has_errors):
            apply_plan(plan, by=by, source=file_name, sha256=digest(data))
    return plan


def written_rows(plan: Plan) -> int:
    """How many rows of a plan add or change something."""
    return plan.count(Verdict.NEW) + plan.count(Verdict.CHANGED)
