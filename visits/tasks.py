"""Jobs of this app: each asks the database what is still undone and does it."""

from celery import shared_task

from visits.services import calendar, follow_ups_proposed, photo_parts, planning


@shared_task
def plan_due_visits() -> int:
    """Plan the visits that come due in the next 400 days. Safe twice, late, or never."""
    return planning.plan_due_visits()


@shared_task
def propose_follow_ups() -> int:
    """Propose what closed visits ask for, and let go what a later visit has done.

    Safe twice, late, or never.
    """
    return follow_ups_proposed.propose_follow_ups() + follow_ups_proposed.pass_over_overtaken()


@shared_task
def sweep_photo_parts() -> int:
    """Let pieces of photos go that were never finished. Safe twice, late, or never."""
    return photo_parts.sweep_photo_parts()


@shared_task
def keep_calendar() -> int:
    """Bring up to date what calendars say of visits they told of. Safe twice, late, or never."""
    return calendar.keep_calendar()
