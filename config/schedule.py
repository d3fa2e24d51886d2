"""Every sweep and how often it runs: the one table that Celery beat and ``run_jobs`` both read.

A sweep asks the database what is still undone and does it, so it may run twice, late, or never
be asked for; the next turn finds the same work. Each is a Celery task in ``<app>/tasks.py`` and a
management command of the same name.
"""

from dataclasses import dataclass
from typing import Any

MINUTE = 60
HOUR = 60 * MINUTE
DAY = 24 * HOUR

# Where there is no broker to wake anybody, sweeps that people wait for are looked at this often.
QUICK_SECONDS = 2


@dataclass(frozen=True, slots=True)
class Sweep:
    """``every``: seconds between two turns; ``awaited``: people wait for it, so it is woken."""

    task: str
    every: int
    awaited: bool = False

    @property
    def name(self) -> str:
        return self.task.rpartition(".")[2]

    @property
    def every_without_broker(self) -> int:
        return min(self.every, QUICK_SECONDS) if self.awaited else self.every


SWEEPS: tuple[Sweep, ...] = (
    Sweep("accounts.tasks.send_letters", every=MINUTE, awaited=True),
    Sweep("sites.tasks.work_imports", every=MINUTE, awaited=True),
    Sweep("visits.tasks.plan_due_visits", every=HOUR),
    Sweep("visits.tasks.propose_follow_ups", every=5 * MINUTE),
    Sweep("visits.tasks.sweep_photo_parts", every=DAY),
    Sweep("visits.tasks.keep_calendar", every=HOUR),
    Sweep("compliance.tasks.raise_missing_actions", every=5 * MINUTE),
    Sweep("compliance.tasks.plan_ordered_work", every=5 * MINUTE),
    Sweep("compliance.tasks.make_decision_papers", every=MINUTE, awaited=True),
    Sweep("compliance.tasks.build_site_files", every=MINUTE, awaited=True),
    Sweep("compliance.tasks.build_review_packs", every=MINUTE, awaited=True),
    Sweep("compliance.tasks.find_breaches", every=2 * MINUTE),  # woken, yet too dear for "awaited"
    Sweep("compliance.tasks.count_and_judge", every=10 * MINUTE),
    Sweep("compliance.tasks.reconcile_flags", every=10 * MINUTE),
    Sweep("compliance.tasks.tell_people", every=MINUTE),  # woken, yet too dear for "awaited"
    Sweep("compliance.tasks.send_digests", every=10 * MINUTE),
)


def for_beat() -> dict[str, dict[str, Any]]:
    """The table as Celery beat wants it. A call that no worker took before the next one lapses."""
    return {
        sweep.name: {
            "task": sweep.task,
            "schedule": sweep.every,
            "options": {"expires": sweep.every},
        }
        for sweep in SWEEPS
    }
