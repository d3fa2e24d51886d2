"""What later rooms add to the day's package: each registers its own part of what is said of a site.

They do so in ``AppConfig.ready``, so that this room need not know them. A part is read once for all
sites of a package and stands in each visit under its key; one or two queries are plenty.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any
from uuid import UUID

from accounts.models import User

BySite = Mapping[UUID, Sequence[Mapping[str, Any]]]
Part = Callable[[User, Collection[UUID]], BySite]


class Parts:
    """The parts by their keys."""

    def __init__(self) -> None:
        self._by_key: dict[str, Part] = {}

    def register(self, key: str, part: Part) -> None:
        """Add a part: it gives, by site, what this technician may read of it.

        Raises ``ValueError`` for a key that is taken.
        """
        if key in self._by_key:
            raise ValueError(f"a part {key!r} is registered already")
        self._by_key[key] = part

    def of_sites(self, technician: User, site_ids: Collection[UUID]) -> dict[str, BySite]:
        """By key, what each part says of these sites. As many queries as the parts need."""
        return {key: part(technician, site_ids) for key, part in self._by_key.items()}


parts = Parts()


def register(key: str, part: Part) -> None:
    """Add a part to the day's package."""
    parts.register(key, part)
