"""A phone that makes operations as the page does, for tests."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from accounts.ids import uuid7
from tests.builders.visits import local
from visits.models import Visit

SIGNATURE = [[[0.1, 0.5], [0.4, 0.2], [0.6, 0.8], [0.9, 0.5]]]


class Phone:
    """Numbers its operations, a minute after one another from nine o'clock, local time."""

    def __init__(self, visit: Visit, *, base_version: int | None = None) -> None:
        self.visit = visit
        self.ahead: int | None = None  # by how many seconds its clock is, once it was measured
        self.device = uuid4().hex
        self.seq = 0
        self.base_version = visit.version if base_version is None else base_version

    def op(self, kind: str, /, *, at: datetime | None = None, **body: Any) -> dict[str, Any]:
        self.seq += 1
        at = at or local(self.visit, 9) + timedelta(minutes=self.seq)
        return {
            "id": str(uuid7()),
            "device": self.device,
            "seq": self.seq,
            "visit": str(self.visit.pk),
            "kind": kind,
            "body": {key: _plain(value) for key, value in body.items()},
            "base_version": self.base_version,
            "made_at": at.isoformat(),
            "clock_ahead": self.ahead,
            "offset_minutes": 0,
        }

    def close(self, **body: Any) -> dict[str, Any]:
        signed = {"contact_name": "Ana Prior", "signature": SIGNATURE, "operations": self.seq}
        return self.op("visit.close", **{**signed, **body})


def _plain(value: Any) -> Any:
    """Ids of records as the phone knows them."""
    return str(value.pk) if hasattr(value, "pk") else value
