"""What later rooms add below the report of a closed visit."""

from sites.site_sections import Section, Sections
from visits.models import Visit

of_visit: Sections[Visit] = Sections("visit")


def register_for_visit(section: Section[Visit]) -> None:
    """Add a section to the page of a closed visit."""
    of_visit.register(section)
