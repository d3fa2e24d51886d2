"""Who looked at a site by an auditor's pass, for the client to read."""

from collections.abc import Sequence

from accounts.models import TrailEntry
from compliance.services.looks import VIEWED
from sites.models import Site


def looks_at(site: Site, *, most: int = 10) -> Sequence[TrailEntry]:
    """The last looks, latest first: who and when. One query."""
    found = TrailEntry.objects.filter(stream_id=f"site:{site.pk}", verb=VIEWED)
    return list(found.order_by("-at", "-pk")[:most])
