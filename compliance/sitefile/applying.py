"""The application register on paper: one application after another, each with its whole record."""

from collections.abc import Iterable

from compliance.sitefile.cautions import LABEL_FIRST, STANDING
from compliance.sitefile.content import Application, ApplicationRegister
from compliance.sitefile.tables import Fact, facts, side_by_side
from compliance.sitefile.words import counted, listed, moment


def register(paper: ApplicationRegister) -> dict[str, object]:
    """The register, as far as it was narrowed, in the order in which it was given."""
    many = len(paper.applications)
    return {
        "title": paper.title,
        "narrowed": paper.narrowed,
        "count": counted(many, "application"),
        "made": f"Made for {paper.made.by} ({paper.made.role.lower()})",
        "applications": [
            {
                "heading": f"{moment(one.started_at, one.zone)}: {one.product}",
                "where": ", ".join(filter(None, (one.client, one.site, one.place))),
                "facts": side_by_side(_facts(one)),
                "against": one.against,
            }
            for one in paper.applications
        ],
        "label_first": LABEL_FIRST,
        "cautions": STANDING,
        "has_demo": any(one.is_demo for one in paper.applications),
        "rules": _rules(paper.applications),
    }


def _facts(one: Application) -> tuple[Fact, ...]:
    return facts(
        *one.elements,
        ("Left unsaid", listed(one.missing)),
        ("Sealed visit", str(one.seal_number or "")),
        ("For demonstration", "An invented product" * one.is_demo),
    )


def _rules(applications: Iterable[Application]) -> str:
    """The sets of rules by which these records were judged, each once."""
    return listed(tuple(dict.fromkeys(one.rules for one in applications if one.rules)))
