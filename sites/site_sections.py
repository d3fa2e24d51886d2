"""What a site's one page, and a monitor's, is made of: each room adds its own sections.

Later rooms register theirs in ``AppConfig.ready``, so that this room need not know them. A section
states its own cost; a whole page may take thirty queries, so three are plenty for one section.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from django.db.models import Model
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from accounts.http import PersonRequest
from accounts.models import Role, User
from sites.models import Monitor, Site

EVERYBODY: frozenset[str] = frozenset(Role.values)

Subject = TypeVar("Subject", bound=Model)


@dataclass(frozen=True, slots=True)
class Section(Generic[Subject]):
    """One part of a page.

    ``key`` is its anchor, ``order`` its place (hundreds, so that there is room between), and
    ``template`` draws it from what ``context`` returns, with the page's subject added. The page
    writes the heading. A context of None leaves the section out.
    """

    key: str
    title: str
    order: int
    template: str
    context: Callable[[Subject, User], Mapping[str, Any] | None]
    visible_to: frozenset[str] = EVERYBODY


@dataclass(frozen=True, slots=True)
class Shown:
    """A section ready for the page."""

    key: str
    title: str
    html: SafeString


class Sections(Generic[Subject]):
    """The sections of one kind of page."""

    def __init__(self, subject_name: str) -> None:
        self._subject_name = subject_name
        self._by_key: dict[str, Section[Subject]] = {}

    def register(self, section: Section[Subject]) -> None:
        """Add a section. Raises ``ValueError`` for a key that is taken."""
        if section.key in self._by_key:
            raise ValueError(f"a section {section.key!r} is registered already")
        self._by_key[section.key] = section

    def visible_to(self, user: User) -> list[Section[Subject]]:
        """The sections that a person's role may see, in page order."""
        return sorted(
            (one for one in self._by_key.values() if user.role in one.visible_to),
            key=lambda one: (one.order, one.key),
        )

    def shown(self, subject: Subject, request: PersonRequest) -> list[Shown]:
        """The sections drawn for the person who asks, in page order."""
        drawn = []
        for section in self.visible_to(request.user):
            context = section.context(subject, request.user)
            if context is not None:
                html = render_to_string(
                    section.template, {self._subject_name: subject, **context}, request
                )
                drawn.append(Shown(section.key, section.title, html))
        return drawn


of_site: Sections[Site] = Sections("site")
of_monitor: Sections[Monitor] = Sections("monitor")


def register(section: Section[Site]) -> None:
    """Add a section to the page of a site."""
    of_site.register(section)


def register_for_monitor(section: Section[Monitor]) -> None:
    """Add a section to the page of a monitor."""
    of_monitor.register(section)
