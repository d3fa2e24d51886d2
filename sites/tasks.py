"""Jobs of this app: each asks the database what is still undone and does it."""

from celery import shared_task

from sites.services import imports


@shared_task
def work_imports() -> int:
    """Check and import the spreadsheets that wait. Safe twice, late, or never."""
    return imports.work_imports()
