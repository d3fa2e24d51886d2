"""What published rules ask the record of an application to say, by when, and for how long.

Own words, and not legal advice: each fact says how far it was confirmed, and local law decides.
"text-seen" means that the rule's text, or its regulator's own page, was read; "secondary" that
another party's summary was; "from memory" that it must be checked before anybody relies on it;
"not read" that nothing was found. ``UNION`` is ours: everything that any of them asks for, made
and kept by the strictest that was read or is remembered.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Literal

from visits.dosing.days import years_later

Confirmed = Literal["text-seen", "secondary", "from memory", "not read", "ours"]


@dataclass(frozen=True, slots=True)
class ElementKind:
    """One thing a record may say. ``when`` names the condition under which it is asked at all.

    ``of`` says what it is said of: one application, or the visit or site round it.
    """

    label: str
    when: str = ""
    of: Literal["application", "visit", "site"] = "application"


CONDITION_WORDS: Mapping[str, str] = {
    "outdoors": "outdoors",
    "outdoor_spray": "sprayed outdoors",
    "supervised": "somebody was supervised",
    "label_names_weather": "the label names temperature, humidity or rain",
    "baiting": "bait for rodents",
    "lifted": "bait was lifted",
    "past_review": "bait lies past its review day",
}

ELEMENTS: Mapping[str, ElementKind] = {
    "product_name": ElementKind("Product, by its full label name"),
    "registration_number": ElementKind("Registration number"),
    "active_concentration": ElementKind("Active ingredients and strength"),
    "batch_number": ElementKind("Batch or lot"),
    "quantity_product": ElementKind("Amount of product"),
    "rate_or_dilution": ElementKind("Rate or dilution"),
    "method": ElementKind("Method"),
    "equipment": ElementKind("Equipment"),
    "date": ElementKind("Date"),
    "start_time": ElementKind("Start"),
    "finish_time": ElementKind("Finish"),
    "treatment_order": ElementKind("Order in which places were treated"),
    "site_address": ElementKind("Address of the site"),
    "area_delineation": ElementKind("Part treated, named or drawn"),
    "location": ElementKind("Place treated, to be found on the plan"),
    "site_or_commodity": ElementKind("Kind of surface or goods"),
    "area_size": ElementKind("Size of what was treated"),
    "target_pest": ElementKind("Target pest"),
    "applicator_name": ElementKind("Who applied it"),
    "applicator_contact": ElementKind("How to reach them"),
    "applicator_certificate": ElementKind("Licence valid that day"),
    "supervised_person_name": ElementKind("Supervised person", "supervised"),
    "employer_name": ElementKind("Employer"),
    "employer_contact": ElementKind("Employer's address"),
    "client_name": ElementKind("Client"),
    "client_address": ElementKind("Client's address"),
    "occupier_name": ElementKind("Owner or occupier"),
    "wind_speed": ElementKind("Wind speed", "outdoor_spray"),
    "wind_direction": ElementKind("Wind direction", "outdoor_spray"),
    "other_weather_if_label": ElementKind("Weather that the label names", "label_names_weather"),
    "weather_if_outdoor": ElementKind("Weather", "outdoors"),
    "precautions_given": ElementKind("Precautions told to the client"),
    "re_entry_advice": ElementKind("When and how people may come back"),
    "signature": ElementKind("Signature"),
    "bait_point_locations": ElementKind("Numbered bait points", "baiting"),
    "bait_quantity_per_point": ElementKind("Bait at each point", "baiting"),
    "bait_start_date": ElementKind("Day on which baiting began", "baiting"),
    "bait_end_date": ElementKind("Day on which bait was lifted", "lifted"),
    "cause_if_over_35_days": ElementKind("Why baiting goes on past its review day", "past_review"),
    "carcass_search": ElementKind("Search for dead rodents", "baiting"),
    "site_survey": ElementKind("Survey of the site before baiting", of="site"),
    "environment_changes_noted": ElementKind("Changes to the site recommended", of="visit"),
    "visit_log_on_site": ElementKind("Log of each visit, kept on the premises", of="visit"),
}


@dataclass(frozen=True, slots=True)
class RuleSet:
    """One published rule. Spans are hours and years; None: it does not say, or was not read.

    ``confirmed`` is of the elements; ``elements_besides`` names those of them with a status of
    their own. What a rule below leaves out was not read.
    """

    slug: str
    title: str
    edition: str
    source: str
    applies_to: str
    elements: tuple[str, ...]
    confirmed: Confirmed
    elements_besides: Mapping[str, Confirmed] = field(default_factory=dict)
    deadline_hours: int | None = None
    deadline_words: str = "Not read"
    deadline_confirmed: Confirmed = "not read"
    retention_years: int | None = None
    retention_words: str = "Not read"
    retention_confirmed: Confirmed = "not read"
    copy_to_client: str = ""
    copy_confirmed: Confirmed = "not read"
    notes: tuple[str, ...] = ()

    def confirmed_of(self, element: str) -> Confirmed:
        """How far it was confirmed that this rule asks for an element."""
        return self.elements_besides.get(element, self.confirmed)

    @property
    def conditional(self) -> dict[str, str]:
        """The elements that are asked only under a condition, and which."""
        return {name: ELEMENTS[name].when for name in self.elements if ELEMENTS[name].when}


@dataclass(frozen=True, slots=True)
class Conditions:
    """What one application was like.

    ``sprayed``: a liquid or an aerosol. ``past_review``: bait for rodents lies there for more days
    than may pass without a review. ``lifted``: all bait of the point was taken away.
    """

    outdoors: bool = False
    sprayed: bool = False
    supervised: bool = False
    label_names_weather: bool = False
    baiting: bool = False
    lifted: bool = False
    past_review: bool = False

    @property
    def words(self) -> frozenset[str]:
        """Those of ``CONDITION_WORDS`` that hold."""
        held = {
            "outdoors": self.outdoors,
            "outdoor_spray": self.outdoors and self.sprayed,
            "supervised": self.supervised,
            "label_names_weather": self.label_names_weather,
            "baiting": self.baiting,
            "lifted": self.baiting and self.lifted,
            "past_review": self.baiting and self.past_review,
        }
        return frozenset(word for word, is_so in held.items() if is_so)


def asked(rule_set: RuleSet, conditions: Conditions) -> frozenset[str]:
    """The elements that a rule asks the record of one application to say."""
    return frozenset(
        name
        for name in rule_set.elements
        if ELEMENTS[name].of == "application"
        and (not ELEMENTS[name].when or ELEMENTS[name].when in conditions.words)
    )


def missing(rule_set: RuleSet, said: Mapping[str, str], conditions: Conditions) -> tuple[str, ...]:
    """The elements that a rule asks for and the record does not say, in the catalogue's order."""
    wanted = asked(rule_set, conditions)
    return tuple(name for name in ELEMENTS if name in wanted and not said.get(name, "").strip())


def made_by(rule_set: RuleSet, finished_at: datetime) -> datetime | None:
    """The last instant (UTC) at which the record is made in time; None if no limit is known.

    ``finished_at`` is aware; hours are real ones, also in the night the clocks change.
    """
    if finished_at.tzinfo is None:
        raise ValueError("an instant needs its zone")
    if rule_set.deadline_hours is None:
        return None
    return finished_at.astimezone(UTC) + timedelta(hours=rule_set.deadline_hours)


def keep_until(rule_set: RuleSet, on: date) -> date | None:
    """The last day on which a record made ``on`` that day must still be there; None if unknown.

    A record of 29 February is kept to 1 March, never a day short.
    """
    if rule_set.retention_years is None:
        return None
    return years_later(on, rule_set.retention_years)


# --- the rules ------------------------------------------------------------------------------------

_US_RESTRICTED = RuleSet(
    slug="us-7-cfr-110",
    title="United States: records of restricted use pesticides, 7 CFR 110.3",
    edition="2006 edition of the CFR, as amended by 60 FR 8118 (10 February 1995)",
    source="7 CFR 110.3; FR Doc 95-3287",
    applies_to="Certified applicators who apply products under federal restricted use",
    elements=(
        "product_name",
        "registration_number",
        "quantity_product",
        "location",
        "area_size",
        "site_or_commodity",
        "date",
        "applicator_name",
        "applicator_certificate",
    ),
    confirmed="text-seen",
    deadline_hours=14 * 24,
    deadline_words="Within 14 days of the application",
    deadline_confirmed="from memory",
    retention_years=2,
    retention_words="2 years from the application",
    retention_confirmed="from memory",
    copy_to_client="A commercial applicator gives the client a copy within 30 days",
    copy_confirmed="from memory",
    notes=(
        "The place may be given by a map or a written description that finds it exactly.",
        "The amount is of the product, not of what was mixed (secondary).",
        "Spot applications need less (that they do: text-seen; what: from memory).",
    ),
)

_US_COMMERCIAL = RuleSet(
    slug="us-40-cfr-171-303",
    title="United States: state plans for commercial applicators, 40 CFR 171.303",
    edition="2017 rule (82 FR 952), as summarised",
    source="40 CFR 171.303(b)(7)",
    applies_to="Commercial applicators of restricted use products",
    elements=(
        "client_name",
        "client_address",
        "location",
        "area_size",
        "site_or_commodity",
        "start_time",
        "date",
        "product_name",
        "registration_number",
        "quantity_product",
        "applicator_name",
        "applicator_certificate",
        "supervised_person_name",
    ),
    confirmed="secondary",
    elements_besides={"site_or_commodity": "from memory"},
    deadline_words="Not stated in what was read",
    retention_years=2,
    retention_words="At least 2 years",
    retention_confirmed="secondary",
    notes=(
        "The amount is for each place and each application.",
        "It names the certified applicator who made or supervised it, and whoever applied it.",
    ),
)

_NSW = RuleSet(
    slug="au-nsw",
    title="New South Wales: Pesticides Regulation 2017, clauses 35 to 37 and 54",
    edition="2017, as shown in force by the copy that was read",
    source="Pesticides Regulation 2017 (NSW) cl. 35-37, 54",
    applies_to="Every use of a pesticide in a business, and pest management for reward",
    elements=(
        "product_name",
        "date",
        "site_or_commodity",
        "rate_or_dilution",
        "quantity_product",
        "site_address",
        "area_delineation",
        "applicator_name",
        "applicator_contact",
        "employer_name",
        "employer_contact",
        "supervised_person_name",
        "wind_speed",
        "wind_direction",
        "other_weather_if_label",
        "equipment",
        "start_time",
        "treatment_order",
        "occupier_name",
    ),
    confirmed="text-seen",
    deadline_hours=48,
    deadline_words="48 hours by the regulator's older page",
    deadline_confirmed="text-seen",
    retention_years=3,
    retention_words="At least 3 years after the record was made",
    retention_confirmed="text-seen",
    copy_to_client="To the owner or occupier who asks for it, and to an authorised officer",
    copy_confirmed="text-seen",
    notes=(
        "The limit of clause 35 as now in force was not read; 24 hours are remembered, so plan "
        "for 24.",
        "Equipment, start, order and occupier are for licensed technicians, by the regulator's "
        "older page; clause 36(2) itself was cut off.",
        "Wind is written down at the start and at every change that matters.",
        "Outdoors beside a sensitive place: 5 working days' notice.",
    ),
)

_VICTORIA = RuleSet(
    slug="au-vic",
    title="Victoria: Public Health and Wellbeing Regulations 2019, pest control records",
    edition="2019",
    source="Public Health and Wellbeing Regulations 2019 (Vic), pest control division",
    applies_to="Licensed operators: every application at every job",
    elements=(
        "product_name",
        "batch_number",
        "precautions_given",
        "date",
        "start_time",
        "finish_time",
        "location",
        "target_pest",
        "method",
        "quantity_product",
        "rate_or_dilution",
        "weather_if_outdoor",
        "applicator_name",
        "applicator_certificate",
        "client_name",
        "client_address",
        "signature",
    ),
    confirmed="from memory",
    retention_years=3,
    retention_words="3 years",
    retention_confirmed="from memory",
    notes=(
        "Only the duty to record every application at every job was seen; read the department's "
        "technical note before you rely on this list.",
        "The rule for farms (48 hours, 2 years) is another one.",
    ),
)

_QUEENSLAND = RuleSet(
    slug="au-qld",
    title="Queensland: Medicines and Poisons (Pest Management Activities) Regulation 2021",
    edition="2021, amended by 2023 No. 163",
    source="Qld SL 2021 No. 142 s 13-20A",
    applies_to="Licensed technicians: advice before and after; a plan at sensitive places",
    elements=(
        "product_name",
        "active_concentration",
        "area_delineation",
        "precautions_given",
        "re_entry_advice",
        "applicator_name",
        "employer_name",
        "applicator_certificate",
        "signature",
        "date",
    ),
    confirmed="secondary",
    copy_to_client="Advice before and after the treatment, in print as well",
    copy_confirmed="secondary",
    notes=(
        "The list is from the state's guidance on the 2003 regulation; section 16 of 2021 was not "
        "read.",
        "At high-risk or sensitive places a written plan is needed before (section 19, text-seen).",
        "The day on which advice was given is recorded since 1 December 2023 (text-seen).",
    ),
)

_EU_PLANTS = RuleSet(
    slug="eu-1107-2009",
    title="European Union: plant protection products, Regulation 1107/2009, Article 67",
    edition="2009; format by Implementing Regulation 2023/564",
    source="Regulation (EC) 1107/2009 Art. 67(1); Implementing Regulation (EU) 2023/564",
    applies_to="Professional users of plant protection products, not of biocides",
    elements=(
        "product_name",
        "start_time",
        "rate_or_dilution",
        "area_delineation",
        "site_or_commodity",
    ),
    confirmed="text-seen",
    retention_years=3,
    retention_words="At least 3 years",
    retention_confirmed="from memory",
    copy_to_client="To the authority that asks for it",
    copy_confirmed="text-seen",
    notes=(
        "Matters here for stored plant products only.",
        "Records become electronic (that they do: text-seen; from when: from memory).",
    ),
)

_BIOCIDES = RuleSet(
    slug="eu-gb-biocides",
    title="European Union and Great Britain: biocidal products, Regulation 528/2012",
    edition="2012",
    source="Regulation (EU) 528/2012 Art. 65, 68; HSE record-keeping page",
    applies_to="Makers and holders of authorisations (10 years), not users in general",
    elements=(),
    confirmed="text-seen",
    deadline_words="None was found",
    retention_words="None was found for users",
    notes=(
        "No list for users was found: the duty comes with the product's authorisation, its label "
        "and codes of stewardship.",
    ),
)

_RODENTICIDES = RuleSet(
    slug="uk-rodenticide-code",
    title="United Kingdom: code of practice for rodenticides (CRRU UK Code)",
    edition="Code of Best Practice, March 2015, read in part",
    source="CRRU UK Code",
    applies_to="Professional use of rodenticides",
    elements=(
        "site_survey",
        "environment_changes_noted",
        "bait_point_locations",
        "bait_quantity_per_point",
        "bait_start_date",
        "bait_end_date",
        "cause_if_over_35_days",
        "carcass_search",
    ),
    confirmed="text-seen",
    elements_besides={"carcass_search": "secondary"},
    notes=(
        "Baiting that is open on day 36 without a recorded cause is a defect.",
        "No open-ended baiting; permanent baiting only as a last resort that is justified.",
        "There is a later edition (from memory).",
    ),
)

_BRITISH_COLUMBIA = RuleSet(
    slug="ca-bc",
    title="British Columbia: Integrated Pest Management Regulation, records of use",
    edition="2004, last amended 2024",
    source="B.C. Reg. 604/2004",
    applies_to="Holders of a service licence",
    elements=(
        "client_name",
        "site_address",
        "date",
        "start_time",
        "target_pest",
        "product_name",
        "registration_number",
        "method",
        "rate_or_dilution",
        "quantity_product",
        "area_size",
        "applicator_name",
        "applicator_certificate",
        "weather_if_outdoor",
    ),
    confirmed="from memory",
    retention_years=3,
    retention_words="3 years",
    retention_confirmed="from memory",
)

_CHICAGO = RuleSet(
    slug="us-chicago-log",
    title="Chicago: log of pest control on food premises",
    edition="With the 2017 amendment",
    source="Municipal Code of Chicago 7-38-020(c)",
    applies_to="The food business itself, not its contractor",
    elements=("visit_log_on_site",),
    confirmed="text-seen",
    deadline_words="Not stated",
    retention_words="Not stated",
    copy_to_client="The log lies on the premises, open to inspection",
    copy_confirmed="text-seen",
)

PUBLISHED: tuple[RuleSet, ...] = (
    _US_RESTRICTED,
    _US_COMMERCIAL,
    _NSW,
    _VICTORIA,
    _QUEENSLAND,
    _EU_PLANTS,
    _BIOCIDES,
    _RODENTICIDES,
    _BRITISH_COLUMBIA,
    _CHICAGO,
)

UNION = RuleSet(
    slug="union",
    title="Everything that any of these rules asks for",
    edition="Ours; the rules below in the editions named there",
    source="; ".join(one.source for one in PUBLISHED),
    applies_to="Any site: whoever keeps this keeps more than any single rule asks",
    elements=tuple(name for name in ELEMENTS if any(name in one.elements for one in PUBLISHED)),
    confirmed="ours",
    deadline_hours=24,
    deadline_words="Within 24 hours of the application",
    deadline_confirmed="ours",
    retention_years=3,
    retention_words="At least 3 years",
    retention_confirmed="ours",
    copy_to_client="The client can read and print every closed visit",
    copy_confirmed="ours",
    notes=(
        "24 hours are ours: 48 are the strictest that was read, 24 are remembered.",
        "3 years are the strictest that was read (New South Wales, cl. 37).",
    ),
)

RULE_SETS: Mapping[str, RuleSet] = {one.slug: one for one in (UNION, *PUBLISHED)}
