"""Which parts make a paper, and in which order."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import partial

from compliance.sitefile import applying, front, proof, reviewing, trending, visiting
from compliance.sitefile.content import ApplicationRegister, Outcome, SiteFile, VisitReport
from compliance.sitefile.decided import DecisionPaper, decided
from compliance.sitefile.review import Review
from compliance.sitefile.tables import Pages, Part
from compliance.sitefile.words import local_day

Room = tuple[float, float]
"""Width and height in millimetres."""


def parts_of_site_file(file: SiteFile, fingerprint: str, *, plan_room: Room) -> list[Part]:
    """The parts in printing order; a plan is drawn as large as fits its room."""
    today = local_day(file.made.at, file.site.zone)
    sections = _numbered(
        [
            _section("glance", "At a glance", front.at_a_glance(file, today)),
            _section("evidence", "What is asked for", front.evidence(file)),
            _section("contract", "Contract and scope", front.contract_and_scope(file)),
            _section("zones", "Zones and boundary", front.zones(file)),
            _section("people", "People and competences", front.people(file)),
            *_plans(file, plan_room),
            _section("register", "Monitor register", front.register(file)),
            Part(
                template="visits",
                context=partial(visiting.visits, file, today),
                says="List of visits",
                title="Visits",
                anchor="visits",
                prints_pages=True,
            ),
            *_reports(file, today),
            _section("readings", "Readings", visiting.readings(file)),
            _section("trends", "Monitors and trends", trending.trends(file)),
            _section("treatments", "Treatments", visiting.treatments(file)),
            *_bait(file),
            _section("not-reached", "Not reached", visiting.not_reached(file, today)),
            _section("actions", "Corrective actions", proof.actions(file, today)),
            _section("documents", "Documents", proof.documents(file, today)),
            _section("trail", "Trail", proof.trail(file)),
            _section("integrity", "How to check this file", proof.integrity(file, fingerprint)),
        ]
    )
    opening = [
        Part("cover", _always(front.cover(file, fingerprint)), "Cover"),
        Part("contents", partial(front.contents, sections), "Contents", prints_pages=True),
    ]
    return opening + sections


def parts_of_visit_report(paper: VisitReport) -> list[Part]:
    """One report, with where it comes from at its head."""
    today = local_day(paper.made.at, paper.site.zone)
    context = visiting.report(paper.visit, paper.site, paper.monitors, today)
    return [Part("visit_report", _always({**context, "paper": paper}), "Report")]


def parts_of_application_register(register: ApplicationRegister) -> list[Part]:
    """One part; it has no sections, and its head says whose register it is."""
    context = applying.register(register)
    return [Part("applications", _always(context), "Applications", section=register.title)]


def parts_of_decision_paper(paper: DecisionPaper) -> list[Part]:
    """One part; its head says which revision of the action was decided."""
    return [Part("decision", _always(decided(paper)), "Decision", section=paper.name.capitalize())]


def parts_of_review(review: Review) -> list[Part]:
    """The figures of all sites, then a page or more for each site."""
    opening = Part(
        template="review",
        context=partial(reviewing.opening, review),
        says="All sites",
        section="All sites",
        prints_pages=True,
    )
    sites = [
        Part("review_site", _always(reviewing.site(one, number)), one.name, section=one.name)
        for number, one in enumerate(review.sites, start=1)
    ]
    return [opening, *sites]


def _always(context: Mapping[str, object]) -> partial[Mapping[str, object]]:
    """A part that says the same on whatever page it stands."""
    return partial(_without_pages, context)


def _without_pages(context: Mapping[str, object], _pages: Pages) -> Mapping[str, object]:
    return context


def _section(anchor: str, title: str, context: Mapping[str, object]) -> Part:
    template = anchor.replace("-", "_")
    return Part(template, _always(context), title, title=title, anchor=anchor)


def _bait(file: SiteFile) -> list[Part]:
    """Rodent bait has its section where there ever was any."""
    if file.baiting is None:
        return []
    return [_section("bait", "Rodent bait", visiting.bait(file.baiting))]


def _plans(file: SiteFile, room: Room) -> list[Part]:
    pages = front.plan_pages(file, most_wide=room[0], most_high=room[1])
    if not pages:
        return [_section("plan", "Site plan", {"plan": None})]
    first, *others = pages
    return [
        _section("plan", "Site plan", first),
        *(Part("plan", _always(page), "Site plan") for page in others),
    ]


def _reports(file: SiteFile, today: date) -> list[Part]:
    parts = []
    for position, visit in enumerate(file.visits):
        if visit.outcome is not Outcome.CLOSED:
            continue
        context = visiting.report(visit, file.site, file.monitors, today)
        anchor = visiting.visit_anchor(visit, position)
        title = visiting.visit_title(visit, file.site.zone)
        parts.append(
            Part(
                template="report",
                context=_always({**context, "anchor": anchor}),
                says=f"Report: {title}",
                subtitle=title,
                sub_anchor=anchor,
            )
        )
    if not parts:
        return [_section("reports", "Visit reports", {})]
    return [replace(parts[0], title="Visit reports", anchor="reports"), *parts[1:]]


def _numbered(parts: Sequence[Part]) -> list[Part]:
    number, section = 0, ""
    numbered = []
    for part in parts:
        number += bool(part.title)
        section = part.title or section
        numbered.append(replace(part, number=number, section=f"{number}. {section}"))
    return numbered
