"""What published texts ask a food site to be able to show, and what has been seen of those texts.

Our own words for each item; the source is named by its identifier, and whether its text was read.
No law and no standard is quoted. Where only a summary was read, or nothing, the page says so: an
auditor must not take our list for the text itself.
"""

from dataclasses import dataclass
from enum import StrEnum


class Confirmed(StrEnum):
    """How well a source is known here."""

    TEXT_SEEN = "text seen"
    SUMMARY = "source not confirmed: known from a summary"
    MEMORY = "source not confirmed: known from memory"


class Standing(StrEnum):
    """How one item stands at one site, worst first."""

    MISSING = "missing"
    NOT_CURRENT = "not_current"
    CURRENT = "current"
    NOTHING_TO_SHOW = "nothing_to_show"
    NOT_KEPT = "not_kept"

    @property
    def words(self) -> str:
        return _STANDING_WORDS[self]


_STANDING_WORDS = {
    Standing.MISSING: "Missing",
    Standing.NOT_CURRENT: "There, not current",
    Standing.CURRENT: "There and current",
    Standing.NOTHING_TO_SHOW: "Nothing to show in this period",
    Standing.NOT_KEPT: "Not kept here yet",
}


@dataclass(frozen=True, slots=True)
class Source:
    """A published text that asks for something."""

    name: str
    confirmed: Confirmed

    @property
    def is_seen(self) -> bool:
        return self.confirmed is Confirmed.TEXT_SEEN

    def __str__(self) -> str:
        return f"{self.name} ({self.confirmed})"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that is asked for. ``asks`` says what counts as there and current."""

    key: str
    title: str
    asks: str
    sources: tuple[Source, ...]

    @property
    def texts_seen(self) -> str:
        """The sources whose text was read, for a line of words."""
        return "; ".join(one.name for one in self.sources if one.is_seen)

    @property
    def not_confirmed(self) -> str:
        """The sources known only from a summary or from memory."""
        return "; ".join(one.name for one in self.sources if not one.is_seen)


PREMISES = Source(
    "FDA Food Code 2022 6-501.111, as adopted in WAC 246-215-06550", Confirmed.TEXT_SEEN
)
OPENINGS = Source(
    "FDA Food Code 6-202.15, as adopted in Minn. R. 4626.1395 and WAC 246-215-06260",
    Confirmed.TEXT_SEEN,
)
USE = Source("FDA Food Code 7-202.12, as adopted in WAC 246-215-07210 (2009)", Confirmed.TEXT_SEEN)
BAIT_STATIONS = Source(
    "FDA Food Code 7-206.12, as adopted in 12 VAC 5-421-3440", Confirmed.TEXT_SEEN
)
DEAD_PESTS = Source("FDA Food Code 6-501.112", Confirmed.MEMORY)
LOG = Source("Chicago Municipal Code 7-38-020(c)", Confirmed.TEXT_SEEN)
RODENT_BAIT = Source("Washington State WAC 16-228-1380", Confirmed.TEXT_SEEN)
FOOD_PLANTS = Source("21 CFR 117.35(c)", Confirmed.MEMORY)
EU_HYGIENE = Source("Regulation (EC) 852/2004, Annex II", Confirmed.SUMMARY)
CODEX = Source("Codex CXC 1-1969, General Principles of Food Hygiene", Confirmed.SUMMARY)
SERVICES = Source("EN 16636:2015", Confirmed.SUMMARY)
SCHEME = Source("BRCGS Food Safety issue 9, clause 4.14", Confirmed.SUMMARY)
SCHEME_DETAIL = Source("BRCGS Food Safety issue 9, clause 4.14", Confirmed.MEMORY)
SCHEMES = Source(
    "SQF edition 9 11.2.4; IFS Food version 7 4.13; ISO 22000:2018 8.2.4", Confirmed.SUMMARY
)
US_RECORDS = Source("7 CFR 110.3 (2006 edition)", Confirmed.TEXT_SEEN)
AU_RECORDS = Source(
    "New South Wales Pesticides Regulation 2017, clauses 35 to 37", Confirmed.TEXT_SEEN
)
AU_ADVICE = Source("Queensland SL 2021/142, section 19", Confirmed.TEXT_SEEN)

ITEMS: tuple[Item, ...] = (
    Item(
        "contract",
        "A contract for the service, in force",
        "A contract of this site runs today.",
        (SCHEME, SCHEMES, SERVICES),
    ),
    Item(
        "scope",
        "Scope: pests and areas covered, and what is left out",
        "The contract in force says what it covers.",
        (SCHEME, SCHEMES, SERVICES, EU_HYGIENE),
    ),
    Item(
        "frequency",
        "How often the site is visited",
        "The contract in force has a recurring service line that has not ended.",
        (SCHEME, SCHEMES, SERVICES),
    ),
    Item(
        "responsible",
        "A named person responsible at the premises",
        "A contact is on file as the premises' manager.",
        (SCHEME,),
    ),
    Item(
        "plan",
        "A site plan that shows every monitor by its number",
        "A plan is in use and every standing monitor is marked on it.",
        (SCHEME_DETAIL, SCHEMES),
    ),
    Item(
        "register",
        "A register of monitors: number, kind, place, since when",
        "Monitors are on file, each with its kind, zone and day.",
        (SCHEME_DETAIL, SCHEMES, BAIT_STATIONS, RODENT_BAIT),
    ),
    Item(
        "on_time",
        "Visits made when they were due",
        "Every visit that fell due in the period was made by the last day of its window.",
        (SCHEME_DETAIL, SERVICES),
    ),
    Item(
        "reports",
        "Visit reports: complete, signed or with the reason why not, and sealed",
        "Every closed visit of the period is sealed and signed or says why it is not.",
        (SCHEME_DETAIL, SCHEMES, LOG, SERVICES),
    ),
    Item(
        "reached",
        "Every place looked at, or said why not",
        "No place has been left unreached on two visits running or more.",
        (PREMISES, SERVICES),
    ),
    Item(
        "sightings",
        "Call-outs answered in time",
        "Every call-out of the period was begun before its deadline.",
        (PREMISES, SCHEMES, SERVICES),
    ),
    Item(
        "findings",
        "Findings that led to an action",
        "Every finding of the period that recommends something has its action.",
        (SCHEME_DETAIL, SCHEMES, PREMISES, CODEX),
    ),
    Item(
        "closed_actions",
        "Actions with an owner and a day, closed in time",
        "No action is past its day.",
        (SCHEME_DETAIL, SCHEMES, PREMISES, CODEX),
    ),
    Item(
        "proofing",
        "Proofing decided and signed, shown by a photo, and checked",
        "Every piece of proofing done has its signatures and a photo, and was checked.",
        (OPENINGS, EU_HYGIENE, SCHEME_DETAIL),
    ),
    Item(
        "survey",
        "An in-depth survey beyond the monitors",
        "A survey visit was closed, or a survey report issued, within twelve months.",
        (SCHEME_DETAIL, SCHEMES),
    ),
    Item(
        "treatments",
        "A record of every treatment",
        "Every treatment of the period names product, place, target, amount and the licence of who "
        "applied it.",
        (US_RECORDS, AU_RECORDS, SCHEMES),
    ),
    Item(
        "labels",
        "The label of every product used",
        "For each product used in the period a label is on file, with it or by its title.",
        (SCHEMES, USE),
    ),
    Item(
        "safety_data_sheets",
        "The safety data sheet of every product used",
        "For each product used in the period a safety data sheet of the last five years is on "
        "file, with it or by its title.",
        (SCHEMES, USE),
    ),
    Item(
        "precautions",
        "Precautions and re-entry told to the client",
        "Every treatment of the period says what people were told, or when they may come back.",
        (AU_ADVICE, USE),
    ),
    Item(
        "competence",
        "Technicians competent on the day of every visit",
        "Whoever closed a visit in the period held what the service asks for, valid that day.",
        (SERVICES, SCHEME, SCHEMES, USE),
    ),
    Item(
        "insurance",
        "Insurance",
        "An insurance document is on file and has not expired.",
        (SCHEMES,),
    ),
    Item(
        "risk_assessment",
        "Risk assessment of the site and its treatments",
        "An assessment is on file, not expired, and issued within twelve months.",
        (SERVICES,),
    ),
    Item(
        "trend_review",
        "A written review of trends by pest, zone and monitor",
        "Somebody competent signed a review of every ended quarter in which monitors were read.",
        (SCHEME_DETAIL, SCHEMES),
    ),
    Item(
        "review_meetings",
        "Minutes of review meetings",
        "Kept here in a later edition; until then ask the service company.",
        (SCHEME,),
    ),
    Item(
        "rodenticide_programme",
        "A file for each rodent-bait programme: reason, start, amounts, end, bait lifted",
        "Kept here in a later edition; until then ask the service company.",
        (RODENT_BAIT,),
    ),
    Item(
        "light_traps",
        "Service of fly light traps: boards and lamps renewed",
        "Kept here in a later edition; until then ask the service company.",
        (SCHEMES, DEAD_PESTS),
    ),
    Item(
        "product_risk",
        "A check of products at risk when activity is found where food is",
        "Kept here in a later edition; until then ask the service company.",
        (FOOD_PLANTS, SCHEME_DETAIL),
    ),
)
