"""Load balancers and alarms are told in words and ages, and nothing else."""

import logging
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest
from django.core.cache import cache
from django.db import DatabaseError
from redis.exceptions import ConnectionError as RedisAway

from config import health
from config.health import sweep_states
from config.models import SweepRun
from config.schedule import SWEEPS

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@pytest.fixture
def all_ran_well(db):
    def ran(now: datetime) -> None:
        SweepRun.objects.bulk_create(
            SweepRun(name=sweep.name, ran_at=now, went_well_at=now) for sweep in SWEEPS
        )

    return ran


@pytest.fixture
def broken(monkeypatch):
    def break_it(owner, name, error):
        def fail(*args, **kwargs):
            raise error

        monkeypatch.setattr(owner, name, fail, raising=False)

    return break_it


def test_a_process_that_answers_is_alive_without_a_query(client, db, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert client.get("/health/live").json() == {"state": "ok"}


def test_it_is_ready_when_all_it_needs_is_there(client, db):
    answer = client.get("/health/ready")
    assert answer.status_code == 200
    assert answer.json() == {
        "state": "ok",
        "database": "ok",
        "migrations": "ok",
        "cache": "ok",
        "jobs": "failing",
    }


def test_it_is_ready_although_the_jobs_are_not_done(client, db):
    answer = client.get("/health/ready")
    assert (answer.status_code, answer.json()["jobs"]) == (200, "failing")


def test_it_says_so_when_the_jobs_are_done(client, all_ran_well):
    all_ran_well(datetime.now(UTC))
    assert client.get("/health/ready").json()["jobs"] == "ok"


def test_it_is_not_ready_without_a_database(client, db, broken, monkeypatch):
    away = SimpleNamespace()
    monkeypatch.setattr(health, "connection", away)
    broken(away, "cursor", DatabaseError("password=hush"))
    answer = client.get("/health/ready")
    assert (answer.status_code, answer.json()["database"]) == (503, "failing")
    assert b"hush" not in answer.content


def test_it_is_not_ready_without_a_cache(client, db, broken):
    broken(cache, "set", RedisAway("redis.example.org"))
    answer = client.get("/health/ready")
    assert (answer.status_code, answer.json()["cache"]) == (503, "failing")
    assert b"example.org" not in answer.content


def test_it_is_not_ready_before_the_migrations_ran(client, db, monkeypatch):
    monkeypatch.setattr(health, "_migrated", False)
    monkeypatch.setattr(health.MigrationExecutor, "migration_plan", lambda *args: ["one to go"])
    answer = client.get("/health/ready")
    assert (answer.status_code, answer.json()["migrations"]) == (503, "missing")


def test_the_alarm_is_quiet_when_every_sweep_went_well(client, all_ran_well):
    all_ran_well(datetime.now(UTC))
    answer = client.get("/health/jobs")
    assert (answer.status_code, answer.json()["state"]) == (200, "ok")


def test_the_alarm_names_the_sweep_that_never_ran(client, db):
    answer = client.get("/health/jobs")
    assert answer.status_code == 503
    assert answer.json()["sweeps"]["send_letters"] == {"state": "never ran", "age_seconds": None}


def test_a_sweep_is_late_after_three_turns_and_some_patience(all_ran_well):
    all_ran_well(NOW)
    letters = next(sweep for sweep in SWEEPS if sweep.name == "send_letters")
    allowed = timedelta(seconds=3 * letters.every) + health.PATIENCE

    just_in_time = sweep_states(NOW + allowed)["send_letters"]["state"]
    a_second_later = sweep_states(NOW + allowed + timedelta(seconds=1))["send_letters"]["state"]

    assert (just_in_time, a_second_later) == ("ok", "late")


def test_a_failing_sweep_says_since_when(all_ran_well):
    all_ran_well(NOW)
    SweepRun.objects.filter(name="send_letters").update(failures=2, problem="hush")
    state = sweep_states(NOW + timedelta(seconds=90))["send_letters"]
    assert state == {"state": "failing", "age_seconds": 90}


def test_health_is_asked_without_tls_from_inside(client, db, settings):
    settings.SECURE_SSL_REDIRECT = True
    assert client.get("/health/live").status_code == 200
    assert client.get("/accounts/login/").status_code == 301


def test_only_reading_is_allowed(client, db, caplog):
    with caplog.at_level(logging.CRITICAL):
        assert client.post("/health/live").status_code == 405
