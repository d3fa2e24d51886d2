"""The paper of a decision: what was put to the client, with all options, and what was signed."""

import re
from dataclasses import dataclass
from datetime import date

from compliance.sitefile.cautions import STANDING
from compliance.sitefile.content import Company, Photo, SignOff
from compliance.sitefile.pictures import photo_in_words
from compliance.sitefile.tables import Column, Table, facts, side_by_side, table
from compliance.sitefile.trending import FONTS
from compliance.sitefile.words import DASH, counted, day_or, moment

LABEL_FIRST = (
    "The product label and the safety data sheet come first, and local law and codes, building and "
    "fire codes among them. The licensed technician or tradesperson decides at the place. This "
    "paper says what was put to the client and what was answered; it is no instruction, and nobody "
    "may apply a product or close an opening on the strength of it."
)
PHOTO_GONE = "this photo is no longer in the store"
OTHERWISE = (
    "The program that printed this paper works these figures out otherwise than those that were "
    "signed, so that only the signed ones are printed."
)


@dataclass(frozen=True, slots=True)
class Way:
    """One option as it was signed; money is in words with its currency.

    ``bought`` is how often its once is paid, 0 where there is none. ``total``, ``per_year`` and
    ``present`` are over the years looked at; empty where it was not weighed.
    """

    position: int
    kind: str
    description: str
    once: str
    monthly: str
    life: str = ""
    effect: str = ""
    remaining_risk: str = ""
    bought: int = 0
    total: str = ""
    per_year: str = ""
    present: str = ""
    yearly_equivalent: str = ""
    chosen: bool = False

    @property
    def label(self) -> str:
        return f"{self.position}. {self.kind}"


@dataclass(frozen=True, slots=True)
class Money:
    """What was shown of the costs. ``works_out``: computing anew gives the signed figures.

    Only then are there the picture and the sentences; ``spread`` has option, a tenth below, half
    below, nine tenths below, and in how many of a hundred draws it cost least.
    """

    years: int
    terms: str
    works_out: bool
    chart: str = ""
    sentences: tuple[str, ...] = ()
    by_year: tuple[tuple[str, ...], ...] = ()
    spread: tuple[tuple[str, ...], ...] = ()
    turns: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DecisionPaper:
    """A decision, out of the text that was signed. Days are in the site's own zone.

    ``photos`` are those from before the work; one without ``media`` is gone from the store.
    ``treats``: an option goes on treating or treats for the time being.
    """

    company: Company
    client: str
    site: str
    address: str
    place: str
    number: int
    revision: int
    title: str
    detail: str
    kind: str
    whose_move: str
    raised_on: date | None
    due_on: date | None
    found_on_visit: str
    photos: tuple[Photo, ...]
    ways: tuple[Way, ...]
    money: Money | None
    answer: str
    declined: bool
    reason: str
    signed: SignOff
    shown_hash: str
    treats: bool

    @property
    def name(self) -> str:
        return f"action {self.number}, revision {self.revision}"


def decided(paper: DecisionPaper) -> dict[str, object]:
    """What the template shows."""
    signed = paper.signed
    return {
        "paper": paper,
        "name": paper.name,
        "look": "due" if paper.declined else "sound",
        "answer": facts(
            ("Answer", paper.answer),
            ("Reason", paper.reason),
            ("Signed by", signed.name),
            ("Signed as", signed.role),
            ("Meaning", signed.meaning),
            ("When", f"{moment(signed.at, signed.zone)} ({signed.zone})"),
            ("Known by", _method(signed.method)),
        ),
        "about": side_by_side(
            facts(
                ("Client", paper.client),
                ("Site", paper.site),
                ("Address", paper.address),
                ("Place", paper.place or "Whole site"),
                ("Kind", paper.kind),
                ("Whose move", paper.whose_move),
                ("Raised", day_or(paper.raised_on, "")),
                ("Due by", day_or(paper.due_on, "")),
                ("Found on", paper.found_on_visit),
                ("Photos from before", str(len(paper.photos) or "None")),
            )
        ),
        "photos": [_photo(one, number) for number, one in enumerate(paper.photos, start=1)],
        "ways": [
            {
                "label": one.label,
                "chosen": one.chosen,
                "description": one.description,
                "facts": facts(
                    ("Cost now", one.once),
                    ("Cost each month", one.monthly),
                    ("Lasts", one.life or "Nothing wears out" * bool(one.total)),
                    ("Expected effect", one.effect),
                    ("What stays at risk", one.remaining_risk or "None stated"),
                ),
            }
            for one in paper.ways
        ],
        "figures": _figures(paper),
        "chart": _spoken(paper.money.chart) if paper.money and paper.money.chart else "",
        "by_year": _by_year(paper),
        "spread": _spread(paper),
        "otherwise": OTHERWISE if paper.money and not paper.money.works_out else "",
        "label_first": LABEL_FIRST,
        "cautions": STANDING if paper.treats else (),
        "contact": ", ".join(
            filter(None, (paper.company.address, paper.company.phone, paper.company.email))
        ),
    }


def _method(method: str) -> str:
    return {
        "password": "Password, entered again for this signature",
        "passkey": "Passkey, shown for this signature",
    }.get(method, method)


def _photo(photo: Photo, number: int) -> dict[str, str]:
    caption = f"Photo {number}"
    if not photo.media:
        caption = f"{caption}: {PHOTO_GONE}"
    shown = photo_in_words(photo, caption) if photo.media else {"media": "", "about": photo.about}
    return {**shown, "caption": f"{caption}. SHA-256 {photo.sha256}"}


def _figures(paper: DecisionPaper) -> Table | None:
    if paper.money is None:
        return None
    weighed = [one for one in paper.ways if one.total]
    discounted = any(one.present and one.present != one.total for one in weighed)
    columns = [
        Column("Option"),
        Column("Bought", "figure"),
        Column("In all", "figure"),
        Column("A year, on average", "figure"),
    ]
    if discounted:
        columns += [
            Column("In today’s money", "figure"),
            Column("Worth, a year", "figure"),
        ]
    return table(
        "figures",
        columns,
        [
            [one.label, _times(one.bought), one.total, one.per_year]
            + ([one.present, one.yearly_equivalent] if discounted else [])
            for one in weighed
        ],
        none="No option has a price that can be weighed.",
        caption=f"The figures that were signed, over {counted(paper.money.years, 'year')}",
    )


def _times(number: int) -> str:
    return counted(number, "time") if number else DASH


def _by_year(paper: DecisionPaper) -> Table | None:
    if paper.money is None or not paper.money.by_year:
        return None
    weighed = [one for one in paper.ways if one.total]
    return table(
        "by-year",
        [Column("Year", "number"), *(Column(one.label, "figure") for one in weighed)],
        paper.money.by_year,
        none="",
        caption="Spent by the end of each year, in today’s money: the figures of the picture",
    )


def _spread(paper: DecisionPaper) -> Table | None:
    if paper.money is None or not paper.money.spread:
        return None
    return table(
        "spread",
        [
            Column("Option"),
            Column("A tenth of the draws lies below", "figure"),
            Column("Half below", "figure"),
            Column("Nine tenths below", "figure"),
            Column("Costs least in", "figure"),
        ],
        paper.money.spread,
        none="",
        caption="What it may cost in today’s money, as some values are ranges",
    )


def _spoken(svg: str) -> str:
    """The picture for paper: there a reader is told the title alone, and fonts stand in it."""
    said = re.search(r"<desc[^>]*>(.*?)</desc>", svg, re.S)
    if said:
        svg = svg.replace("</title>", f". {said.group(1)}</title>", 1)
    return svg.replace("<svg ", f'<svg font-family="{FONTS}" ', 1)


def paper_title(paper: DecisionPaper) -> str:
    """What the paper is called, in its file and at its head."""
    return f"Decision on action {paper.number}: {paper.title}"
