"""Countries and regions whose public holidays are known, as written at a site: GB-ENG, DE-BY, GB.

Source: ISO 3166-1 and 3166-2 codes, as far as the holidays library knows them.
"""

from functools import cache

import holidays


@cache
def known_regions() -> tuple[str, ...]:
    """Every country code, and every code of a region with its country's before it, in order."""
    codes = set()
    for country, regions in holidays.list_supported_countries(include_aliases=False).items():
        codes.add(country)
        # A few regions have no code but a name; only codes can be written at a site.
        codes.update(f"{country}-{region}" for region in regions if len(region) <= 3)
    return tuple(sorted(codes))


def is_known_region(code: str) -> bool:
    """Whether public holidays of that country or region are known."""
    return code in known_regions()
