"""One client with one of everything, for tests that try every door as owner and as stranger.

Every name that a person could read carries the client's word, so that a stranger's page can be
searched for it. Days are counted from the real today: the sites that a technician sees hang on it.
"""

from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from hashlib import sha256
from typing import Any

from django.utils import timezone

from accounts.ids import uuid7
from accounts.models import Branch, Client, CompetenceKind, Notice, TrailEntry, User
from accounts.services.competences import add_competence
from accounts.services.tokens import issue_token
from compliance.models import Alarm, CorrectiveAction, Flag
from compliance.quarters import quarter_of
from compliance.services.actions import OptionGiven
from compliance.services.counting import count_sites
from compliance.services.flags import reconcile_flags
from compliance.services.judging import judge_months
from compliance.services.review_packs import request_review_pack
from compliance.services.site_files import request_site_file
from compliance.services.telling import tell_people
from compliance.services.thresholds import find_breaches
from sites.models import Checkpoint, Document, Monitor
from sites.services.contacts import add_contact
from sites.services.contracts import add_contract
from sites.services.documents import add_document
from sites.services.grants import issue_pass
from sites.services.imports import receive_import
from sites.services.photos import add_photo
from sites.services.plans import add_plan
from tests.builders.accounts import (
    make_auditor,
    make_client,
    make_manager,
    make_office,
    make_technician,
)
from tests.builders.compliance import (
    OPTIONS,
    make_action,
    make_counts,
    make_photo_bytes,
    make_review,
)
from tests.builders.files import pdf_bytes
from tests.builders.phone import Phone
from tests.builders.remedies import make_remedy
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.thresholds import catch, make_threshold
from tests.builders.visits import local, make_line, make_visit, treatment_given
from visits.models import (
    Batch,
    Finding,
    FollowUp,
    GuideLine,
    NotReached,
    ParkedOperation,
    Product,
    Reading,
    RemedyKind,
    TrapSender,
    Treatment,
    Visit,
    WhoseMove,
)
from visits.services.amendments import amend_visit
from visits.services.booking import call_off_visit, miss_visit
from visits.services.calendar import make_calendar_address
from visits.services.closing import close_visit
from visits.services.follow_ups_proposed import propose_follow_ups_of
from visits.services.recording import (
    ContactGiven,
    FindingGiven,
    NotReachedGiven,
    ReadingGiven,
    apply_treatment,
    record_finding,
    record_looks,
    record_not_reached,
    record_readings,
)
from visits.services.sent_photos import keep_photo
from visits.services.stock import count_batch, receive_batch
from visits.services.sync import apply_operations
from visits.services.trap_reports import take_reports
from visits.services.trap_senders import add_trap_sender

State = CorrectiveAction.State


@dataclass
class World:
    """One client's people by role, and its records by name."""

    word: str
    people: dict[str, User] = field(default_factory=dict)
    records: dict[str, Any] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Any:
        return self.records[name]

    def identifiers(self) -> set[str]:
        """What must not be read by a stranger: every identifier, as addresses write it."""
        shared = {"batch", "product", "kind", "guide_line", "remedy", "trail_entry"}
        rows = [row for name, row in self.records.items() if name not in shared]
        return {str(row.pk) for row in [*self.people.values(), *rows]}


def make_world(
    word: str, *, office: User, kind: CompetenceKind, product: Product, times: int = 1
) -> World:
    """A client called by a word; ``times`` multiplies what a page lists."""
    world = World(word)
    branch = Branch.objects.create(name=f"{word} depot")
    client = make_client(
        name=f"{word} Hotels",
        reference=f"REF-{word}",
        internal_note=f"{word} client note",
        billing_email=f"bills@{word.lower()}.example.org",
    )
    world.people = _people(word, client, branch)
    world.records |= {"client": client, "branch": branch}
    world.records |= _premises(word, client, branch, office=office, times=times)
    world.records |= _rights(world, office=office, kind=kind)
    world.records |= _visits(world, office=office, product=product, times=times)
    world.records |= {"trap_sender": _traps(world, office=office, times=times)}
    address = make_calendar_address(by=world.people["technician"], at=timezone.now()).address
    world.records |= {"calendar_address": address}
    world.records |= {"batch": _stock(product, office=office, times=times)}
    world.records |= _counts(world)
    world.records |= {"trend_review": make_review(world["site"], by=world.people["technician"])}
    world.records |= _thresholds(world, office=office, times=times)
    _count_what_came_since()
    world.records |= _actions(world, office=office, times=times)
    world.records |= {
        "product": product,
        "kind": kind,
        "notice": _notices(world),
        "guide_line": GuideLine.objects.earliest("position"),
        "remedy": min((make_remedy(by=office) for _ in range(times)), key=lambda one: one.pk),
        "trail_entry": TrailEntry.objects.filter(actor=world.people["technician"]).earliest("pk"),
    }
    return world


def _notices(world: World) -> Notice:
    """All that is to be told is told; the newest that the client's manager was told."""
    tell_people()
    return Notice.objects.filter(person=world.people["manager"]).latest("at", "pk")


def _people(word: str, client: Client, branch: Branch) -> dict[str, User]:
    def named(role: str) -> dict[str, str]:
        return {"name": f"{word} {role}", "email": f"{role}@{word.lower()}.example.org"}

    people = {
        "branch": make_office(**named("planner")),
        "technician": make_technician(**named("technician")),
        "manager": make_manager(client=client, **named("manager")),
        "auditor": make_auditor(**named("auditor")),
        "newcomer": make_manager(client=client, **named("newcomer")),
        "helper": make_technician(**named("helper")),
    }
    people["branch"].branches.set([branch])
    people["newcomer"].set_unusable_password()
    people["newcomer"].save()
    return people


def _stock(product: Product, *, office: User, times: int) -> Batch:
    """Batches of the product that all clients share, each counted as often."""
    there = Batch.objects.count()
    today = timezone.now().date()
    for n in range(times):
        batch = receive_batch(
            product.pk,
            by=office,
            number=f"26-{there + n}",
            received_on=today,
            amount=Decimal(500),
        )
        for _ in range(times):
            count_batch(batch.pk, by=office, counted_on=today, amount=Decimal(500))
    return batch


def _premises(
    word: str, client: Client, branch: Branch, *, office: User, times: int
) -> dict[str, Any]:
    site = make_site(
        client=client,
        branch=branch,
        name=f"{word} Grand",
        reference=f"SITE-{word}",
        address=f"1 {word} Parade",
        internal_note=f"{word} site note",
        access_note=f"Ask for {word} at the bar",
    )
    zones = [make_zone(site, name=f"{word} kitchen {number}") for number in range(2 * times)]
    placed_on = timezone.now().date() - timedelta(days=500)
    monitors = [
        make_monitor(zone, place=f"Under the {word} shelf", placed_on=placed_on)
        for zone in zones
        for _ in range(2)
    ]
    retired = make_zone(site, name=f"{word} old bar", retired_on=date(2026, 3, 1))
    plan = add_plan(site.pk, by=office, title=f"{word} ground floor", data=make_photo_bytes())
    contract = add_contract(
        site.pk,
        by=office,
        number=f"K-{word}",
        starts_on=date(2026, 1, 1),
        scope=f"{word} scope",
        call_out_price=Decimal("95.00"),
        internal_note=f"{word} contract note",
    )
    pdf = pdf_bytes()
    papers = [
        add_document(
            home,
            by=office,
            data=pdf,
            kind=Document.Kind.INSURANCE,
            title=f"{word} paper {number}",
        )
        for home in (site, client)
        for number in range(times)
    ]
    return {
        "site": site,
        "zone": zones[0],
        "retired_zone": retired,
        "checkpoint": Checkpoint.objects.filter(zone=zones[0]).order_by("pk").first(),
        "monitor": monitors[0],
        "plan": plan,
        "contract": contract,
        "line": make_line(
            contract,
            by=office,
            now=timezone.now(),
            title=f"{word} inspection",
            first_on=timezone.now().date() + timedelta(days=40),
        ),
        "contact": add_contact(site.pk, by=office, name=f"{word} Prior", is_premises_manager=True),
        "document": papers[0],
        "client_document": papers[-1],
        "photo": add_photo(site.pk, by=office, data=make_photo_bytes()),
    }


def _rights(world: World, *, office: User, kind: CompetenceKind) -> dict[str, Any]:
    now, today = timezone.now(), timezone.now().date()
    return {
        "pass": issue_pass(
            world.people["auditor"].pk,
            by=office,
            sites=[world["site"]],
            period_from=today - timedelta(days=365),
            period_to=today + timedelta(days=30),
            valid_from=now - timedelta(days=1),
            valid_until=now + timedelta(days=30),
            purpose=f"{world.word} yearly audit",
        ),
        "competence": add_competence(
            world.people["technician"].pk,
            by=office,
            kind=kind,
            number=f"LIC-{world.word}",
            valid_from=today - timedelta(days=300),
            valid_until=today + timedelta(days=20),
        ),
        "token": issue_token(world.people["technician"], days=30)[0],
        "import": receive_import(b"client,site\n", f"{world.word}.csv", by=office),
    }


def _visits(world: World, *, office: User, product: Product, times: int) -> dict[str, Any]:
    site, technician = world["site"], world.people["technician"]
    today = timezone.now().date()

    def visit(state: str, days: int, **facts: Any) -> Visit:
        return make_visit(
            site,
            state=state,
            by=office,
            technician=technician,
            due_on=today + timedelta(days=days),
            office_note=f"{world.word} visit note",
            **facts,
        )

    closed = [_closed(world, visit("under_way", -10 - n), product) for n in range(times)]
    for one in closed:
        propose_follow_ups_of(one.pk)
    amendment = amend_visit(
        closed[0].pk,
        by=technician,
        about=f"The {world.word} count",
        correction="Two, not one.",
        reason="Miscounted.",
    )
    for number in range(1, times):
        visit("planned", 15 + number)
        visit("booked", 15 + number)
    open_visits = {
        "planned": visit("planned", 12),
        "booked": visit("booked", 3),
        "under_way": visit("under_way", 0),
        "called_off": call_off_visit(visit("planned", 5).pk, by=office, reason="The site shut."),
        "missed": miss_visit(visit("booked", -5).pk, by=office, reason="The van broke down."),
    }
    phone = Phone(open_visits["under_way"])
    lost = call_off_visit(visit("booked", 1).pk, by=office, reason=f"{world.word} is shut.")
    gone = Phone(lost)
    apply_operations(
        [
            gone.op("reading.set", monitor=world["monitor"], note=f"{world.word} noise"),
            phone.op("look.add", checkpoint=world["checkpoint"]),
        ],
        by=technician,
    )
    photo = make_photo_bytes()
    apply_operations(
        [
            gone.op(
                "finding.set",
                finding=str(uuid7()),
                zone=world["zone"],
                kind="signs",
                photos=[sha256(photo).hexdigest()],
            )
        ],
        by=world.people["helper"],
    )
    first = closed[0]
    return {
        "closed": first,
        "follow_up": FollowUp.objects.get(visit=first),
        **open_visits,
        "amendment": amendment,
        "reading": Reading.objects.filter(visit=first).order_by("pk").first(),
        "finding": Finding.objects.get(visit=first),
        "treatment": Treatment.objects.get(visit=first),
        "not_reached": NotReached.objects.get(visit=first),
        "parked": ParkedOperation.objects.get(visit=lost, person=technician),
        "parked_photo": keep_photo(lost.pk, by=world.people["helper"], data=photo),
    }


def _traps(world: World, *, office: User, times: int) -> TrapSender:
    """A sender whose traps reported yesterday, and as many reports that were refused."""
    sender = add_trap_sender(world["site"].pk, by=office, name=f"{world.word} gateway").sender
    now = timezone.now()
    monitors = Monitor.objects.filter(site=world["site"]).order_by("-number")[:times]
    reports = [
        {
            "id": str(monitor.pk),
            "monitor": str(monitor.pk),
            "from": (now - timedelta(days=2)).isoformat(),
            "at": (now - timedelta(days=1)).isoformat(),
            "counts": {"house-mouse": 1},
            "note": f"{world.word} trap",
        }
        for monitor in monitors
    ]
    refused = [{"id": f"{world.word}-{number}"} for number in range(times)]
    take_reports(sender.pk, [*reports, *refused], now=now)
    return sender


def _closed(world: World, visit: Visit, product: Product) -> Visit:
    """Everything that a visit can record, then the seal."""
    technician, at = world.people["technician"], local(visit, 9, 30)
    zone = world["zone"]
    checkpoints = list(Checkpoint.objects.filter(zone=zone).order_by("pk"))
    record_looks(visit.pk, by=technician, at=at, checkpoint_ids=[checkpoints[0].pk])
    record_not_reached(
        visit.pk,
        by=technician,
        at=at,
        not_reached=NotReachedGiven(
            reason=NotReached.Reason.LOCKED,
            whose_move=WhoseMove.CLIENT,
            checkpoint_id=checkpoints[1].pk,
            note=f"The {world.word} key was away",
        ),
    )
    record_readings(
        visit.pk,
        by=technician,
        at=at,
        readings=[
            ReadingGiven(
                monitor_id=world["monitor"].pk,
                counts={"german-cockroach": 2},
                note=f"{world.word} reading",
            )
        ],
    )
    record_finding(
        visit.pk,
        by=technician,
        at=at,
        finding=FindingGiven(
            zone_id=zone.pk,
            kind=Finding.Kind.ENTRY_POINT,
            note=f"{world.word} gap by the pipe",
            place=f"{world.word} wall",
            remedy_kind=RemedyKind.PROOFING,
            remedy=f"Seal the {world.word} gap",
            whose_move=WhoseMove.US,
        ),
    )
    apply_treatment(
        visit.pk,
        by=technician,
        at=at,
        treatment=treatment_given(
            zone, product, started_at=at, place=f"{world.word} oven", note=f"{world.word} gel"
        ),
    )
    return close_visit(
        visit.pk,
        by=technician,
        at=local(visit, 10),
        received_at=local(visit, 10, 5),
        contact=ContactGiven(no_signature_reason="Nobody of the premises was there."),
    )


def _counts(world: World) -> dict[str, Any]:
    """One monitor of each zone caught two a month for a year, then twenty: an alarm a zone.

    Had they caught none before, all zones together would look as if counts always came in clumps.
    """
    site, today = world["site"], timezone.now().date()
    monitors = Monitor.objects.filter(site=site, zone__retired_on=None).order_by("number")
    caught: dict[Monitor, dict[date, dict[str, int]]] = {}
    for monitor in {one.zone_id: one for one in monitors}.values():
        caught[monitor] = {
            months_before(today, back): {"german-cockroach": 20 if back == 1 else 2}
            for back in range(1, 14)
        }
    make_counts(site, caught, judged_at=timezone.now())
    return {"alarm": Alarm.objects.filter(site=site, zone__isnull=False).earliest("pk")}


def _count_what_came_since() -> None:
    """So that nothing of this client is counted anew when another one's readings are."""
    count_sites()
    judge_months()


def months_before(day: date, months: int) -> date:
    """The tenth of the month that lies so many months before a day's."""
    number = day.year * 12 + day.month - 1 - months
    return date(number // 12, number % 12 + 1, 10)


def _thresholds(world: World, *, office: User, times: int) -> dict[str, Any]:
    """Thresholds of the site; each of the last days one reading reached all of them."""
    today = timezone.now().date()
    made = [
        make_threshold(
            site_id=world["site"].pk,
            contract_id=world["contract"].pk,
            name=f"{world.word} mice {number}",
            begins_on=today - timedelta(days=60),
            by=office,
        )
        for number in range(times)
    ]
    for number in range(times):
        catch(world["monitor"], today - timedelta(days=2 + number))
    find_breaches()
    return {"threshold": made[0], "breach": made[0].breaches.earliest("on")}


def _actions(world: World, *, office: User, times: int) -> dict[str, Any]:
    site, word = world["site"], world.word
    options = [
        OptionGiven(
            kind=one.kind,
            description=f"{word}: {one.description}",
            cost_once=one.cost_once,
            cost_monthly=one.cost_monthly,
            life_years=one.life_years,
            remaining_risk=one.remaining_risk,
        )
        for one in OPTIONS
    ]

    def action(state: str, **facts: Any) -> CorrectiveAction:
        return make_action(
            state,
            site=site,
            by=office,
            manager=world.people["manager"],
            options=options,
            **{"title": f"{word} {state} chase", "internal_note": f"{word} action note", **facts},
        )

    for number in range(1, times):
        action(State.PRICED, title=f"{word} priced again {number}")
        action(State.RAISED, kind=RemedyKind.HOUSEKEEPING, whose_move=WhoseMove.CLIENT)
    made = {
        "raised": action(State.RAISED),
        "priced": action(State.PRICED, due_on=timezone.now().date() - timedelta(days=9)),
        "decided": action(State.DECIDED),
        "declined": action(State.DECIDED, declined=True),
        "done": action(State.DONE),
        "checked": action(State.CHECKED),
        "withdrawn": action(State.WITHDRAWN),
        "theirs": action(State.RAISED, kind=RemedyKind.ADVICE, whose_move=WhoseMove.CLIENT),
    }
    reconcile_flags()
    return {f"{name}_action": one for name, one in made.items()} | {
        "decision": made["decided"].decisions.get(),
        "flag": Flag.objects.filter(site=site).order_by("pk").first(),
        "site_file": request_site_file(
            site.pk,
            by=world.people["manager"],
            period_from=timezone.now().date() - timedelta(days=90),
            period_to=timezone.now().date(),
        ),
        "review_pack": request_review_pack(
            site.client_id,
            quarter_of(timezone.now().date()),
            by=world.people["manager"],
        ),
    }
