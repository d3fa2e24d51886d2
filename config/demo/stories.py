"""What goes wrong in Port Marlow, and what is done about it: one story a site.

Rounds are counted back: 1 is the last one made. Days are counted back from the day of the load, so
that the demo is as fresh in a year as today; what follows the seasons follows the calendar.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise
from uuid import UUID

from compliance.models import CorrectiveAction
from compliance.services.actions import raise_action
from compliance.services.gaps import GapGiven
from config.demo import history
from config.demo.desk import Applied, Desk, Walk
from config.demo.history import Showing
from sites.models import Height, Monitor
from visits.models import (
    Finding,
    NotReached,
    Reading,
    RemedyKind,
    Treatment,
    Visit,
    WhoseMove,
)
from visits.services.booking import ask_call_out, take_call_out
from visits.services.recording import FindingGiven, NotReachedGiven

_M = Treatment.Method
_U = Treatment.AreaUnit
_F = Finding.Kind


@dataclass(frozen=True)
class Extra:
    """A visit beside the rounds: its kind, how many days ago, and why."""

    ago: int
    kind: str
    note: str


class Story:
    """Nothing goes wrong."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def extras(self) -> Sequence[Extra]:
        """Visits beside the rounds."""
        return ()

    def on_round(self, walk: Walk, back: int, ago: int, day: date) -> None:
        """Change what a round shows."""

    def after_round(self, visit: Visit, back: int, ago: int, day: date) -> None:
        """What follows from a round that was closed."""

    def on_extra(self, walk: Walk, extra: Extra) -> None:
        """What a visit beside the rounds records; it reads no monitors unless told so here."""

    def after_extra(self, visit: Visit, extra: Extra) -> None:
        """What follows from a visit beside the rounds."""

    def at_end(self) -> None:
        """What happens last, after all visits were made."""


def between(points: Sequence[tuple[int, float]], ago: int) -> float:
    """A value between points of (days ago, value), the oldest first, along straight lines."""
    for (older, was), (newer, becomes) in pairwise(points):
        if older >= ago >= newer:
            return was + (becomes - was) * (older - ago) / (older - newer)
    return points[-1][1] if ago < points[-1][0] else points[0][1]


class Ovens(Story):
    """German cockroaches build up behind the ovens until the pipe chase is sealed and gel placed.

    Proofing alone or gel alone would not have done: numbers fall once both are done.
    """

    numbers = (
        (430, 0.0),
        (330, 0.3),
        (280, 2.0),
        (252, 5.0),
        (224, 11.0),
        (196, 19.0),
        (182, 15.0),
        (168, 8.0),
        (140, 3.0),
        (112, 1.0),
        (84, 0.2),
        (0, 0.0),
    )
    share = (1.0, 0.8, 0.5, 0.3, 0.15, 0.1, 0.05, 0.05, 0.02)
    gel = Applied(
        "Oven hall",
        "Demo gel 0.5",
        "german-cockroach",
        _M.GEL,
        "Hinges and motor housings behind the deck ovens, away from heat",
        "4.8",
        "24",
        _U.POINT,
        "Bait gun",
        "Painted steel",
        "Ready to use, 0.2 g a point",
        "Head baker told to leave the points alone and not to spray near them.",
    )
    dust = Applied(
        "Oven hall",
        "Demo dust P",
        "german-cockroach",
        _M.DUST_BY_HAND,
        "Inside the pipe chase before it was closed",
        "6",
        "3",
        _U.SQUARE_METRE,
        "Hand duster",
        "Masonry void",
        "Ready to use, 2 g/m²",
        "Fans off, light fittings covered, nobody in the hall for an hour.",
        ("food",),
    )

    def extras(self) -> Sequence[Extra]:
        return (
            Extra(210, Visit.Kind.FOLLOW_UP, "Gel behind the ovens, two weeks on."),
            Extra(189, Visit.Kind.PROOFING, "Seal the pipe chase. Ovens off from 14:00."),
            Extra(182, Visit.Kind.FOLLOW_UP, "Gel again now that the chase is closed."),
        )

    def on_round(self, walk: Walk, back: int, ago: int, day: date) -> None:
        self._catch(walk, ago)
        if ago in {252, 224, 196}:
            walk.treatments.append(self.gel)
            walk.findings.append(
                FindingGiven(
                    zone_id=self.desk.rooms["Oven hall"].zone.pk,
                    checkpoint_id=self.desk.place("Oven hall", "motor").pk,
                    kind=_F.LIVE_PESTS,
                    pest="german-cockroach",
                    count=round(between(self.numbers, ago) * 1.5),
                    urgency=Finding.Urgency.NOW,
                    place="Behind the deck ovens, left side",
                    note="Nymphs and adults in the motor housings; egg cases under the lip.",
                )
            )
        if ago == 224:
            walk.findings.append(
                FindingGiven(
                    zone_id=self.desk.rooms["Oven hall"].zone.pk,
                    checkpoint_id=self.desk.place("Oven hall", "pipe").pk,
                    kind=_F.ENTRY_POINT,
                    pest="german-cockroach",
                    place="Pipe chase behind the ovens",
                    note="The chase is open at both ends and warm; droppings all along its edge.",
                    remedy_kind=RemedyKind.PROOFING,
                    remedy="Seal the pipe chase behind the ovens",
                    whose_move=WhoseMove.US,
                    photo_ids=[self.desk.photo("chase").pk],
                )
            )
        if back == 1:
            walk.treatments.append(
                replace(
                    self.gel,
                    amount="9.6",
                    dilution="0.4 g a point by mistake",
                    explanation=(
                        "The bait gun was set to twice the amount; seen after the last point. What "
                        "was too much was wiped off again, and the gun is set back."
                    ),
                )
            )
        if 0 < ago <= 140:
            walk.summary = (
                "Round made. Counts behind the ovens keep falling since the chase is closed."
            )

    def _catch(self, walk: Walk, ago: int) -> None:
        traps = self.desk.monitors(Monitor.Kind.STICKY, "Oven hall")
        for trap, share in zip(traps, self.share, strict=False):
            count = history.about(between(self.numbers, ago) * share, self.desk.rng)
            counts = {"german-cockroach": count} if count else {}
            walk.shows[trap.pk] = Showing(counts, renewed=count > 3)

    def after_round(self, visit: Visit, back: int, ago: int, day: date) -> None:
        if ago != 224:
            return
        action = self.desk.action_of(visit, "Seal the pipe chase behind the ovens")
        self.desk.price(
            action,
            217,
            (
                "Close the chase at both ends with steel mesh and mortar; collars on the pipes.",
                "1450",
                "0",
                "Gel in and round the chase on every visit, with an extra visit a month.",
                "165",
            ),
        )
        self.desk.decide(action, 206)

    def on_extra(self, walk: Walk, extra: Extra) -> None:
        if extra.kind == Visit.Kind.PROOFING:
            walk.treatments.append(self.dust)
            walk.summary = "Dust film in the chase, then both ends closed with mesh and mortar."
            return
        walk.treatments.append(self.gel)
        walk.summary = "Gel placed again behind the ovens; sticky traps there read."
        self._catch(walk, extra.ago)

    def after_extra(self, visit: Visit, extra: Extra) -> None:
        if extra.kind == Visit.Kind.PROOFING:
            action = self.desk.site.actions.get(kind=RemedyKind.PROOFING)
            self.desk.report(
                action,
                189,
                by=self.desk.technician,
                note="Chase closed at both ends, collars on all three pipes.",
                motif="sealed",
                gaps=[
                    gap("Chase at the oven wall", "Mesh and mortar", "60", "0", "other"),
                    gap("Collars of the three pipes", "Steel collars", "14", "0.5", "other"),
                ],
            )
            self.desk.accept(action, 188)
            self.desk.check(action, 168, "Mortar whole, no gap at the collars.")


def gap(place: str, material: str, before_mm: str, after_mm: str, risk: str) -> GapGiven:
    """A gap that the work closed."""
    return GapGiven(place, material, Decimal(before_mm), Decimal(after_mm), risk)


class Rats(Story):
    """Rats come to the grain dock each autumn until a bristle strip is fitted.

    Bait was lifted after the seasons before; since the strip it has been left lying, and nobody has
    written down why.
    """

    fitted_after = 16
    full_g = 40
    bait = Applied(
        "Grain dock",
        "Demo bait block",
        "brown-rat",
        _M.BAIT_STATION,
        "Locked station at the dock wall",
        "40",
        "1",
        _U.POINT,
        "By hand, gloved",
        "Locked station",
        "40 g a station",
        "Stations locked and numbered; dock staff told to keep them in place.",
        ("bait_stations",),
    )

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        rounds = [ago for ago in range(56, 421, 28) if self._is_onset(ago)]
        self.found_ago = min(rounds)
        self.lies: dict[UUID, int] = {}

    def _day(self, ago: int) -> date:
        return self.desk.today - timedelta(days=ago)

    def _is_onset(self, ago: int) -> bool:
        day = self._day(ago)
        return (9, 10) <= (day.month, day.day) <= (10, 31)

    def extras(self) -> Sequence[Extra]:
        ago = self.found_ago - self.fitted_after
        return (Extra(ago, Visit.Kind.PROOFING, "Fit the bristle strip under the dock door."),)

    def on_round(self, walk: Walk, back: int, ago: int, day: date) -> None:
        fitted = ago < self.found_ago - self.fitted_after
        season = day.month in {9, 10, 11} and (day.month, day.day) >= (9, 10)
        if fitted or not season:
            if not fitted:
                self._lift(walk)
            return
        dock = self.desk.rooms["Grain dock"]
        stations = self.desk.monitors(Monitor.Kind.BAIT_STATION, "Grain dock", "Perimeter")
        for number, station in enumerate(stations):
            bait = Reading.Bait.ALL if number < 3 else Reading.Bait.PART
            if number < 7 or self.desk.rng.random() < 0.4:
                walk.shows[station.pk] = Showing({}, bait, renewed=True)
        self._bait(walk)
        for trap in self.desk.monitors(Monitor.Kind.SNAP_TRAP, "Grain dock"):
            walk.shows[trap.pk] = Showing({"brown-rat": 1}, renewed=True)
        walk.findings.append(
            FindingGiven(
                zone_id=dock.zone.pk,
                checkpoint_id=self.desk.place("Grain dock", "wall").pk,
                kind=_F.SIGNS,
                pest="brown-rat",
                urgency=Finding.Urgency.NOW,
                place="Along the dock wall and under the pallets",
                note="Fresh droppings, rub marks at the door frame, two gnawed sacks.",
            )
        )
        walk.summary = "Rats at the grain dock. Stations filled again; two traps caught."
        if ago == self.found_ago:
            walk.findings.append(
                FindingGiven(
                    zone_id=dock.zone.pk,
                    checkpoint_id=dock.checkpoints[-1].pk,
                    kind=_F.ENTRY_POINT,
                    pest="brown-rat",
                    place="Foot of the dock door",
                    note="A hand fits under the door along its whole width.",
                    remedy_kind=RemedyKind.PROOFING,
                    remedy="Fit a bristle strip under the dock door",
                    whose_move=WhoseMove.US,
                    photo_ids=[self.desk.photo("gap").pk],
                )
            )

    def _bait(self, walk: Walk) -> None:
        """Weigh what is left at each station of the dock, and fill it up to what the label says."""
        for station in self.desk.monitors(Monitor.Kind.BAIT_STATION, "Grain dock"):
            shown = walk.shows[station.pk]
            left = self.lies.get(station.pk, 0)
            taken = left if shown.bait == Reading.Bait.ALL else left // 2
            if left:
                walk.shows[station.pk] = replace(shown, taken_g=str(taken))
            laid = self.full_g - left + taken
            self.lies[station.pk] = self.full_g
            if laid:
                walk.treatments.append(
                    replace(
                        self.bait,
                        station=station.pk,
                        place=f"Locked station {station.number} at the dock wall",
                        amount=str(laid),
                    )
                )

    def _lift(self, walk: Walk) -> None:
        """After the season what is left is taken out again."""
        for station_id, left in self.lies.items():
            walk.shows[station_id] = Showing(
                {}, Reading.Bait.NONE, renewed=True, taken_g="0", lifted_g=str(left)
            )
        self.lies.clear()

    def after_round(self, visit: Visit, back: int, ago: int, day: date) -> None:
        if ago != self.found_ago:
            return
        action = self.desk.action_of(visit, "Fit a bristle strip under the dock door")
        self.desk.price(
            action,
            ago - 4,
            (
                "Steel-backed bristle strip over the whole width of the dock door.",
                "620",
                "0",
                "Bait in the dock every two weeks from September to December.",
                "95",
            ),
        )
        self.desk.decide(action, ago - 9)

    def on_extra(self, walk: Walk, extra: Extra) -> None:
        walk.summary = "Bristle strip fitted, door closes light-tight. Stations left in place."

    def after_extra(self, visit: Visit, extra: Extra) -> None:
        action = self.desk.site.actions.get(kind=RemedyKind.PROOFING)
        self.desk.report(
            action,
            extra.ago,
            by=self.desk.technician,
            note="Strip fitted over the whole width; no light under the door.",
            motif="bristles",
            gaps=[gap("Under the dock door", "Bristle strip with a steel core", "45", "5", "rat")],
        )
        self.desk.accept(action, max(extra.ago - 3, 1))
        self.desk.check(action, max(extra.ago - 12, 1), "No light under the closed door.")


class Moths(Story):
    """Indian meal moths in the flour room, until the old flour is thrown out."""

    numbers = ((430, 0.5), (300, 1.0), (230, 6.0), (180, 14.0), (150, 9.0), (110, 3.0), (0, 0.5))

    def on_round(self, walk: Walk, back: int, ago: int, day: date) -> None:
        for trap in self.desk.monitors(Monitor.Kind.PHEROMONE, "Flour room"):
            count = history.about(between(self.numbers, ago), self.desk.rng)
            counts = {"indian-meal-moth": count} if count else {}
            walk.shows[trap.pk] = Showing(counts, renewed=count > 5)
        if back == 7:
            walk.findings.append(
                FindingGiven(
                    zone_id=self.desk.rooms["Flour room"].zone.pk,
                    checkpoint_id=self.desk.place("Flour room", "stock").pk,
                    kind=_F.LIVE_PESTS,
                    pest="indian-meal-moth",
                    count=20,
                    place="Two opened sacks at the back",
                    note="Webbing and larvae; the sacks are older than the label allows.",
                    remedy_kind=RemedyKind.HOUSEKEEPING,
                    remedy="Throw out the infested flour and clean the shelving",
                    whose_move=WhoseMove.CLIENT,
                    photo_ids=[self.desk.photo("sacks").pk],
                )
            )

    def after_round(self, visit: Visit, back: int, ago: int, day: date) -> None:
        if back == 7:
            action = self.desk.action_of(
                visit, "Throw out the infested flour and clean the shelving"
            )
            self.desk.report(
                action,
                ago - 6,
                by=self.desk.manager,
                note="Twelve sacks out, shelves vacuumed and wiped, first in, first out from now.",
                motif="clean",
            )
            self.desk.check(action, ago - 28, "No webbing left.")


class Flies(Story):
    """Flies at the fish market every summer."""

    paste = Applied(
        "Waste area",
        "Demo fly paste",
        "house-fly",
        _M.SPOT,
        "Behind the skips, above reach",
        "24",
        "12",
        _U.POINT,
        "Brush",
        "Concrete wall",
        "2 g a point",
        "Market staff told; points out of reach of the public.",
    )

    def on_round(self, walk: Walk, back: int, ago: int, day: date) -> None:
        mean = 2 + 46 * history.warmth(day) ** 2
        for trap in self.desk.monitors(
            Monitor.Kind.FLY_LIGHT, "Market hall", "Filleting room", "Waste area"
        ):
            count = history.about(mean * (0.6 + 0.8 * self.desk.rng.random()), self.desk.rng)
            walk.shows[trap.pk] = Showing({"house-fly": count}, renewed=count > 30)
        if day.month in {6, 7, 8}:
            walk.treatments.append(self.paste)
            walk.findings.append(
                FindingGiven(
                    zone_id=self.desk.rooms["Waste area"].zone.pk,
                    checkpoint_id=self.desk.rooms["Waste area"].checkpoints[0].pk,
                    kind=_F.LIVE_PESTS,
                    pest="house-fly",
                    count=round(mean * 2),
                    place="Round the offal skips",
                    note="Skips full and open in the sun.",
                    remedy_kind=RemedyKind.HOUSEKEEPING if day.month == 7 else "",
                    remedy="Empty the offal skips daily from June to August"
                    if day.month == 7
                    else "",
                    whose_move=WhoseMove.CLIENT if day.month == 7 else "",
                    photo_ids=[self.desk.photo("bins").pk],
                )
            )
            walk.summary = (
                "Flies high, as every summer. Paste behind the skips; light traps renewed."
            )

    def after_round(self, visit: Visit, back: int, ago: int, day: date) -> None:
        for action in self.desk.site.actions.filter(visit=visit).order_by("number"):
            if ago > 20:
                self.desk.report(
                    action,
                    ago - 8,
                    by=self.desk.manager,
                    note="Daily collection agreed with the harbour office until September.",
                    motif="clean",
                )
                self.desk.check(action, ago - 18)


class Locked(Story):
    """A plant room nobody can enter for three months: the key is with another tenant."""

    def on_round(self, walk: Walk, back: int, ago: int, day: date) -> None:
        if back <= 3:
            walk.not_reached.append(
                NotReachedGiven(
                    reason=NotReached.Reason.LOCKED,
                    whose_move=WhoseMove.THIRD_PARTY,
                    zone_id=self.desk.rooms["Plant room"].zone.pk,
                    note="The key is with the print workshop upstairs, who were away again.",
                )
            )
            walk.summary = (
                "Round made, except the plant room: locked, the key is with another tenant."
            )

    def at_end(self) -> None:
        raise_action(
            self.desk.site.pk,
            by=self.desk.cast.coordinator,
            kind=RemedyKind.ACCESS,
            title="Get a second key of the plant room from the print workshop",
            detail="Nobody has seen the plant room for three months; five monitors stand in it.",
            whose_move=WhoseMove.THIRD_PARTY,
            due_on=self.desk.today - timedelta(days=9),
            zone_id=self.desk.rooms["Plant room"].zone.pk,
            at=self.desk.instant(40),
            internal_note="Cyril rang the workshop twice; ask the museum to write to them.",
        )


class Proofing(Story):
    """A gap is found on one round, and put to the client."""

    back = 1
    room, words = "Cellar", "Cellar hatch"
    remedy = "Fit a brush seal to the cellar hatch"
    lasting = (
        "Brush seal and a steel kick plate on both leaves of the hatch.",
        "480",
        "0",
        "Extra traps in the cellar, read every two weeks.",
        "60",
    )

    def on_round(self, walk: Walk, back: int, ago: int, day: date) -> None:
        if back == self.back:
            walk.findings.append(
                FindingGiven(
                    zone_id=self.desk.rooms[self.room].zone.pk,
                    checkpoint_id=self.desk.rooms[self.room].checkpoints[0].pk,
                    height=Height.LOW,
                    kind=_F.ENTRY_POINT,
                    pest="house-mouse",
                    place=self.words,
                    note="A pencil passes under it; rub marks on the frame.",
                    remedy_kind=RemedyKind.PROOFING,
                    remedy=self.remedy,
                    whose_move=WhoseMove.US,
                    photo_ids=[self.desk.photo("gap").pk],
                )
            )

    def after_round(self, visit: Visit, back: int, ago: int, day: date) -> None:
        if back == self.back:
            self.price(self.desk.action_of(visit, self.remedy), max(ago - 4, 1))
            self.after_price(ago)

    def price(self, action: CorrectiveAction, ago: int) -> None:
        """Put the ways to answer it to the client."""
        self.desk.price(action, ago, self.lasting)

    def after_price(self, ago: int) -> None:
        """What the client says."""


class Declined(Proofing):
    """A seal that the client turns down, with the reason."""

    back = 4

    def after_price(self, ago: int) -> None:
        action = self.desk.site.actions.get(kind=RemedyKind.PROOFING)
        self.desk.decide(
            action,
            ago - 13,
            declined="The landlord replaces the whole hatch in spring; until then carry on.",
        )


class Ordered(Proofing):
    """A seal that the client orders these days; and a call-out that was just asked for."""

    def after_price(self, ago: int) -> None:
        self.desk.decide(self.desk.site.actions.get(kind=RemedyKind.PROOFING), 2)

    def at_end(self) -> None:
        ask_call_out(
            self.desk.site.pk,
            by=self.desk.manager,
            at=self.desk.now - timedelta(hours=3),
            problem="A guest saw a mouse in the breakfast room this morning.",
        )


class Waiting(Proofing):
    """A seal that waits for the client's decision, a call-out that was answered in time, and flies
    whose treatment asks for a look before the next round.
    """

    paste = Applied(
        "Delivery door",
        "Demo fly paste",
        "fruit-fly",
        _M.SPOT,
        "Beside the bins at the rear door, above reach",
        "10",
        "6",
        _U.POINT,
        "Brush",
        "Painted wall",
        "Up to 2 g a point",
        "Shop staff told to leave the points alone.",
    )

    room, words = "Delivery door", "Foot of the rear door"
    remedy = "Fit a threshold and bristle strip to the rear door"

    def on_round(self, walk: Walk, back: int, ago: int, day: date) -> None:
        super().on_round(walk, back, ago, day)
        if back == self.back:
            walk.treatments.append(self.paste)

    def price(self, action: CorrectiveAction, ago: int) -> None:
        """Worked out from the price list and from what the door has cost in a year."""
        self.desk.work_out(
            action,
            ago,
            lasting={"base-plate": ("1", "1", "1"), "mesh-and-cement": ("2", "3", "5")},
            interim={"wool-plug": ("2", "3", "5"), "sticky-traps": ("4", "4", "4")},
            effects=(
                (80, "The rub marks lead to this door alone; an assumption of the demo."),
                (40, "Wool holds for some weeks; an assumption of the demo."),
            ),
        )

    def extras(self) -> Sequence[Extra]:
        return (
            Extra(157, Visit.Kind.CALL_OUT, "Gnawed flour bags beside the rear door."),
            Extra(43, Visit.Kind.CALL_OUT, "Mouse seen behind the counter before opening."),
        )

    def on_extra(self, walk: Walk, extra: Extra) -> None:
        door = self.desk.rooms[self.room]
        walk.findings.append(
            FindingGiven(
                zone_id=door.zone.pk,
                checkpoint_id=door.checkpoints[0].pk,
                kind=_F.SIGNS,
                pest="house-mouse",
                place=self.words,
                note="Rub marks on the frame, a few fresh droppings; wetted and wiped up.",
            )
        )
        if extra.ago > 100:
            walk.summary = "Signs of mice at the rear door. Traps set there."
            return
        walk.findings.append(
            FindingGiven(
                zone_id=self.desk.rooms["Shop floor"].zone.pk,
                checkpoint_id=self.desk.rooms["Shop floor"].checkpoints[0].pk,
                kind=_F.SIGNS,
                pest="house-mouse",
                place="Behind the counter",
                note="A few fresh droppings under the till; droppings wetted and wiped up.",
            )
        )
        walk.summary = "Signs of one mouse. Traps set behind the counter; followed up next round."


class Overdue(Story):
    """Housekeeping long past its day, and options that nobody has answered for weeks."""

    def on_round(self, walk: Walk, back: int, ago: int, day: date) -> None:
        if back == 2:
            walk.findings.append(
                FindingGiven(
                    zone_id=self.desk.rooms["Kitchen"].zone.pk,
                    checkpoint_id=self.desk.place("Kitchen", "drain").pk,
                    kind=_F.CONDUCIVE,
                    place="Floor drain at the kettles",
                    note="Grating broken, food debris in the drain.",
                    remedy_kind=RemedyKind.HOUSEKEEPING,
                    remedy="Clean the floor drain and put the grating back",
                    whose_move=WhoseMove.CLIENT,
                    photo_ids=[self.desk.photo("bins").pk],
                )
            )

    def at_end(self) -> None:
        action = raise_action(
            self.desk.site.pk,
            by=self.desk.cast.coordinator,
            kind=RemedyKind.PROOFING,
            title="Screen the kitchen windows",
            detail="Windows stand open in service; flies come in from the yard.",
            whose_move=WhoseMove.US,
            due_on=self.desk.today + timedelta(days=20),
            zone_id=self.desk.rooms["Kitchen"].zone.pk,
            at=self.desk.instant(26),
        )
        self.desk.price(
            action,
            20,
            (
                "Framed insect screens on all four windows, washable.",
                "760",
                "5",
                "A second light trap, renewed on each round.",
                "40",
            ),
        )


class Done(Flies):
    """Housekeeping that the client has reported done and that waits to be checked."""

    def on_round(self, walk: Walk, back: int, ago: int, day: date) -> None:
        super().on_round(walk, back, ago, day)
        if back == 1:
            walk.findings.append(
                FindingGiven(
                    zone_id=self.desk.rooms["Ice store"].zone.pk,
                    checkpoint_id=self.desk.rooms["Ice store"].checkpoints[0].pk,
                    kind=_F.CONDUCIVE,
                    place="Corner behind the door",
                    note="Old crates and packaging kept behind the door.",
                    remedy_kind=RemedyKind.HOUSEKEEPING,
                    remedy="Clear the crates behind the ice store door",
                    whose_move=WhoseMove.CLIENT,
                    photo_ids=[self.desk.photo("sacks").pk],
                )
            )

    def after_round(self, visit: Visit, back: int, ago: int, day: date) -> None:
        super().after_round(visit, back, ago, day)
        if back == 1:
            action = self.desk.action_of(visit, "Clear the crates behind the ice store door")
            self.desk.report(
                action,
                2,
                by=self.desk.manager,
                note="Crates gone, corner washed down.",
                motif="clean",
            )


STORIES: dict[str, type[Story]] = {
    "": Story,
    "ovens": Ovens,
    "rats": Rats,
    "moths": Moths,
    "flies": Flies,
    "locked": Locked,
    "declined": Declined,
    "ordered": Ordered,
    "waiting": Waiting,
    "overdue": Overdue,
    "done": Done,
}


def call_out_of(desk: Desk, extra: Extra) -> Visit:
    """Take the call-out that a story tells of."""
    return take_call_out(
        desk.site.pk,
        by=desk.cast.coordinator,
        reported_at=desk.instant(extra.ago, 7),
        problem=extra.note,
        reported_by=desk.contact[0],
    )
