"""What every test may ask for: one person per role, and the trail read back."""

import os
from collections.abc import Callable

import pytest

from accounts.models import TrailEntry, User
from tests.builders.accounts import make_auditor, make_manager, make_office, make_technician

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")  # browser tests run an event loop


@pytest.fixture(autouse=True)
def _quick_and_private(settings, tmp_path):
    """Cheap password hashes, files in a folder of the test's own, letters in memory."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": tmp_path / "files"},
        },
        # Plain names: static files collected earlier may be older than these.
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }


@pytest.fixture
def office(db) -> User:
    return make_office(is_administrator=True)


@pytest.fixture
def technician(db) -> User:
    return make_technician()


@pytest.fixture
def manager(db) -> User:
    return make_manager()


@pytest.fixture
def auditor(db) -> User:
    return make_auditor()


@pytest.fixture
def trail(db) -> Callable[[], list[str]]:
    """The verbs on the trail, oldest first."""
    return lambda: list(TrailEntry.objects.order_by("pk").values_list("verb", flat=True))
