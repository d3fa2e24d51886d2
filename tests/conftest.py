"""What every test may ask for: one person per role, and the trail read back."""

import os
import shutil
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.core.cache import cache
from django.test import override_settings

from accounts.models import TrailEntry, User
from tests.builders.accounts import make_auditor, make_manager, make_office, make_technician

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")  # browser tests run an event loop
REDIS_URL = os.environ.get("REDIS_URL", "")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Leave out what needs PostgreSQL and Redis where they are not given."""
    if not (os.environ.get("DATABASE_URL", "").startswith("postgres") and REDIS_URL):
        for item in items:
            if item.get_closest_marker("services"):
                item.add_marker(pytest.mark.skip(reason="needs bin/test --services"))


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """Chromium of the machine, not one that is downloaded."""
    return {**browser_type_launch_args, "executable_path": shutil.which("chromium")}


@pytest.fixture(scope="session", autouse=True)
def _own_cache(worker_id: str) -> Iterator[None]:
    """One of Redis's databases for each process that runs tests, so that none meets another."""
    if not REDIS_URL:
        yield
        return
    number = 1 + int(worker_id.removeprefix("gw") if worker_id != "master" else 0)
    url = f"{REDIS_URL.rpartition('/')[0]}/{number}"
    own = {**django_settings.CACHES["default"], "LOCATION": url}
    os.environ["CELERY_BROKER_URL"] = url  # which Celery heeds before its settings
    with override_settings(REDIS_URL=url, CACHES={"default": own}):
        yield


@pytest.fixture(scope="session", autouse=True)
def _static_folder() -> None:
    """What serves collected files warns at every start while there is no folder for them."""
    django_settings.STATIC_ROOT.mkdir(parents=True, exist_ok=True)


@pytest.fixture(autouse=True)
def _empty_cache(_own_cache: None) -> None:
    """Limits on sign-in are counted in the cache; no test may use up another's."""
    cache.clear()


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
