"""Jobs of this app: each asks the database what is still undone and does it."""

from celery import shared_task

from compliance.services import actions, ordered_work


@shared_task
def raise_missing_actions() -> int:
    """Raise the actions that closed visits ask for. Safe twice, late, or never."""
    return actions.raise_missing_actions()


@shared_task
def plan_ordered_work() -> int:
    """Plan a visit for every ordered job that has none. Safe twice, late, or never."""
    return ordered_work.plan_ordered_work()
