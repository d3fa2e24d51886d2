"""Everything a site file says, as plain records.

Days are dates in the site's own zone; instants end in ``_at`` and are aware. Kinds, reasons and
states come in the words that pages show; where a paper must tell them apart, the code stands
beside the word. Sequences are in the order in which they are printed. A picture is given by its
name, which is a key of the media that the builder is given.
"""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import Enum

from compliance.evidence import Standing

Point = tuple[float, float]


class Outcome(Enum):
    """What became of a visit that was due."""

    CLOSED = "closed"
    MISSED = "missed"
    CALLED_OFF = "called_off"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class Company:
    """The service company, as it is to be reached."""

    name: str
    address: str = ""
    phone: str = ""
    email: str = ""
    registration: str = ""
    currency: str = "GBP"


@dataclass(frozen=True, slots=True)
class ContactPerson:
    """Somebody at the premises. How to reach them stays out of the file."""

    name: str
    job_title: str = ""
    is_premises_manager: bool = False


@dataclass(frozen=True, slots=True)
class SiteFacts:
    """The premises. ``zone`` is an IANA time zone name."""

    name: str
    reference: str
    address: str
    zone: str
    client: str
    client_reference: str = ""
    client_address: str = ""
    postcode: str = ""
    hazards: str = ""
    entry_times: tuple[str, ...] = ()
    contacts: tuple[ContactPerson, ...] = ()


@dataclass(frozen=True, slots=True)
class Made:
    """When and for whom the paper was made, and the head of the site's trail at that moment."""

    at: datetime
    by: str
    role: str
    trail_length: int
    trail_head: str


@dataclass(frozen=True, slots=True)
class ServiceLine:
    """One recurring service. ``rule`` is the RFC 5545 rule; ``in_words`` says the same."""

    title: str
    kind: str
    rule: str
    in_words: str
    first_on: date
    last_on: date | None
    days_before: int
    days_after: int
    minutes: int
    competences: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Contract:
    """What was agreed. Prices are not part of the file."""

    number: str
    starts_on: date
    ends_on: date | None
    scope: str
    response_hours: int
    lines: tuple[ServiceLine, ...] = ()


@dataclass(frozen=True, slots=True)
class Zone:
    """A part of the site, with how many places are looked at in it and at which height."""

    name: str
    kind: str
    boundary: str
    boundary_note: str = ""
    low: int = 0
    reach: int = 0
    overhead: int = 0
    monitors: int = 0
    retired_on: date | None = None


@dataclass(frozen=True, slots=True)
class Competence:
    """A licence or certificate. Days are inclusive; it does not count from ``withdrawn_on``."""

    kind: str
    number: str
    issuer: str
    valid_from: date
    valid_until: date | None
    withdrawn_on: date | None = None

    def is_valid_on(self, day: date) -> bool:
        """Whether it counted on that day."""
        return (
            self.valid_from <= day
            and (self.valid_until is None or day <= self.valid_until)
            and (self.withdrawn_on is None or day < self.withdrawn_on)
        )


@dataclass(frozen=True, slots=True)
class Attendance:
    """A day on which a person visited, and the competences that the visit asked for."""

    day: date
    asked: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who worked at the site in the period."""

    name: str
    role: str
    competences: tuple[Competence, ...] = ()
    attended: tuple[Attendance, ...] = ()


@dataclass(frozen=True, slots=True)
class Pin:
    """A monitor on a plan. ``x`` and ``y`` are fractions of its sides, from the top left."""

    number: int
    kind_code: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Outline:
    """A zone on a plan; corners are fractions of its sides."""

    zone: str
    corners: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """A drawing of the site. ``width`` and ``height`` are in pixels."""

    title: str
    media: str
    width: int
    height: int
    pins: tuple[Pin, ...] = ()
    outlines: tuple[Outline, ...] = ()


@dataclass(frozen=True, slots=True)
class Monitor:
    """A numbered device that stood at the site at some time in the period."""

    number: int
    kind: str
    kind_code: str
    zone: str
    place: str
    label_code: str
    placed_on: date
    removed_on: date | None = None
    plan: str = ""


@dataclass(frozen=True, slots=True)
class Photo:
    """A picture by its media name, and the hash of the file that is kept.

    No media name means that the picture has not arrived from the phone that took it.
    """

    media: str
    about: str
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """Something seen, and what was recommended about it."""

    zone: str
    kind: str
    urgency: str
    note: str
    height: str = ""
    place: str = ""
    pest: str = ""
    count: int | None = None
    remedy_kind: str = ""
    remedy: str = ""
    whose_move: str = ""
    action_number: int | None = None
    photos: tuple[Photo, ...] = ()


@dataclass(frozen=True, slots=True)
class Reading:
    """What a monitor showed. No counts means that nothing was caught."""

    monitor: int
    day: date
    condition: str
    condition_code: str
    counts: tuple[tuple[str, int], ...] = ()
    bait_taken: str = ""
    bait_code: str = ""
    stood_days: int | None = None
    renewed: bool = False
    note: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class Treatment:
    """One application of a product, with what regulations ask a record of it to say.

    ``amount`` is of the product itself, never of what was mixed. ``elements`` is the whole record
    as labels and words, ``missing`` the labels of what it ought to say and does not by the
    ``rules`` named. ``against`` is what it shows against the label, ``working`` how the amount was
    reckoned, both in sentences.
    """

    product: str
    registration_number: str
    actives: str
    target: str
    method: str
    zone: str
    place: str
    amount: Decimal
    unit: str
    started_at: datetime
    applicator: str
    batch_number: str = ""
    equipment: str = ""
    situation: str = ""
    dilution: str = ""
    area: Decimal | None = None
    area_unit: str = ""
    finished_at: datetime | None = None
    outdoors: bool = False
    wind_speed: Decimal | None = None
    wind_direction: str = ""
    weather: str = ""
    precautions: str = ""
    cautions: tuple[str, ...] = ()
    label_cautions: str = ""
    re_entry: str = ""
    applicator_licence: str = ""
    supervised_person: str = ""
    note: str = ""
    is_demo: bool = False
    elements: tuple[tuple[str, str], ...] = ()
    missing: tuple[str, ...] = ()
    rules: str = ""
    against: tuple[str, ...] = ()
    working: tuple[str, ...] = ()
    re_entry_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class NotReached:
    """A place that could not be looked at on a visit, why, and whose move it is."""

    zone: str
    what: str
    reason: str
    whose_move: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Amendment:
    """A correction that stands beside a sealed visit."""

    number: int
    author: str
    at: datetime
    about: str
    correction: str
    reason: str
    previous_seal: str
    seal: str


@dataclass(frozen=True, slots=True)
class Signature:
    """Pen strokes as points from 0 to 1, or a typed name, or why there is none."""

    name: str = ""
    job_title: str = ""
    strokes: tuple[tuple[Point, ...], ...] = ()
    typed: str = ""
    none_because: str = ""


@dataclass(frozen=True, slots=True)
class Coverage:
    """How much of what was due to be looked at was looked at."""

    checkpoints_due: int = 0
    checkpoints_looked: int = 0
    monitors_due: int = 0
    monitors_read: int = 0


@dataclass(frozen=True, slots=True)
class Visit:
    """One visit that was due in the period, and what it recorded if it was closed."""

    outcome: Outcome
    state: str
    kind: str
    due_on: date
    opens_on: date
    closes_on: date
    line: str = ""
    state_reason: str = ""
    booked_on: date | None = None
    technician: str = ""
    started_at: datetime | None = None
    closed_at: datetime | None = None
    received_at: datetime | None = None
    minutes_on_site: int | None = None
    minutes_reason: str = ""
    reported_at: datetime | None = None
    reported_by: str = ""
    respond_by: datetime | None = None
    reported_problem: str = ""
    summary: str = ""
    signature: Signature = Signature()
    coverage: Coverage = Coverage()
    looked_nothing: int = 0
    findings: tuple[Finding, ...] = ()
    readings: tuple[Reading, ...] = ()
    treatments: tuple[Treatment, ...] = ()
    not_reached: tuple[NotReached, ...] = ()
    amendments: tuple[Amendment, ...] = ()
    seal_number: int | None = None
    previous_seal: str = ""
    seal: str = ""


@dataclass(frozen=True, slots=True)
class StandingNotReached:
    """A place that was not reached, over the visits: since when, how often, and whether it is over.

    ``reached_on`` is the day on which it was looked at again, or None while it still waits.
    """

    zone: str
    what: str
    reason: str
    whose_move: str
    first_on: date
    last_on: date
    times: int
    reached_on: date | None = None


@dataclass(frozen=True, slots=True)
class Option:
    """One way to answer an action. Money is in the company's currency."""

    kind: str
    description: str
    cost_once: Decimal
    cost_monthly: Decimal
    life_years: int | None = None
    remaining_risk: str = ""
    over_years: tuple[tuple[int, Decimal], ...] = ()
    chosen: bool = False
    withdrawn: bool = False


@dataclass(frozen=True, slots=True)
class SignOff:
    """A named, dated, reasoned acceptance, bound by hash to the exact text accepted."""

    name: str
    role: str
    meaning: str
    at: datetime
    zone: str
    method: str
    content_hash: str
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class Decision:
    """The answer to one revision of an action."""

    revision: int
    outcome: str
    option: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Gap:
    """A gap that was closed. Widths in millimetres; ``attempt`` counts the reports of the work."""

    place: str
    material: str
    before_mm: Decimal
    after_mm: Decimal
    keeps_out: str
    attempt: int = 1


@dataclass(frozen=True, slots=True)
class Action:
    """What must change, whose move it is and how far it has come."""

    number: int
    title: str
    kind: str
    zone: str
    whose_move: str
    state: str
    is_open: bool
    raised_at: datetime
    due_on: date
    detail: str = ""
    declined: bool = False
    raised_by: str = ""
    from_visit_on: date | None = None
    revision: int = 1
    done_at: datetime | None = None
    done_by: str = ""
    done_note: str = ""
    accepted_at: datetime | None = None
    accepted_by: str = ""
    sent_back_at: datetime | None = None
    sent_back_reason: str = ""
    attempt: int = 1
    checked_at: datetime | None = None
    checked_by: str = ""
    check_note: str = ""
    withdrawn_reason: str = ""
    gaps: tuple[Gap, ...] = ()
    break_even: str = ""
    options: tuple[Option, ...] = ()
    decisions: tuple[Decision, ...] = ()
    sign_offs: tuple[SignOff, ...] = ()
    photos: tuple[Photo, ...] = ()


@dataclass(frozen=True, slots=True)
class Document:
    """A paper on file. ``belongs_to`` says whether it is the site's, the client's or ours."""

    kind: str
    title: str
    belongs_to: str
    issued_on: date | None
    expires_on: date | None
    sha256: str


@dataclass(frozen=True, slots=True)
class Evidence:
    """One thing that published texts ask to see.

    ``asks`` says what counts as there and current, ``note`` what is there or what lacks.
    """

    item: str
    asked_by: tuple[str, ...]
    standing: Standing
    asks: str = ""
    note: str = ""
    anchor: str = ""


@dataclass(frozen=True, slots=True)
class TrailEntry:
    """One line of the trail. ``sentence`` finishes the name of who did it."""

    number: int
    at: datetime
    who: str
    role: str
    sentence: str
    target: str
    facts: str
    seal: str


@dataclass(frozen=True, slots=True)
class BaitPoint:
    """One numbered point with rodent bait: amounts of the period, and how it stood at its end.

    Amounts are in g. ``since`` is empty where nothing lies any more.
    """

    number: int
    zone: str
    place: str
    laid: Decimal
    taken: Decimal
    lifted: Decimal
    lies: Decimal
    since: date | None = None
    taken_away_on: date | None = None


@dataclass(frozen=True, slots=True)
class BaitReview:
    """Why bait went on lying, or that it was to be lifted."""

    on: date
    outcome: str
    cause: str
    by: str


@dataclass(frozen=True, slots=True)
class Baiting:
    """Rodent bait at the end of the period, in words, and point by point.

    ``unnumbered`` counts applications of bait that name no point.
    """

    words: str
    points: tuple[BaitPoint, ...] = ()
    reviews: tuple[BaitReview, ...] = ()
    unnumbered: int = 0


@dataclass(frozen=True, slots=True)
class TrendMonth:
    """One month of one place and pest. ``month`` is its first day, rates per 100 trap-days.

    ``state`` is a code (not_read, not_yet_known, calm, alarm). ``centre``: what was usual,
    ``limit``: the rate from which the month would have been an alarm by itself, ``allows``: the
    largest rate that the count still allows; each None while not known.
    """

    month: date
    count: int
    trap_days: float
    state: str
    at_least: bool = False
    centre: float | None = None
    limit: float | None = None
    allows: float | None = None


@dataclass(frozen=True, slots=True)
class PlaceTrend:
    """What was caught of one pest in one zone, or at the whole site, month by month."""

    zone: str
    pest: str
    months: tuple[TrendMonth, ...]


@dataclass(frozen=True, slots=True)
class TrendAlarm:
    """More than is usual in a place. ``words`` say what was compared."""

    month: date
    zone: str
    pest: str
    state: str
    is_open: bool
    words: str
    look_first: tuple[str, ...] = ()
    explanation: str = ""


@dataclass(frozen=True, slots=True)
class Breach:
    """A threshold that was reached; ``answer`` is what was done about it."""

    on: date
    threshold: str
    zone: str
    pest: str
    state: str
    is_open: bool
    words: str
    monitor: int | None = None
    answer: str = ""
    action_number: int | None = None


@dataclass(frozen=True, slots=True)
class TrendReview:
    """What a competent person wrote and signed about a quarter."""

    title: str
    seen: str
    cause: str
    plan: str
    name: str
    role: str
    competence: str
    at: datetime
    zone: str
    method: str
    content_hash: str
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class WorkEffect:
    """What was caught before and after a piece or course of work. ``state`` is in words."""

    first_on: date
    on: date
    zone: str
    pest: str
    what: tuple[str, ...]
    state: str
    words: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Trends:
    """What the monitors amount to in the months of the period, each month whole.

    ``monitors`` are those that looked; ``trap_days`` and ``readings`` are theirs together.
    """

    monitors: int = 0
    trap_days: float = 0.0
    readings: int = 0
    places: tuple[PlaceTrend, ...] = ()
    alarms: tuple[TrendAlarm, ...] = ()
    breaches: tuple[Breach, ...] = ()
    effects: tuple[WorkEffect, ...] = ()
    reviews: tuple[TrendReview, ...] = ()


@dataclass(frozen=True, slots=True)
class SiteFile:
    """The whole record of one site for one period, first and last day included.

    ``broken_seals`` says where seals did not hold when they were computed anew for this paper.
    """

    company: Company
    site: SiteFacts
    period_from: date
    period_to: date
    made: Made
    contracts: tuple[Contract, ...] = ()
    zones: tuple[Zone, ...] = ()
    people: tuple[Person, ...] = ()
    plans: tuple[Plan, ...] = ()
    monitors: tuple[Monitor, ...] = ()
    visits: tuple[Visit, ...] = ()
    other_readings: tuple[Reading, ...] = ()
    not_reached: tuple[StandingNotReached, ...] = ()
    actions: tuple[Action, ...] = ()
    documents: tuple[Document, ...] = ()
    evidence: tuple[Evidence, ...] = ()
    trail: tuple[TrailEntry, ...] = ()
    baiting: Baiting | None = None
    trends: Trends = Trends()
    broken_seals: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class VisitReport:
    """The report of one closed visit as a paper of its own."""

    company: Company
    site: SiteFacts
    made: Made
    visit: Visit
    monitors: tuple[Monitor, ...] = ()


@dataclass(frozen=True, slots=True)
class Application:
    """One entry of the application register. ``elements`` are labels and words, each said.

    ``missing`` are the labels of what the record leaves out by the rules named in ``rules``,
    ``against`` what it shows against the label, in sentences.
    """

    started_at: datetime
    zone: str
    site: str
    client: str
    place: str
    product: str
    elements: tuple[tuple[str, str], ...]
    missing: tuple[str, ...] = ()
    rules: str = ""
    against: tuple[str, ...] = ()
    seal_number: int | None = None
    is_demo: bool = False


@dataclass(frozen=True, slots=True)
class ApplicationRegister:
    """The application register as a paper. ``title`` says of what, ``narrowed`` to what."""

    company: Company
    title: str
    narrowed: str
    made: Made
    time_zone: str
    applications: tuple[Application, ...] = ()
