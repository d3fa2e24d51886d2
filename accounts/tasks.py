"""Jobs of this app: each asks the database what is still undone and does it."""

from celery import shared_task

from accounts.services import letters


@shared_task
def send_letters() -> int:
    """Send the letters that wait. Safe twice, late, or never."""
    return letters.send_letters()
