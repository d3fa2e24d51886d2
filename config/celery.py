"""The Celery application. Work is remembered in the database; Celery only does it sooner."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

app = Celery("kickplate")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
