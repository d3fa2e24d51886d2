"""Public holidays of a region, from the holidays library."""

import re
from datetime import date
from functools import lru_cache

import holidays


@lru_cache(maxsize=512)
def holiday_dates(region: str, first_year: int, last_year: int) -> frozenset[date]:
    """The holidays of a region, as GB-ENG or DE, in these years, inclusive; none for no region.

    A holiday that falls on a weekend is listed with its substitute day, and both count. Raises
    ``ValueError`` for an unknown region.
    """
    if not region:
        return frozenset()
    # The library takes more than codes: names of its own classes, and of markets.
    if not re.fullmatch(r"[A-Z]{2}(-[A-Z0-9]{1,3})?", region):
        raise ValueError(f"“{region}” is no region, such as GB-ENG or DE")
    country, _, part = region.partition("-")
    years = range(first_year, last_year + 1)
    try:
        return frozenset(holidays.country_holidays(country, subdiv=part or None, years=years))
    except NotImplementedError as error:
        raise ValueError(f"no public holidays are known for {region}") from error
