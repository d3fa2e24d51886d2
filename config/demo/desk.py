"""The work of the day at one site: booking, walking, closing, and what follows, by the services."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from random import Random
from uuid import UUID

from accounts.models import User
from compliance.economics.ranges import Range
from compliance.models import ActionOption, CorrectiveAction, Decision, Remedy
from compliance.queries.drafting import (
    Chosen,
    Wanted,
    WayWanted,
    agreed_prices,
    drafted,
    with_workings,
)
from compliance.queries.sheets import sheet_of
from compliance.queries.work import done_facts, done_hash
from compliance.services.acceptance import accept_work
from compliance.services.actions import (
    OptionGiven,
    check_action,
    decide_action,
    price_action,
    raise_actions_of_visit,
    report_done,
)
from compliance.services.gaps import GapGiven
from compliance.services.signing import Proof
from config.demo import history, pictures
from config.demo.cast import Cast
from config.demo.cupboard import Shelf
from config.demo.history import Showing
from config.demo.town import DemoSite
from sites.models import Checkpoint, Monitor, Photo, Site, Zone
from sites.services.photos import add_photo
from visits.models import Product, Visit
from visits.services.booking import book_visit
from visits.services.closing import close_visit
from visits.services.recording import (
    ContactGiven,
    FindingGiven,
    NotReachedGiven,
    ReadingGiven,
    TreatmentGiven,
    apply_treatment,
    record_finding,
    record_looks,
    record_not_reached,
    record_readings,
    start_visit,
)

STEP = timedelta(minutes=95)
FIRST = time(7, 45)

Amounts = Mapping[str, tuple[str, str, str]]
"""Remedies of the price list by their slugs, each with how much of it: least, likely, most."""


def _chosen(amounts: Amounts) -> list[Chosen]:
    found = Remedy.objects.in_bulk(list(amounts), field_name="slug")
    return [Chosen(found[slug], Range(*map(Decimal, amount))) for slug, amount in amounts.items()]


@dataclass
class Room:
    """A zone with what is looked at and read in it, in walking order."""

    zone: Zone
    checkpoints: list[Checkpoint]
    monitors: list[Monitor]


@dataclass(frozen=True)
class Applied:
    """A treatment in the words of the demo; times follow from the visit."""

    room: str
    product: str
    target: str
    method: str
    place: str
    amount: str
    area: str
    area_unit: str
    equipment: str
    situation: str
    dilution: str
    precautions: str
    cautions: tuple[str, ...] = ()
    station: UUID | None = None
    explanation: str = ""


@dataclass
class Walk:
    """What is recorded on one visit."""

    shows: dict[UUID, Showing] = field(default_factory=dict)
    findings: list[FindingGiven] = field(default_factory=list)
    not_reached: list[NotReachedGiven] = field(default_factory=list)
    treatments: list[Applied] = field(default_factory=list)
    summary: str = ""


class Diary:
    """When each technician is free: nobody is at two sites at once."""

    def __init__(self) -> None:
        self._taken: dict[tuple[UUID, date], int] = {}

    def next_time(self, technician: User, day: date) -> time:
        """The next free start on a day, local time; an hour and a half after the one before."""
        key = (technician.pk, day)
        number = self._taken.get(key, 0)
        self._taken[key] = number + 1
        return (datetime.combine(day, FIRST) + min(number, 8) * STEP).time()


class Proofs:
    """Passwords take a third of a second each by design: everybody is made sure of once a load."""

    def __init__(self, known: Mapping[UUID, Proof]) -> None:
        self._known = known

    def of(self, person: User) -> Proof:
        return self._known[person.pk]


@dataclass
class Desk:
    """One site, its people, and the hands that do the work there."""

    now: datetime
    cast: Cast
    products: dict[str, Product]
    shelf: Shelf
    proofs: Proofs
    diary: Diary
    manager: User
    spec: DemoSite
    site: Site
    rooms: dict[str, Room]
    contact: tuple[str, str]
    rng: Random
    _photos: dict[str, Photo] = field(default_factory=dict)

    @property
    def today(self) -> date:
        return self.site.day_of(self.now)

    @property
    def technician(self) -> User:
        return self.cast.technicians[self.spec.technician]

    def instant(self, ago: int, hour: int = 10, minute: int = 0) -> datetime:
        """So many days before today by the site's own clock; never later than now."""
        day = self.today - timedelta(days=ago)
        at = datetime.combine(day, time(hour, minute), tzinfo=self.site.zone_info)
        return min(at, self.now)

    def photo(self, motif: str) -> Photo:
        """A drawing of something at this site; the same one each time it is asked for."""
        if motif not in self._photos:
            data = pictures.photo(motif, Random(f"{self.spec.reference} {motif}"))
            self._photos[motif] = add_photo(self.site.pk, by=self.cast.coordinator, data=data)
        return self._photos[motif]

    def place(self, room: str, words: str) -> Checkpoint:
        """The checkpoint of a zone whose label has these words in it, or the zone's first."""
        found = self.rooms[room].checkpoints
        return next((one for one in found if words in one.label.casefold()), found[0])

    def monitors(self, kind: str, *rooms: str) -> list[Monitor]:
        """The monitors of a kind in some zones, by number."""
        return [one for name in rooms for one in self.rooms[name].monitors if one.kind == kind]

    # --- a visit ----------------------------------------------------------------------------------

    def ordinary_walk(self, day: date) -> Walk:
        """What a round shows when nothing special happens."""
        walk = Walk(summary=self.rng.choice(history.SUMMARIES))
        for room in self.rooms.values():
            for monitor in room.monitors:
                walk.shows[monitor.pk] = history.ordinary(
                    monitor.kind, room.zone.kind, day, self.rng
                )
        return walk

    def make(self, visit: Visit, day: date, walk: Walk) -> Visit:
        """Book, walk and close a visit on a day in the past, and raise what it asks for."""
        technician = self.technician
        at = self.diary.next_time(technician, day)
        visit = book_visit(
            visit.pk,
            by=self.cast.coordinator,
            technician=technician,
            day=day,
            time=at,
            despite_access=True,
        )
        begun = datetime.combine(day, at, tzinfo=self.site.zone_info)
        read = begun + timedelta(minutes=20)
        closed = begun + timedelta(minutes=35 + len(self.rooms) * 4 + self.rng.randrange(9))
        start_visit(visit.pk, by=technician, at=begun)
        shut = {one.zone_id for one in walk.not_reached if one.zone_id}
        said = {one.checkpoint_id for one in walk.findings}
        said |= {one.checkpoint_id for one in walk.not_reached}
        looked = [
            checkpoint.pk
            for room in self.rooms.values()
            if room.zone.pk not in shut
            for checkpoint in room.checkpoints
            if checkpoint.pk not in said
        ]
        if walk.shows:
            record_looks(visit.pk, by=technician, at=read, checkpoint_ids=looked)
            self._read(visit, read, walk, shut)
        for finding in walk.findings:
            record_finding(visit.pk, by=technician, at=read, finding=finding)
        for one in walk.not_reached:
            record_not_reached(visit.pk, by=technician, at=read, not_reached=one)
        for applied in walk.treatments:
            self._treat(visit, read, applied)
        visit = close_visit(
            visit.pk,
            by=technician,
            at=closed,
            received_at=closed + timedelta(minutes=self.rng.randrange(1, 50)),
            contact=self._contact(walk.summary),
        )
        if walk.findings or walk.not_reached:
            raise_actions_of_visit(visit.pk)
        return visit

    def _read(self, visit: Visit, at: datetime, walk: Walk, shut: set[UUID]) -> None:
        readings = [
            ReadingGiven(
                monitor_id=monitor.pk,
                condition=shown.condition,
                counts=shown.counts,
                bait_taken=shown.bait,
                bait_taken_g=Decimal(shown.taken_g) if shown.taken_g else None,
                bait_lifted_g=Decimal(shown.lifted_g) if shown.lifted_g else None,
                renewed=shown.renewed,
            )
            for room in self.rooms.values()
            if room.zone.pk not in shut
            for monitor in room.monitors
            if (shown := walk.shows.get(monitor.pk))
        ]
        record_readings(visit.pk, by=self.technician, at=at, readings=readings)

    def _treat(self, visit: Visit, at: datetime, applied: Applied) -> None:
        day = self.site.day_of(at)
        label = self.shelf.label(applied.product, day)
        rate = self.shelf.rate(label, applied.area_unit)
        apply_treatment(
            visit.pk,
            by=self.technician,
            at=at,
            treatment=TreatmentGiven(
                zone_id=self.rooms[applied.room].zone.pk,
                monitor_id=applied.station,
                product_id=self.products[applied.product].pk,
                target=applied.target,
                method=applied.method,
                place=applied.place,
                amount=Decimal(applied.amount),
                started_at=at,
                finished_at=at + timedelta(minutes=10),
                label_id=label.pk,
                rate_id=rate.pk if rate else None,
                batch_number=self.shelf.batch(applied.product, day, self.rng.randrange(1000, 9999)),
                equipment=applied.equipment,
                situation=applied.situation,
                dilution=applied.dilution,
                area=Decimal(applied.area),
                area_unit=applied.area_unit,
                precautions=applied.precautions,
                cautions_confirmed=applied.cautions,
                explanation=applied.explanation,
            ),
        )

    def _contact(self, summary: str) -> ContactGiven:
        name, job = self.contact
        if self.rng.random() < 0.1:
            return ContactGiven(summary=summary, no_signature_reason=history.UNSIGNED)
        return ContactGiven(
            contact_name=name, contact_job_title=job, summary=summary, signature_typed=name
        )

    # --- an action --------------------------------------------------------------------------------

    def action_of(self, visit: Visit, title: str) -> CorrectiveAction:
        """The action with this title that a visit has raised."""
        return CorrectiveAction.objects.get(visit=visit, title=title)

    def price(self, action: CorrectiveAction, ago: int, lasting: Sequence[str]) -> None:
        """Put lasting work and carrying on treating to the client.

        ``lasting``: words, cost now, cost each month; then the same of carrying on.
        """
        words, once, monthly, carry_words, carry_monthly = lasting
        price_action(
            action.pk,
            by=self.cast.coordinator,
            at=self.instant(ago, 11),
            options=(
                OptionGiven(
                    ActionOption.Kind.LASTING,
                    words,
                    Decimal(once),
                    Decimal(monthly),
                    10,
                    "Little, as long as nothing new is led through.",
                    cost_once_low=Decimal(once) * Decimal("0.85"),
                    cost_once_high=Decimal(once) * Decimal("1.3"),
                    life_years_low=6,
                    life_years_high=15,
                    effect_percent=70,
                    effect_basis=ActionOption.Basis.ASSUMPTION,
                    effect_words="It is the only way in that was found. Demo figures.",
                ),
                OptionGiven(
                    ActionOption.Kind.CARRY_ON,
                    carry_words,
                    Decimal(0),
                    Decimal(carry_monthly),
                    None,
                    "They come back between visits; numbers can rise again.",
                ),
            ),
        )

    def work_out(
        self,
        action: CorrectiveAction,
        ago: int,
        *,
        lasting: Amounts,
        interim: Amounts,
        effects: tuple[tuple[int, str], tuple[int, str]],
    ) -> None:
        """Put options to the client that are worked out from the price list and the record.

        ``effects``: what lasting work and the interim fix are to save in percent, and why.
        """
        now, by = self.instant(ago, 11), self.cast.coordinator
        (percent, words), (for_a_time, why) = effects
        wanted = Wanted(
            lasting=WayWanted(_chosen(lasting), 1, percent, words),
            interim=WayWanted(_chosen(interim), 1, for_a_time, why),
            visit_price=agreed_prices(self.site, self.site.day_of(now))[0],
        )
        drafts = drafted(action, wanted, by=by, now=now)
        given = with_workings([OptionGiven(**one.fields) for one in drafts], drafts)
        price_action(action.pk, by=by, at=now, options=given)

    def decide(self, action: CorrectiveAction, ago: int, *, declined: str = "") -> None:
        """The client's manager goes ahead with the lasting work, or declines with a reason."""
        sheet = sheet_of(CorrectiveAction.objects.get(pk=action.pk))
        decide_action(
            action.pk,
            by=self.manager,
            revision=sheet.action.revision,
            shown_hash=sheet.hash,
            outcome=Decision.Outcome.DECLINED if declined else Decision.Outcome.GO_AHEAD,
            option_id=None if declined else sheet.options[0].pk,
            reason=declined,
            proof=self.proofs.of(self.manager),
            at=self.instant(ago, 15),
        )

    def report(
        self,
        action: CorrectiveAction,
        ago: int,
        *,
        by: User,
        note: str,
        motif: str = "",
        gaps: Sequence[GapGiven] = (),
    ) -> None:
        """The work is reported done, with a drawing of it where ``motif`` says so."""
        photos = [self.photo(motif).pk] if motif else []
        report_done(
            action.pk, by=by, note=note, photo_ids=photos, gaps=gaps, at=self.instant(ago, 16)
        )

    def accept(self, action: CorrectiveAction, ago: int) -> None:
        """The client's manager signs that the work is accepted as it was reported."""
        done = CorrectiveAction.objects.select_related("done_by").get(pk=action.pk)
        accept_work(
            action.pk,
            by=self.manager,
            shown_hash=done_hash(done_facts(done)),
            proof=self.proofs.of(self.manager),
            at=self.instant(ago, 16),
        )

    def check(self, action: CorrectiveAction, ago: int, note: str = "") -> None:
        """The office has looked at the finished work and signs that it is sound."""
        by = self.cast.coordinator
        check_action(
            action.pk, by=by, note=note, proof=self.proofs.of(by), at=self.instant(ago, 17)
        )
