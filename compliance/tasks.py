"""Jobs of this app: each asks the database what is still undone and does it."""

from celery import shared_task

from compliance.services import actions, digests, flags, ordered_work, site_files


@shared_task
def raise_missing_actions() -> int:
    """Raise the actions that closed visits ask for. Safe twice, late, or never."""
    return actions.raise_missing_actions()


@shared_task
def build_site_files() -> int:
    """Build the site files that wait. Safe twice, late, or never."""
    return site_files.build_site_files()


@shared_task
def plan_ordered_work() -> int:
    """Plan a visit for every ordered job that has none. Safe twice, late, or never."""
    return ordered_work.plan_ordered_work()


@shared_task
def reconcile_flags() -> int:
    """Keep flags in step with what is late or wrong. Safe twice, late, or never."""
    outcome = flags.reconcile_flags()
    return outcome.raised + outcome.cleared


@shared_task
def send_digests() -> int:
    """Write the daily summaries whose morning has come. Safe twice, late, or never."""
    return digests.send_digests()
