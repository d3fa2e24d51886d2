"""What later rooms add to the page of a visit: each registers its own sections.

They do so in ``AppConfig.ready``, so that this room need not know them; two or three queries are
plenty for one. What is to be known first stands above what this room says of the visit, and what
became of a closed one stands below its report.
"""

from sites.site_sections import Section, Sections
from visits.models import Visit

of_visit: Sections[Visit] = Sections("visit")
of_closed_visit: Sections[Visit] = Sections("visit")


def register(section: Section[Visit]) -> None:
    """Add a section above what the page says of a visit."""
    of_visit.register(section)


def register_for_closed(section: Section[Visit]) -> None:
    """Add a section below the report of a closed visit."""
    of_closed_visit.register(section)
