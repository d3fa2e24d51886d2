"""What "today" is at each site, as conditions that one query can carry."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Q

from visits.queries.lateness import zones_by_day


class SiteDays:
    """The zones in use, by the date it is there at one instant. One query, when it is made."""

    def __init__(self, now: datetime) -> None:
        self.now = now
        self._zones_by_day = zones_by_day(now)

    def where(self, lookup: str, *, zone: str = "site__time_zone", days: int = 0) -> Q:
        """``lookup`` against today at the row's site, so many days on.

        ``where("closes_on__lt")`` finds what closed before today; ``zone`` is the path from the row
        to its site's zone.
        """
        condition = Q(pk__in=[])
        for today, zones in self._zones_by_day.items():
            condition |= Q(**{f"{zone}__in": zones, lookup: today + timedelta(days=days)})
        return condition

    def today(self, zone: str) -> date:
        """The date in that zone."""
        return self.now.astimezone(ZoneInfo(zone)).date()
