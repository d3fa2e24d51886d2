"""Whether this installation lives, can serve, and does its jobs; for load balancers and alarms.

Open to all who can reach it, so the answers are words and ages, never names, addresses or errors.
"""

from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.core.cache import cache
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from redis.exceptions import RedisError

from config.models import SweepRun
from config.schedule import SWEEPS

# A sweep is late when it missed three turns, and not before it had a few minutes: a long one
# holds up the others where there is one process for all.
TURNS_MISSED = 3
PATIENCE = timedelta(minutes=5)

_migrated = False


@require_safe
@never_cache
@login_not_required
def live(request: HttpRequest) -> JsonResponse:
    """The process answers. No query."""
    return JsonResponse({"state": "ok"})


@require_safe
@never_cache
@login_not_required
def ready(request: HttpRequest) -> JsonResponse:
    """Database, its shape and the cache are as this process needs them: 200, else 503.

    Says how the jobs are as well, but is ready without them. Three queries at most.
    """
    needed = {"database": _database(), "migrations": _migrations(), "cache": _cache()}
    fine = all(state == "ok" for state in needed.values())
    state = "ok" if fine else "failing"
    body = {"state": state, **needed, "jobs": _jobs() if fine else "unknown"}
    return JsonResponse(body, status=200 if fine else 503)


@require_safe
@never_cache
@login_not_required
def jobs(request: HttpRequest) -> JsonResponse:
    """Every sweep had its turns and ended well: 200, else 503 with the names of those that did not.

    One query.
    """
    try:
        sweeps = sweep_states(timezone.now())
    except DatabaseError:
        return JsonResponse({"state": "failing", "sweeps": {}}, status=503)
    fine = all(sweep["state"] == "ok" for sweep in sweeps.values())
    body = {"state": "ok" if fine else "failing", "sweeps": sweeps}
    return JsonResponse(body, status=200 if fine else 503)


def sweep_states(now: datetime) -> dict[str, dict[str, Any]]:
    """For each sweep "ok", "late", "failing" or "never ran", and seconds since it last went well.

    One query.
    """
    runs = {run.name: run for run in SweepRun.objects.all()}
    return {
        sweep.name: _state_of(runs.get(sweep.name), timedelta(seconds=sweep.every), now)
        for sweep in SWEEPS
    }


def _state_of(run: SweepRun | None, every: timedelta, now: datetime) -> dict[str, Any]:
    if run is None:
        return {"state": "never ran", "age_seconds": None}
    well = run.went_well_at
    age = round((now - well).total_seconds()) if well else None
    if run.failures:
        return {"state": "failing", "age_seconds": age}
    late = now - run.ran_at > every * TURNS_MISSED + PATIENCE
    return {"state": "late" if late else "ok", "age_seconds": age}


def _database() -> str:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return "failing"
    return "ok"


def _migrations() -> str:
    """Asked until it was fine once: a running process does not lose its migrations."""
    global _migrated
    if not _migrated:
        try:
            executor = MigrationExecutor(connection)
            _migrated = not executor.migration_plan(executor.loader.graph.leaf_nodes())
        except DatabaseError:
            return "failing"
    return "ok" if _migrated else "missing"


def _cache() -> str:
    try:
        cache.set("health", "ok", 10)
        return "ok" if cache.get("health") == "ok" else "failing"
    except (RedisError, OSError):
        return "failing"


def _jobs() -> str:
    states = {sweep["state"] for sweep in sweep_states(timezone.now()).values()}
    return "ok" if states <= {"ok"} else "failing"
