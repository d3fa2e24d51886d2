"""Production does not start with an unsafe setting, and says which one it is."""

import os
import subprocess
import sys

import pytest
from django.conf import settings

from config.safety import faults

SAFE = {
    "KICKPLATE_ENV": "production",
    "KICKPLATE_SECRET_KEY": "kP3v9-fuzzy.Tins!8Wq_orchard27-gLmN4bz*hJ0rDs6Yc1xTe",
    "KICKPLATE_ALLOWED_HOSTS": "kickplate.example.org",
    "KICKPLATE_BASE_URL": "https://kickplate.example.org",
    "DATABASE_URL": "postgres://kickplate@db.example.org/kickplate",
    "REDIS_URL": "redis://redis.example.org/0",
}


def start(**changed: str) -> subprocess.CompletedProcess[str]:
    """What any process of ours does first, in an environment of its own."""
    kept = {name: os.environ[name] for name in ("PATH", "KICKPLATE_DATA_DIR") if name in os.environ}
    return subprocess.run(
        [sys.executable, "-c", "from config.wsgi import application; print('started')"],
        cwd=settings.BASE_DIR,
        env={**kept, **SAFE, **changed},
        capture_output=True,
        text=True,
    )


def test_production_starts_when_all_is_said():
    assert start().stdout == "started\n"


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("KICKPLATE_SECRET_KEY", ""),
        ("KICKPLATE_DEBUG", "yes"),
        ("KICKPLATE_ALLOWED_HOSTS", ""),
    ],
)
def test_production_does_not_start_with_an_unsafe_setting(name, value):
    refused = start(**{name: value})
    assert refused.returncode != 0
    assert "started" not in refused.stdout
    assert name in refused.stderr


def test_every_fault_is_named_at_once():
    refused = start(KICKPLATE_SECRET_KEY="short", KICKPLATE_DEBUG="on", REDIS_URL="")
    for name in ("KICKPLATE_SECRET_KEY", "KICKPLATE_DEBUG", "REDIS_URL"):
        assert f"- {name} " in refused.stderr


WELL = {
    "secret_key": SAFE["KICKPLATE_SECRET_KEY"],
    "debug": False,
    "hosts": ["kickplate.example.org"],
    "base_url": SAFE["KICKPLATE_BASE_URL"],
    "engine": "django.db.backends.postgresql",
    "redis_url": SAFE["REDIS_URL"],
}


def test_safe_settings_have_no_fault():
    assert faults(**WELL) == []


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"secret_key": "x" * 60}, "KICKPLATE_SECRET_KEY"),
        ({"hosts": ["*"]}, "KICKPLATE_ALLOWED_HOSTS"),
        ({"hosts": [".example.org"]}, "KICKPLATE_ALLOWED_HOSTS"),
        ({"base_url": "http://kickplate.example.org"}, "KICKPLATE_BASE_URL"),
        ({"base_url": "https://elsewhere.example.org"}, "KICKPLATE_BASE_URL"),
        ({"engine": "django.db.backends.sqlite3"}, "DATABASE_URL"),
        ({"redis_url": ""}, "REDIS_URL"),
    ],
)
def test_each_fault_names_its_setting(change, name):
    [fault] = faults(**{**WELL, **change})
    assert fault.startswith(name)


def test_the_embedded_key_is_made_once_and_kept_private(tmp_path):
    embedded = {"KICKPLATE_ENV": "embedded", "KICKPLATE_DATA_DIR": str(tmp_path)}
    ask = "from config.settings import SECRET_KEY; print(SECRET_KEY)"
    both = [
        subprocess.Popen(
            [sys.executable, "-c", ask],
            cwd=settings.BASE_DIR,
            env={"PATH": os.environ["PATH"], **embedded},
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(2)
    ]
    keys = {process.communicate()[0].strip() for process in both}
    kept = tmp_path / "secret_key"
    assert keys == {kept.read_text()}
    assert len(kept.read_text()) >= 50
    assert kept.stat().st_mode & 0o777 == 0o600
