"""Loading the demo: fourteen months of a company's work, written by its services in order.

Everything is counted from the day of the load. The same seed tells the same words; identifiers and
label codes are random in every installation.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import partial
from random import Random
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import Client, User
from accounts.refusals import WrongState
from compliance.services.actions import withdraw_action
from compliance.services.flags import reconcile_flags
from compliance.services.looks import record_looks
from compliance.services.money_terms import TermsGiven, set_money_terms
from compliance.services.ordered_work import plan_ordered_work
from compliance.services.signing import prove_by_password
from config.demo import cast, cupboard, history, papers, pictures, reviewing, town
from config.demo.cast import PASSPHRASE, Cast
from config.demo.desk import Desk, Diary, Proofs, Room, Walk
from config.demo.prices import price_list
from config.demo.stories import STORIES, Extra, Story, call_out_of
from config.demo.town import DemoClient, DemoSite
from sites.models import Document, Monitor, ServiceLine, Site
from sites.services.clients import add_client
from sites.services.contacts import add_contact
from sites.services.contracts import add_contract
from sites.services.documents import add_document
from sites.services.grants import issue_pass
from sites.services.monitors import mark_monitor, place_monitors
from sites.services.plans import add_plan
from sites.services.sites import Opening, add_site, set_access_windows
from sites.services.zones import add_zone, draw_zone
from visits.models import Product, ReadingCount, Visit
from visits.services.amendments import amend_visit
from visits.services.booking import add_visit, book_visit, call_off_visit, miss_visit
from visits.services.follow_ups_proposed import propose_follow_ups
from visits.services.lines import agree_service_line
from visits.services.planning import plan_due_visits, plan_lines
from visits.services.recording import FindingGiven, NotReachedGiven

SEED = "Port Marlow"
HISTORY_DAYS = 425
MONEY_TERMS = TermsGiven(
    yearly_rate=Decimal("0.04"),
    yearly_growth=Decimal("0.03"),
    years=5,
    basis="Demo figures, from nobody's books",
)
AHEAD_DAYS = 13
# Nobody came to this site for its last round: the office has something to catch up with.
LATE_SITE = "S011"
PHOTO_KINDS = {"proofing", "repair", "housekeeping"}
CONTACTS = (
    ("Perran Vosper", "Shift lead"),
    ("Lowena Trist", "Duty manager"),
    ("Caleb Hext", "Head chef"),
    ("Ysella Moor", "Premises manager"),
    ("Denzil Rowe", "Storekeeper"),
    ("Agnes Pryor", "Kitchen manager"),
)

Tell = Callable[[str], None]


@dataclass
class Loaded:
    """What was put on file, and who can sign in."""

    cast: Cast
    managers: dict[str, User]
    desks: list[Desk]


def load(
    *,
    now: datetime | None = None,
    wanted: Sequence[DemoSite] | None = None,
    seed: str = SEED,
    tell: Tell = lambda line: None,
) -> Loaded:
    """Put the demo, or the wanted sites of it, on file.

    Raises ``WrongState`` where somebody or some site is on file already.

    One transaction for the company and one for each site, so that a load that is cut short leaves
    whole sites; start it anew on an empty database.
    """
    if User.objects.exists() or Site.objects.exists():
        raise WrongState(
            "There are people or sites on file already. The demo is loaded into an empty database "
            "only: name another folder by KICKPLATE_DATA_DIR."
        )
    now = now or timezone.now()
    today = now.date()
    wanted = town.sites() if wanted is None else wanted
    with transaction.atomic():
        people = cast.company_and_people(today=today)
        products = cupboard.stock(
            by=people.coordinator, today=today, technicians=people.technicians
        )
        set_money_terms(MONEY_TERMS, by=people.coordinator, at=now - timedelta(days=HISTORY_DAYS))
        price_list(by=people.coordinator)
        clients, managers = _clients(wanted, people)
        _company_papers(people, products, today)
    tell(f"{len(clients)} clients, {len(people.technicians)} technicians, {len(products)} products")
    proofs = Proofs(
        {
            one.pk: prove_by_password(one, PASSPHRASE)
            for one in (people.coordinator, *managers.values())
        }
    )
    diary = Diary()
    shelf = cupboard.Shelf()
    desks = []
    for spec in wanted:
        with transaction.atomic():
            rng = Random(f"{seed} {spec.reference}")
            desk = _desk(
                spec,
                clients,
                people,
                products,
                managers,
                now=now,
                rng=rng,
                shelf=shelf,
                proofs=proofs,
                diary=diary,
            )
            line = _agree(desk)
            made = _Past(desk, line).tell()
            _ahead(desk)
        desks.append(desk)
        tell(f"{spec.reference} {spec.name}: {made} visits")
    with transaction.atomic():
        _auditor(people, desks)
        cupboard.count_up(by=people.coordinator, today=today)
    plan_due_visits(now=now)
    plan_ordered_work()
    tell(f"{propose_follow_ups(now=now)} follow-ups proposed")
    reviewed = reviewing.take_stock(desks, people, proofs.of(people.coordinator), now=now)
    tell(f"Counts judged, {reviewed} trend reviews signed")
    raised = reconcile_flags(now=now).raised
    tell(f"{raised} flags raised")
    return Loaded(people, managers, desks)


# --- who and where --------------------------------------------------------------------------------


def _clients(wanted: Sequence[DemoSite], people: Cast) -> tuple[dict[str, Client], dict[str, User]]:
    """The clients of the wanted sites and who decides for each; by reference."""
    clients, managers = {}, {}
    used = {spec.client for spec in wanted}
    for one in (client for client in town.CLIENTS if client in used):
        client = add_client(
            by=people.coordinator,
            reference=one.reference,
            name=one.name,
            address=f"{one.name}\nPort Marlow",
            billing_email=f"accounts@{one.domain}",
        )
        clients[one.reference] = client
        managers[one.reference] = cast.manager_of(
            client, email=manager_email(one), name=one.manager, by=people.administrator
        )
    return clients, managers


def manager_email(client: DemoClient) -> str:
    """By which address a client's manager signs in."""
    return f"{client.manager.split()[0].lower()}@{client.domain}"


def _desk(
    spec: DemoSite,
    clients: dict[str, Client],
    people: Cast,
    products: dict[str, Product],
    managers: dict[str, User],
    *,
    now: datetime,
    rng: Random,
    shelf: cupboard.Shelf,
    proofs: Proofs,
    diary: Diary,
) -> Desk:
    """The site on file with its zones, monitors and contact, and a desk to work from."""
    by = people.coordinator
    latitude, longitude = spec.position
    site = add_site(
        clients[spec.client.reference].pk,
        by=by,
        reference=spec.reference,
        name=spec.name,
        address=f"{spec.address}\nPort Marlow",
        postcode=f"PM{int(spec.reference[1:]) % 9 + 1} 0XX",
        latitude=latitude,
        longitude=longitude,
        access_note=f"Ask for the {spec.client.trade} manager at the side door. Sign the book.",
        hazards=spec.client.hazards,
    )
    set_access_windows(
        site.pk, by=by, windows=[Opening(day, time(6, 0), time(22, 0)) for day in range(7)]
    )
    contact = CONTACTS[int(spec.reference[1:]) % len(CONTACTS)]
    add_contact(
        site.pk,
        by=by,
        name=contact[0],
        job_title=contact[1],
        phone=f"01632 960{int(spec.reference[1:]) + 200}",
        is_premises_manager=True,
    )
    rooms = {}
    began_on = site.day_of(now) - timedelta(days=HISTORY_DAYS + 4)
    papers_from = began_on - timedelta(days=papers.PAPER_DAYS)
    for name, kind, runs in spec.client.layout:
        zone = add_zone(site.pk, by=by, name=name, kind=kind)
        monitors: list[Monitor] = []
        for monitor_kind, how_many in runs:
            monitors += place_monitors(
                zone.pk,
                by=by,
                kind=monitor_kind,
                placed_on=papers_from if papers.goes_back(monitor_kind, spec.story) else began_on,
                how_many=how_many,
                place=f"{name}, along the wall",
            )
        checkpoints = list(zone.checkpoints.order_by("walk_order", "pk"))
        rooms[name] = Room(zone, checkpoints, monitors)
    desk = Desk(
        now=now,
        cast=people,
        products=products,
        shelf=shelf,
        proofs=proofs,
        diary=diary,
        manager=managers[spec.client.reference],
        spec=spec,
        site=site,
        rooms=rooms,
        contact=contact,
        rng=rng,
    )
    if spec.has_plan:
        _draw(desk)
    if spec.story:
        _site_papers(desk)
    papers.type_off(desk, first=papers_from, last=began_on - timedelta(days=1), by=by)
    return desk


def _draw(desk: Desk) -> None:
    """Put a plan on file, outline the zones on it and mark where each monitor stands."""
    by = desk.cast.coordinator
    zones = [(room.zone.name, room.zone.kind) for room in desk.rooms.values()]
    drawing = pictures.floor_plan(desk.site.name, zones)
    plan = add_plan(desk.site.pk, by=by, title="Ground floor", data=drawing)
    for name, box in pictures.rooms(zones).items():
        room = desk.rooms[name]
        draw_zone(room.zone.pk, by=by, plan_id=plan.pk, corners=pictures.outline(box))
        for number, monitor in enumerate(room.monitors):
            x, y = pictures.place_in(box, number, len(room.monitors))
            mark_monitor(monitor.pk, by=by, plan_id=plan.pk, x=x, y=y)


def _company_papers(people: Cast, products: dict[str, Product], today: date) -> None:
    papers = (
        (Document.Kind.INSURANCE, "Public liability insurance", -324, 41),
        (Document.Kind.LICENCE, "Company registration for pest control", -600, 320),
        (Document.Kind.SAFETY_DATA_SHEET, "Safety data sheet, Demo gel 0.5", -200, None),
        (Document.Kind.LABEL, "Label, Demo gel 0.5", -200, None),
        (Document.Kind.SAFETY_DATA_SHEET, "Safety data sheet, Demo bait block", -200, None),
    )
    for kind, title, issued, expires in papers:
        _file(None, people, today, kind, title, issued, expires)


def _site_papers(desk: Desk) -> None:
    site = desk.site
    _file(site, desk.cast, desk.today, Document.Kind.RISK_ASSESSMENT, "Risk assessment", -150, 215)
    if desk.spec.has_plan:
        _file(site, desk.cast, desk.today, Document.Kind.SURVEY, "In-depth survey", -400, None)
        _file(site, desk.cast, desk.today, Document.Kind.CONTRACT, "Signed contract", -428, None)


def _file(
    home: Site | None,
    people: Cast,
    today: date,
    kind: str,
    title: str,
    issued: int,
    expires: int | None,
) -> None:
    words = f"For {home}" if home else "For every site"
    add_document(
        home,
        by=people.coordinator,
        data=pictures.paper(title, [words, "Fennimore & Tull Site Hygiene, Port Marlow"]),
        kind=kind,
        title=title,
        issued_on=today + timedelta(days=issued),
        expires_on=None if expires is None else today + timedelta(days=expires),
    )


# --- what was agreed ------------------------------------------------------------------------------


def _agree(desk: Desk) -> ServiceLine:
    """Contract and recurring rounds, planned as if agreed fourteen months ago."""
    spec, today, by = desk.spec, desk.today, desk.cast.coordinator
    contract = add_contract(
        desk.site.pk,
        by=by,
        number=f"K-{1000 + int(spec.reference[1:])}",
        starts_on=today - timedelta(days=HISTORY_DAYS + 4),
        scope=(
            "Cockroaches, rodents, flies and stored-product insects, indoors and along the outer "
            "walls. Birds and wood-boring insects are not part of it."
        ),
        response_hours=24,
        call_out_price=Decimal("85"),
        remind_days=7,
        remind_every_days=7,
        escalate_days=21,
        escalate_to=by,
    )
    due = rounds(spec, today)
    weekday = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")[due[0].weekday()]
    agreed_at = desk.instant(HISTORY_DAYS + 4, 9)
    line = agree_service_line(
        contract.pk,
        by=by,
        title="Routine inspection",
        rule=f"FREQ=WEEKLY;INTERVAL={spec.weeks};BYDAY={weekday}",
        first_on=due[0],
        minutes=60,
        days_before=3,
        days_after=3,
        price=Decimal("94"),
        preferred_technician=desk.technician,
        competences=[desk.cast.licence],
        now=agreed_at,
    )
    # The plan reaches 400 days; once more from half way, so that the last rounds are on it too.
    plan_lines([line.pk], by=by, now=agreed_at + timedelta(days=200))
    return line


def rounds(spec: DemoSite, today: date) -> list[date]:
    """The days on which rounds were due within the history, oldest first, today's included.

    A site without a round today is never due on a weekend.
    """
    last = today - timedelta(days=spec.phase)
    while spec.phase and last.weekday() > 4:
        last -= timedelta(days=1)
    step = timedelta(weeks=spec.weeks)
    if last + step < today:
        last += step
    how_many = (HISTORY_DAYS - (today - last).days) // step.days
    return [last - step * number for number in range(how_many, -1, -1)]


# --- what happened --------------------------------------------------------------------------------


class _Past:
    """The history of one site: its rounds and what was made beside them, day by day."""

    def __init__(self, desk: Desk, line: ServiceLine) -> None:
        self.desk, self.line = desk, line
        self.story: Story = STORIES[desk.spec.story](desk)

    def tell(self) -> int:
        """Make every visit of the past; says how many were closed."""
        due = [day for day in rounds(self.desk.spec, self.desk.today) if day < self.desk.today]
        made: list[tuple[date, Callable[[], bool]]] = []
        for back, day in enumerate(reversed(due), start=1):
            made.append((day, partial(self._round, day, back)))
        for extra in self.story.extras():
            day = self.desk.today - timedelta(days=extra.ago)
            made.append((day, partial(self._extra, extra)))
        closed = sum(visit() for _, visit in sorted(made, key=lambda one: one[0]))
        self.story.at_end()
        return closed

    def _round(self, due_on: date, back: int) -> bool:
        desk, rng = self.desk, self.desk.rng
        visit = Visit.objects.get(line=self.line, due_on=due_on)
        if not desk.spec.story and back > 1:
            lot = rng.random()
            if lot < 0.02:
                call_off_visit(
                    visit.pk, by=desk.cast.coordinator, reason=rng.choice(history.CALLED_OFF)
                )
                return False
            if lot < 0.04:
                miss_visit(visit.pk, by=desk.cast.coordinator, reason=rng.choice(history.MISSED))
                return False
        if desk.spec.reference == LATE_SITE and back == 1:
            return False
        ago = (desk.today - due_on).days
        day = due_on if desk.spec.story else self._near(due_on)
        walk = desk.ordinary_walk(day)
        remark = None if desk.spec.story else self._remark(walk)
        self.story.on_round(walk, back, ago, day)
        visit = desk.make(visit, day, walk)
        self.story.after_round(visit, back, ago, day)
        if remark:
            self._follow_up(visit, remark, (desk.today - day).days)
        if desk.spec.story == "ovens" and back == 4:
            amend_visit(
                visit.pk,
                by=desk.technician,
                about="Contact",
                correction="The shift lead left at ten; the baker on duty saw us out.",
                reason="Remembered on the way to the next site.",
                at=visit.closed_at and visit.closed_at + timedelta(hours=2),
            )
        return True

    def _near(self, due_on: date) -> date:
        """The day itself, or a working day beside it, within the window and before today."""
        day = due_on + timedelta(days=self.desk.rng.choice((-1, 0, 0, 0, 1)))
        return day if day.weekday() < 5 and day < self.desk.today else due_on

    def _remark(self, walk: Walk) -> history.Remark | None:
        """Now and then something ordinary is found, or a place is not reached."""
        desk, rng = self.desk, self.desk.rng
        if rng.random() < 0.1:
            room = rng.choice(list(desk.rooms.values()))
            reason, note, whose = rng.choice(history.BLOCKED)
            walk.not_reached.append(
                _not_reached(rng.choice(room.checkpoints).pk, reason, note, whose)
            )
        if rng.random() > 0.22:
            return None
        remark = rng.choice(history.REMARKS)
        found = [one for one in desk.rooms.values() if one.zone.kind in remark.zone_kinds]
        if not found:
            return None
        room = rng.choice(found)
        taken = {one.checkpoint_id for one in walk.not_reached}
        checkpoint = next(one for one in room.checkpoints if one.pk not in taken)
        walk.findings.append(
            FindingGiven(
                zone_id=room.zone.pk,
                checkpoint_id=checkpoint.pk,
                kind=remark.kind,
                urgency=remark.urgency,
                note=remark.note,
                remedy_kind=remark.remedy_kind,
                remedy=remark.remedy,
                whose_move=remark.whose_move,
            )
        )
        return remark

    def _follow_up(self, visit: Visit, remark: history.Remark, ago: int) -> None:
        """What was found long enough ago is done by now and mostly checked."""
        desk = self.desk
        wait = 6 + desk.rng.randrange(20)
        if ago < 30:
            return
        action = desk.action_of(visit, remark.remedy)
        if desk.rng.random() < 0.05:
            withdraw_action(
                action.pk,
                by=desk.cast.coordinator,
                reason="The client rebuilds this part; looked at anew afterwards.",
                at=desk.instant(ago - wait if ago > wait else 0),
            )
            return
        by = desk.manager if remark.whose_move == "client" else desk.technician
        motif = "clean" if remark.remedy_kind in PHOTO_KINDS else ""
        desk.report(action, ago - min(wait, ago), by=by, note=remark.done, motif=motif)
        if ago - wait > 14:
            desk.check(action, ago - wait - 10)

    def _extra(self, extra: Extra) -> bool:
        desk = self.desk
        day = desk.today - timedelta(days=extra.ago)
        if extra.kind == Visit.Kind.CALL_OUT:
            visit = call_out_of(desk, extra)
        else:
            visit = add_visit(
                desk.site.pk,
                by=desk.cast.coordinator,
                kind=extra.kind,
                due_on=day,
                opens_on=day - timedelta(days=2),
                closes_on=day + timedelta(days=2),
                office_note=extra.note,
            )
        walk = Walk()
        self.story.on_extra(walk, extra)
        visit = desk.make(visit, day, walk)
        self.story.after_extra(visit, extra)
        return True


def _not_reached(checkpoint_id: UUID, reason: str, note: str, whose_move: str) -> NotReachedGiven:
    return NotReachedGiven(
        reason=reason, whose_move=whose_move, checkpoint_id=checkpoint_id, note=note
    )


# --- what is to come ------------------------------------------------------------------------------


def _ahead(desk: Desk) -> None:
    """Book what is due this week and next; now and then one waits for the office to book it."""
    soon = Visit.objects.filter(
        site=desk.site,
        state=Visit.State.PLANNED,
        line__isnull=False,
        due_on__range=(desk.today, desk.today + timedelta(days=AHEAD_DAYS)),
    )
    for visit in soon.order_by("due_on", "pk"):
        if visit.due_on > desk.today and int(desk.spec.reference[1:]) % 9 == 4:
            continue
        book_visit(
            visit.pk,
            by=desk.cast.coordinator,
            technician=desk.technician,
            day=visit.due_on,
            time=desk.diary.next_time(desk.technician, visit.due_on),
            despite_access=True,
        )


def _auditor(people: Cast, desks: list[Desk]) -> None:
    """A pass in use: for the bakeries with a story, and looked at yesterday."""
    named = [desk.site for desk in desks if desk.spec.client == town.BAKERIES and desk.spec.story]
    if not named:
        return
    now, today = desks[0].now, desks[0].today
    issue_pass(
        people.auditor.pk,
        by=people.coordinator,
        sites=named,
        period_from=today - timedelta(days=365),
        period_to=today,
        valid_from=now - timedelta(days=2),
        valid_until=now + timedelta(days=19),
        purpose="Yearly food safety audit of the bakeries (demo)",
    )
    record_looks([site.pk for site in named], by=people.auditor, at=now - timedelta(days=1))


def in_words(loaded: Loaded) -> list[str]:
    """What the history says, in order and without identifiers: the same seed tells the same."""
    sites = [desk.site.pk for desk in loaded.desks]
    visits = Visit.objects.filter(site__in=sites).order_by(
        "site__reference", "due_on", "kind", "pk"
    )
    told = [
        f"{visit.site.reference} {visit.due_on} {visit.kind} {visit.state} {visit.summary} "
        f"{visit.state_reason} {visit.coverage.get('looked')}"
        for visit in visits.select_related("site")
    ]
    counts = ReadingCount.objects.filter(reading__monitor__site__in=sites).order_by(
        "reading__monitor__site__reference",
        "reading__monitor__number",
        "reading__read_on",
        "pest__slug",
    )
    told += [
        " ".join(map(str, row))
        for row in counts.values_list(
            "reading__monitor__site__reference",
            "reading__monitor__number",
            "reading__read_on",
            "pest__slug",
            "count",
        )
    ]
    return told
