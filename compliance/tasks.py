"""Jobs of this app: each asks the database what is still undone and does it."""

from celery import shared_task

from accounts.tasks import send_letters
from accounts.wake import wake
from compliance.services import (
    actions,
    counting,
    decision_papers,
    digests,
    flags,
    judging,
    ordered_work,
    review_packs,
    site_files,
    telling,
    thresholds,
)


@shared_task
def raise_missing_actions() -> int:
    """Raise the actions that closed visits ask for. Safe twice, late, or never."""
    return actions.raise_missing_actions()


@shared_task
def build_site_files() -> int:
    """Build the site files that wait. Safe twice, late, or never."""
    return site_files.build_site_files()


@shared_task
def make_decision_papers() -> int:
    """Make the papers of decisions that have none. Safe twice, late, or never."""
    return decision_papers.make_decision_papers()


@shared_task
def build_review_packs() -> int:
    """Build the review packs that wait. Safe twice, late, or never."""
    return review_packs.build_review_packs()


@shared_task
def plan_ordered_work() -> int:
    """Plan a visit for every ordered job that has none. Safe twice, late, or never."""
    return ordered_work.plan_ordered_work()


@shared_task
def find_breaches() -> int:
    """Find what has reached an action threshold, and follow it up. Safe twice, late, or never."""
    return thresholds.find_breaches()


@shared_task
def reconcile_flags() -> int:
    """Keep flags in step with what is late or wrong. Safe twice, late, or never."""
    outcome = flags.reconcile_flags()
    return outcome.raised + outcome.cleared


@shared_task
def count_and_judge() -> int:
    """Sum up what monitors caught, and judge the months where it changed. Safe twice, or late."""
    return counting.count_sites() + judging.judge_months()


@shared_task
def send_digests() -> int:
    """Write the daily summaries whose morning has come. Safe twice, late, or never."""
    return digests.send_digests()


@shared_task
def tell_people() -> int:
    """Tell people what concerns them, and have it sent. Safe twice, late, or never."""
    told = telling.tell_people()
    if told:
        wake(send_letters)
    return told
