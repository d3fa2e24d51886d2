"""The installation: settings, addresses, jobs and how they are run."""

from config.celery import app as celery_app

__all__ = ["celery_app"]
