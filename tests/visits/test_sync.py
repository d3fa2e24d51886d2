"""What phones send arrives once, in whatever order and however often, and nothing of it is lost."""

import json
import random
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from threading import Barrier, Thread
from uuid import uuid4

import pytest
import time_machine
from django.db import OperationalError, connections

from accounts.ids import uuid7
from accounts.models import TrailEntry
from accounts.refusals import NotAllowed, Unusable
from tests.builders.accounts import make_auditor, make_manager, make_office, make_technician
from tests.builders.compliance import make_photo_bytes
from tests.builders.phone import Phone
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import local, make_product, make_visit
from visits.models import (
    Finding,
    Look,
    NotReached,
    Operation,
    ParkedOperation,
    Reading,
    ReadingCount,
    Treatment,
    Visit,
)
from visits.services.booking import book_visit, call_off_visit, miss_visit, unbook_visit
from visits.services.operations import KINDS, Kind
from visits.services.recording import add_visit_photo
from visits.services.sync import apply_operation, apply_operations
from visits.verification import breaks_of_site

pytestmark = pytest.mark.django_db

EVENING = datetime(2026, 12, 8, 18, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def evening():
    """Six on the day of the visits, when what phones recorded in the morning has arrived."""
    with time_machine.travel(EVENING):
        yield


@pytest.fixture
def visit(office, technician) -> Visit:
    return make_visit(state="booked", zones=2, monitors=2, by=office, technician=technician)


@pytest.fixture
def phone(visit) -> Phone:
    return Phone(visit)


def places_of(visit):
    """The first zone, its checkpoints and its monitors."""
    zone = visit.site.zones.order_by("walk_order").first()
    return (
        zone,
        list(zone.checkpoints.order_by("walk_order")),
        list(zone.monitors.order_by("number")),
    )


def a_whole_visit(phone: Phone, product) -> list[dict]:
    """Every kind of operation, among them words that later ones replace or take back."""
    zone, (low, reach, overhead), (first, second) = places_of(phone.visit)
    finding, treatment, gone = str(uuid7()), str(uuid7()), str(uuid7())
    op = phone.op
    return [
        op("visit.start"),
        op("look.add", checkpoint=low),
        op("look.remove", checkpoint=low),
        op("look.add", checkpoint=low),
        op("not_reached.set", checkpoint=reach, reason="blocked", whose_move="client"),
        op("look.add", checkpoint=reach),
        op("look.add", checkpoint=overhead),
        op("finding.set", finding=gone, zone=zone, checkpoint=overhead, kind="signs"),
        op("finding.remove", finding=gone),
        op("not_reached.set", checkpoint=overhead, reason="height", whose_move="us"),
        op("finding.set", finding=finding, zone=zone, kind="live_pests", note="Some"),
        op(
            "finding.set",
            finding=finding,
            zone=zone,
            kind="live_pests",
            pest="german-cockroach",
            note="Behind the left oven",
            remedy_kind="proofing",
            remedy="Seal the chase.",
            whose_move="client",
        ),
        op("reading.set", monitor=first, counts={"german-cockroach": 2}),
        op("reading.set", monitor=first, counts={"german-cockroach": 5}, renewed=True),
        op("not_reached.set", monitor=second, reason="locked", whose_move="client"),
        op("not_reached.remove", monitor=second),
        op("reading.set", monitor=second, condition="damaged"),
        op("reading.remove", monitor=second),
        op(
            "not_reached.set", zone=phone.visit.site.zones.last(), reason="refused", whose_move="us"
        ),
        op(
            "treatment.set",
            treatment=treatment,
            zone=zone,
            product=product,
            target="german-cockroach",
            method="gel",
            place="Oven hinges",
            amount="2.50",
            started_at=local(phone.visit, 9, 20).isoformat(),
        ),
        op("contact.set", contact_name="Ana Prior", summary="Gel at the ovens."),
        phone.close(summary="Gel at the ovens."),
    ]


def what_stands(visit) -> tuple:
    """What a visit says in the end, apart from ids that the server made."""
    visit.refresh_from_db()
    return (
        visit.state,
        visit.contact_name,
        visit.started_at,
        sorted(visit.looks.values_list("checkpoint__label", "at")),
        sorted(visit.readings.values_list("monitor__number", "renewed", "at")),
        sorted(
            ReadingCount.objects.filter(reading__visit=visit).values_list("pest__slug", "count")
        ),
        sorted(visit.findings.values_list("note", "at")),
        sorted(
            visit.not_reached.values_list("checkpoint__label", "monitor__number", "reason"),
            key=str,
        ),
        sorted(visit.treatments.values_list("place", "amount", "position")),
        visit.coverage,
    )


def counts() -> tuple[int, ...]:
    return tuple(
        one.objects.count()
        for one in (Look, Reading, Finding, NotReached, Treatment, Operation, TrailEntry)
    )


def verdicts(answers) -> list[str]:
    return [answer["verdict"] for answer in answers]


# --- once, however often --------------------------------------------------------------------------


def test_a_whole_visit_arrives(visit, phone, technician):
    answers = apply_operations(a_whole_visit(phone, make_product()), by=technician)

    assert verdicts(answers) == ["applied"] * len(answers)
    visit.refresh_from_db()
    assert visit.state == "closed"
    assert visit.started_at == local(visit, 9, 1)
    assert list(visit.looks.values_list("checkpoint__label", flat=True).order_by("at")) == [
        "Place low",
        "Place reach",
    ]
    assert visit.not_reached.get(checkpoint__isnull=False).reason == "height"
    assert ReadingCount.objects.get().count == 5
    assert visit.findings.get().note == "Behind the left oven"
    assert [answer["version"] for answer in answers] == sorted(
        answer["version"] for answer in answers
    )


def test_the_same_again_gets_the_same_answer_and_changes_nothing(visit, phone, technician):
    operations = a_whole_visit(phone, make_product())
    first = apply_operations(operations, by=technician)
    before = counts()

    for _ in range(3):
        again = apply_operations(operations, by=technician)
        assert again == [{**answer, "again": True} for answer in first]

    assert counts() == before


@pytest.mark.parametrize("seed", range(12))
def test_any_order_ends_the_same(office, technician, seed):
    """Each operation alone in a request, shuffled, some twice, until all have been answered."""
    product = make_product()
    visits = [
        make_visit(make_site(zones=2, monitors=2), state="booked", by=office, technician=technician)
        for _ in range(2)
    ]
    in_order, shuffled = (a_whole_visit(Phone(visit), product) for visit in visits)
    dice = random.Random(seed)
    assert set(verdicts(apply_operations(in_order, by=technician))) == {"applied"}

    waiting = [*shuffled, *dice.sample(shuffled, 5)]
    dice.shuffle(waiting)
    for _ in range(3):
        waiting = [op for op in waiting if apply_operation(op, by=technician)["verdict"] == "wait"]

    assert not waiting
    assert not ParkedOperation.objects.exists()
    assert what_stands(visits[1]) == what_stands(visits[0])


def test_an_older_word_that_comes_late_does_not_overwrite_a_later_one(visit, phone, technician):
    _, (place, *_), _ = places_of(visit)
    looked = phone.op("look.add", checkpoint=place)
    blocked = phone.op("not_reached.set", checkpoint=place, reason="blocked", whose_move="client")

    assert apply_operation(blocked, by=technician)["verdict"] == "applied"
    assert apply_operation(looked, by=technician)["verdict"] == "applied"

    assert (Look.objects.count(), NotReached.objects.count()) == (0, 1)
    assert Operation.objects.count() == 2


def test_a_batch_is_applied_in_the_order_it_was_made(visit, phone, technician):
    _, (place, *_), _ = places_of(visit)
    operations = [phone.op("look.add", checkpoint=place) for _ in range(3)]

    answers = apply_operations(operations[::-1], by=technician)

    assert [answer["id"] for answer in answers] == [op["id"] for op in operations[::-1]]
    assert Look.objects.get().at == datetime.fromisoformat(operations[-1]["made_at"])


def test_the_closing_waits_for_what_was_made_before_it(visit, phone, technician):
    start = phone.op("visit.start")
    look = phone.op("look.add", checkpoint=places_of(visit)[1][0])
    close = phone.close()
    apply_operation(start, by=technician)

    waits = apply_operation(close, by=technician)
    visit.refresh_from_db()
    assert (waits["verdict"], visit.state) == ("wait", "under_way")
    assert Operation.objects.count() == 1

    apply_operation(look, by=technician)
    assert apply_operation(close, by=technician)["verdict"] == "applied"


# --- whose clock ----------------------------------------------------------------------------------

FAST = timedelta(days=3)


def closed(visit) -> TrailEntry:
    visit.refresh_from_db()
    assert visit.state == "closed"
    return TrailEntry.objects.get(verb="visit.closed")


def test_a_measured_clock_is_corrected_and_both_clocks_are_kept(visit, phone, technician):
    phone.ahead = FAST // timedelta(seconds=1)
    shown = local(visit, 9) + FAST

    apply_operation(phone.op("visit.start", at=shown), by=technician)

    visit.refresh_from_db()
    receipt = Operation.objects.get()
    entry = TrailEntry.objects.get(verb="visit.started")
    assert (receipt.made_at, receipt.clock_ahead_seconds) == (shown, 259_200)
    assert visit.started_at == entry.at == local(visit, 9)


def test_a_clock_that_nobody_measured_is_believed_no_further_than_the_arrival(
    visit, phone, technician
):
    shown = local(visit, 9) + FAST

    apply_operation(phone.op("visit.start", at=shown), by=technician)

    visit.refresh_from_db()
    receipt = Operation.objects.get()
    assert (receipt.made_at, receipt.clock_ahead_seconds) == (shown, None)
    assert EVENING <= visit.started_at <= receipt.received_at


def test_a_whole_visit_by_a_fast_clock_reads_as_by_a_right_one(office, technician):
    product = make_product()
    visits = [
        make_visit(make_site(zones=2, monitors=2), state="booked", by=office, technician=technician)
        for _ in range(2)
    ]
    right, fast = (a_whole_visit(Phone(visit), product) for visit in visits)
    for op in fast:
        op["made_at"] = (datetime.fromisoformat(op["made_at"]) + FAST).isoformat()
        op["clock_ahead"] = 259_201

    apply_operations(right, by=technician)
    apply_operations(fast, by=technician)

    second = timedelta(seconds=1)
    assert visits[1].looks.get(checkpoint__label="Place low").at + second == (
        visits[0].looks.get(checkpoint__label="Place low").at
    )
    told = {entry.target_id: entry for entry in TrailEntry.objects.filter(verb="visit.closed")}
    of_right, of_fast = (told[str(visit.pk)] for visit in visits)
    assert of_fast.at + second == of_right.at
    assert of_fast.facts["phone_clock_ahead_seconds"] == 259_201
    assert "phone_clock_ahead_seconds" not in of_right.facts
    for visit in visits:
        assert breaks_of_site(visit.site) == []


def test_a_clock_that_is_set_right_in_mid_visit_leaves_the_minutes_as_they_were(
    visit, phone, technician
):
    phone.ahead = 259_200
    start = phone.op("visit.start", at=local(visit, 9) + FAST)
    phone.ahead = 0
    close = phone.close()
    close["made_at"] = local(visit, 9, 52).isoformat()

    apply_operations([start, close], by=technician)

    assert closed(visit).facts["phone_clock_ahead_seconds"] == 259_200
    assert (visit.started_at, visit.closed_at) == (local(visit, 9), local(visit, 9, 52))
    assert visit.minutes_on_site == 52


@pytest.mark.parametrize("seed", range(4))
def test_a_visit_of_which_every_instant_lies_ahead_is_kept_in_order(visit, phone, technician, seed):
    """Nobody measured the clock: all of it stands at its arrival, and nothing before the start."""
    operations = a_whole_visit(phone, make_product())
    for op in operations:
        op["made_at"] = (datetime.fromisoformat(op["made_at"]) + FAST).isoformat()
    waiting = list(operations)
    random.Random(seed).shuffle(waiting)
    for _ in range(3):
        waiting = [op for op in waiting if apply_operation(op, by=technician)["verdict"] == "wait"]

    facts = closed(visit).facts
    assert facts["phone_clock_measured"] is False
    assert facts["phone_clock_ahead_seconds"] > 200_000
    assert visit.started_at <= visit.looks.earliest("at").at
    assert visit.looks.latest("at").at <= visit.closed_at <= visit.received_at
    assert visit.minutes_on_site == 0
    assert breaks_of_site(visit.site) == []


def test_with_the_hour_held_still_all_of_a_visit_stands_at_one_instant(visit, phone, technician):
    operations = a_whole_visit(phone, make_product())
    for op in operations:
        op["made_at"] = (datetime.fromisoformat(op["made_at"]) + FAST).isoformat()

    with time_machine.travel(EVENING, tick=False):
        answers = apply_operations(operations, by=technician)

    assert set(verdicts(answers)) == {"applied"}
    assert closed(visit).at == visit.started_at == visit.closed_at == visit.received_at == EVENING
    assert breaks_of_site(visit.site) == []


def test_a_clock_that_was_set_back_closes_no_visit_before_it_began(visit, phone, technician):
    """Its battery died, and nobody has measured it since: the last thing recorded is the bound."""
    start = phone.op("visit.start", at=local(visit, 9))
    look = phone.op("look.add", checkpoint=places_of(visit)[1][0])
    back = phone.close()
    back["made_at"] = (local(visit, 9) - FAST).isoformat()

    apply_operations([start, look, back], by=technician)

    assert closed(visit).at == visit.closed_at == local(visit, 9, 2)
    assert visit.started_at == local(visit, 9)


def test_a_repeated_operation_gets_its_answer_and_its_instant_only_once(visit, phone, technician):
    start = phone.op("visit.start", at=local(visit, 9) + FAST)
    first = apply_operation(start, by=technician)
    visit.refresh_from_db()
    stands = visit.started_at

    with time_machine.travel(EVENING + timedelta(hours=5)):
        again = apply_operation(start, by=technician)
        other = apply_operation({**start, "clock_ahead": 259_200}, by=technician)

    visit.refresh_from_db()
    assert again == {**first, "again": True}
    assert visit.started_at == stands
    assert other["code"] == "other_content"  # a phone sends what it has made as it has made it


def test_a_phone_that_has_forgotten_the_time_is_put_right(visit, phone, technician):
    shown = datetime(1970, 1, 1, 0, 20, tzinfo=UTC)
    phone.ahead = (shown - local(visit, 9)) // timedelta(seconds=1)

    answer = apply_operation(phone.op("visit.start", at=shown), by=technician)

    visit.refresh_from_db()
    assert (answer["verdict"], visit.started_at) == ("applied", local(visit, 9))


def treated(phone, product, **times):
    return phone.op(
        "treatment.set",
        treatment=str(uuid7()),
        zone=places_of(phone.visit)[0],
        product=product,
        target="german-cockroach",
        method="gel",
        place="Oven hinges",
        amount="2.50",
        **{name: at.isoformat() for name, at in times.items()},
    )


@pytest.mark.parametrize("ahead", [timedelta(0), timedelta(hours=23)])
def test_the_times_of_a_treatment_stand_as_they_were_typed(visit, phone, technician, ahead):
    begun = EVENING + ahead

    apply_operation(treated(phone, make_product(), started_at=begun), by=technician)

    assert Treatment.objects.get().started_at == begun
    assert "typed_started_at" not in TrailEntry.objects.get(verb="visit.recorded").facts


def test_a_treatment_of_the_day_after_tomorrow_is_kept_and_stands_when_it_was_recorded(
    visit, phone, technician
):
    """Parked, it would be missing from the sealed record, for a clock that nobody had measured."""
    begun, finished = local(visit, 9) + FAST, local(visit, 9, 10) + FAST
    op = treated(phone, make_product(), started_at=begun, finished_at=finished)

    answer = apply_operation(op, by=technician)

    row = Treatment.objects.get()
    told = TrailEntry.objects.get(verb="visit.recorded").facts
    assert answer["verdict"] == "applied"
    assert row.started_at == row.finished_at == local(visit, 9, 1)
    assert datetime.fromisoformat(told["typed_started_at"]) == begun
    assert datetime.fromisoformat(told["typed_finished_at"]) == finished
    assert Operation.objects.get().body["started_at"] == begun.isoformat()


# --- minutes on site ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "stands"),
    [
        ({}, (52, "")),
        ({"minutes_on_site": None, "minutes_reason": ""}, (52, "")),
        ({"minutes_on_site": 53}, (52, "")),
        (
            {"minutes_on_site": 90, "minutes_reason": " Waited for the key. "},
            (90, "Waited for the key."),
        ),
    ],
    ids=["not said", "null", "rounded otherwise", "corrected"],
)
def test_a_closing_says_how_long_it_took(visit, phone, technician, said, stands):
    start = phone.op("visit.start", at=local(visit, 9))
    close = phone.close(**said)
    close["made_at"] = local(visit, 9, 52).isoformat()

    apply_operations([start, close], by=technician)

    closed(visit)
    assert (visit.minutes_on_site, visit.minutes_reason) == stands
    assert visit.contact_name == "Ana Prior"


def test_other_minutes_without_a_reason_are_parked_and_settled_by_a_later_closing(
    visit, phone, technician
):
    apply_operation(phone.op("visit.start", at=local(visit, 9)), by=technician)

    answer = apply_operation(phone.close(minutes_on_site=90), by=technician)

    assert (answer["verdict"], answer["code"]) == ("parked", "minutes_reason_missing")
    assert "Say why 90" in answer["message"]
    again = phone.close(minutes_on_site=90, minutes_reason="Waited for the key.")
    assert apply_operation(again, by=technician)["verdict"] == "applied"
    assert ParkedOperation.objects.get().settled_at is not None


def test_a_contact_is_not_wiped_by_a_closing_that_only_says_how_long_it_took(
    visit, phone, technician
):
    signed = {"contact_name": "Ana Prior", "signature_typed": "Ana Prior"}
    contact = phone.op("contact.set", **signed)
    close = phone.op("visit.close", minutes_on_site=30, minutes_reason="Came back for a ladder.")

    answers = apply_operations([phone.op("visit.start"), contact, close], by=technician)

    closed(visit)
    assert (visit.contact_name, visit.minutes_on_site) == ("Ana Prior", 30), answers


# --- conflicts ------------------------------------------------------------------------------------


def test_the_same_id_with_other_content_is_parked_and_overwrites_nothing(
    visit, phone, technician, trail
):
    _, _, (monitor, _) = places_of(visit)
    op = phone.op("reading.set", monitor=monitor, counts={"house-mouse": 1})
    apply_operation(op, by=technician)
    other = {**op, "body": {**op["body"], "counts": {"house-mouse": 9}}}

    answer = apply_operation(other, by=technician)

    assert (answer["verdict"], answer["code"]) == ("parked", "other_content")
    assert ReadingCount.objects.get().count == 1
    assert ParkedOperation.objects.get().sent == other
    assert trail()[-1] == "operation.parked"
    assert apply_operation(other, by=technician) == {**answer, "again": True}
    assert apply_operation(op, by=technician)["verdict"] == "applied"
    assert ParkedOperation.objects.count() == 1


def test_somebody_elses_id_tells_nothing_of_their_answer(visit, phone, technician, office):
    op = phone.op("visit.start")
    theirs = apply_operation(op, by=technician)
    stranger = make_technician()

    answer = apply_operation(op, by=stranger)

    assert answer["code"] == "other_content"
    assert "version" in theirs
    assert "version" not in answer


def test_two_phones_that_say_different_things_of_one_place_both_keep_theirs(
    visit, phone, technician
):
    _, _, (monitor, other) = places_of(visit)
    second = Phone(visit)
    apply_operation(phone.op("reading.set", monitor=monitor, counts={"wasp": 1}), by=technician)

    clash = apply_operation(second.op("reading.set", monitor=monitor, counts={}), by=technician)
    same = apply_operation(
        second.op("reading.set", monitor=monitor, counts={"wasp": 1}), by=technician
    )
    elsewhere = apply_operation(second.op("reading.set", monitor=other), by=technician)

    assert (clash["verdict"], clash["code"]) == ("parked", "changed_elsewhere")
    assert (same["verdict"], elsewhere["verdict"]) == ("applied", "applied")
    assert ReadingCount.objects.get().count == 1


def test_a_phone_that_has_seen_the_other_ones_word_may_change_it(visit, phone, technician):
    _, _, (monitor, _) = places_of(visit)
    seen = apply_operation(
        phone.op("reading.set", monitor=monitor, counts={"wasp": 1}), by=technician
    )
    second = Phone(visit, base_version=seen["version"])

    answer = apply_operation(
        second.op("reading.set", monitor=monitor, counts={"wasp": 2}), by=technician
    )

    assert answer["verdict"] == "applied"
    assert ReadingCount.objects.get().count == 2


# --- what cannot be applied -----------------------------------------------------------------------


def reassign(visit, office):
    book_visit(visit.pk, by=office, technician=make_technician(), day=visit.booked_on)


def reassign_but_leave_another(visit, office):
    make_visit(
        visit.site,
        state="booked",
        by=office,
        technician=visit.technician,
        due_on=datetime.now(UTC).date(),
    )
    reassign(visit, office)


WHY_NOT = {
    "called off": (
        lambda visit, office: call_off_visit(visit.pk, by=office, reason="Shut."),
        "visit_called_off",
    ),
    "missed": (
        lambda visit, office: miss_visit(
            visit.pk, by=office, reason="Nobody in.", at=local(visit, 20)
        ),
        "visit_missed",
    ),
    "off the plan": (lambda visit, office: unbook_visit(visit.pk, by=office), "unknown_visit"),
    "given to somebody else": (reassign, "unknown_visit"),
    "given away, and still at that site": (reassign_but_leave_another, "reassigned"),
}


@pytest.mark.parametrize("why", WHY_NOT)
def test_what_the_office_has_changed_meanwhile_is_parked_whole(
    visit, phone, technician, office, why
):
    change, code = WHY_NOT[why]
    change(visit, office)
    before = counts()[:5]
    op = phone.op("look.add", checkpoint=places_of(visit)[1][0])

    answer = apply_operation(op, by=technician)

    assert (answer["verdict"], answer["code"]) == ("parked", code)
    assert answer["message"]
    parked = ParkedOperation.objects.get()
    assert (parked.sent, parked.visit, parked.person) == (op, visit, technician)
    assert counts()[:5] == before
    assert apply_operation(op, by=technician) == {**answer, "again": True}


def test_a_strangers_visit_is_answered_like_no_visit(phone, technician, office):
    theirs = Phone(make_visit(state="booked", by=office))
    absent = Phone(theirs.visit)
    op, nothing = theirs.op("visit.start"), absent.op("visit.start")
    nothing["visit"] = str(uuid4())

    hidden, missing = apply_operation(op, by=technician), apply_operation(nothing, by=technician)

    assert {**hidden, "id": ""} == {**missing, "id": ""}
    assert hidden["code"] == "unknown_visit"
    theirs.visit.refresh_from_db()
    assert theirs.visit.state == "booked"


def test_a_closed_visit_takes_nothing_more(office, technician):
    visit = make_visit(state="closed", zones=1, by=office, technician=technician)
    op = Phone(visit).op("look.remove", checkpoint=places_of_one(visit))

    answer = apply_operation(op, by=technician)

    assert (answer["verdict"], answer["code"]) == ("parked", "visit_closed")
    assert Look.objects.count() == 3


def places_of_one(visit):
    return visit.site.zones.get().checkpoints.first()


def test_a_monitor_that_was_removed_meanwhile_is_read_all_the_same(visit, phone, technician):
    _, _, (monitor, _) = places_of(visit)
    monitor.removed_on = visit.booked_on
    monitor.save()

    assert (
        apply_operation(phone.op("reading.set", monitor=monitor), by=technician)["verdict"]
        == "applied"
    )


def test_a_monitor_of_another_site_is_parked_and_the_rest_applied(visit, phone, technician):
    stranger = make_monitor(make_zone(make_site()))
    _, (place, *_), (monitor, _) = places_of(visit)

    answers = apply_operations(
        [
            phone.op("look.add", checkpoint=place),
            phone.op("reading.set", monitor=stranger),
            phone.op("reading.set", monitor=monitor),
        ],
        by=technician,
    )

    assert verdicts(answers) == ["applied", "parked", "applied"]
    assert answers[1]["code"] == "unknown_monitor"


def test_a_closing_without_a_signature_is_parked_and_settled_by_a_later_one(
    visit, phone, technician
):
    apply_operation(phone.op("visit.start"), by=technician)

    answer = apply_operation(phone.close(signature=[[[0.1, 0.1], [0.11, 0.1]]]), by=technician)
    assert (answer["verdict"], answer["code"]) == ("parked", "signature_empty")

    assert apply_operation(phone.close(), by=technician)["verdict"] == "applied"
    assert ParkedOperation.objects.get().settled_at is not None


# --- what has not the shape of an operation -------------------------------------------------------

BENT = {
    "no device": lambda op: op.pop("device"),
    "no visit": lambda op: op.pop("visit"),
    "visit is a word": lambda op: op.update(visit="kitchen"),
    "seq is a word": lambda op: op.update(seq="first"),
    "seq below zero": lambda op: op.update(seq=-1),
    "seq beyond all bounds": lambda op: op.update(seq=2**70),
    "body is a list": lambda op: op.update(body=[]),
    "body is nothing": lambda op: op.update(body=None),
    "no time": lambda op: op.pop("made_at"),
    "time is a word": lambda op: op.update(made_at="teatime"),
    "time of the ancients, far ahead": lambda op: op.update(
        made_at="0001-01-01T00:00:00Z", clock_ahead=3_000_000_000
    ),
    "clock ahead by more than a century": lambda op: op.update(clock_ahead=10**10),
    "clock ahead by a word": lambda op: op.update(clock_ahead="far"),
    "clock ahead of all visits": lambda op: op.update(clock_ahead=2_000_000_000),
    "time of the ancients": lambda op: op.update(made_at="0001-01-01T00:00:00+14:00"),
    "kind unknown": lambda op: op.update(kind="visit.abolish"),
    "kind is a list": lambda op: op.update(kind=["look.add"]),
    "offset absurd": lambda op: op.update(offset_minutes=10**6),
    "no monitor": lambda op: op["body"].pop("monitor"),
    "monitor is a number": lambda op: op["body"].update(monitor=12),
    "condition unknown": lambda op: op["body"].update(condition="haunted"),
    "count below zero": lambda op: op["body"].update(counts={"wasp": -1}),
    "count is a word": lambda op: op["body"].update(counts={"wasp": "many"}),
    "counts are a list": lambda op: op["body"].update(counts=[1, 2]),
    "unknown pest": lambda op: op["body"].update(counts={"kraken": 1}),
    "a nul": lambda op: op["body"].update(note="a\x00b"),
    "half a character": lambda op: op["body"].update(note="\ud800"),
    "words without end": lambda op: op["body"].update(note="x" * 501),
}


@pytest.mark.parametrize("how", BENT)
def test_what_is_bent_is_answered_and_kept(visit, phone, technician, how):
    op = phone.op("reading.set", monitor=places_of(visit)[2][0])
    BENT[how](op)
    before = counts()[:5]

    answer = apply_operation(json.loads(json.dumps(op)), by=technician)

    assert answer["verdict"] == "parked"
    assert answer["id"] == op["id"]
    assert answer["message"]
    assert ParkedOperation.objects.count() == 1
    assert counts()[:5] == before
    assert apply_operation(json.loads(json.dumps(op)), by=technician) == {**answer, "again": True}


NESTED = {}
for _ in range(40):
    NESTED = {"deeper": NESTED}


@pytest.mark.parametrize(
    "noise",
    [
        None,
        7,
        "reading.set",
        [],
        {},
        {"id": 12},
        {"id": "twelve"},
        {"id": str(uuid4()), "body": {"note": "x" * 70_000}},
        {"id": str(uuid4()), "body": NESTED},
    ],
    ids=["null", "number", "word", "list", "empty", "id number", "id word", "huge", "deep"],
)
def test_noise_is_refused_and_not_kept(technician, noise):
    (answer,) = apply_operations([noise], by=technician)

    assert (answer["verdict"], answer["code"]) == ("refused", "malformed")
    assert not ParkedOperation.objects.exists()


def test_an_emoji_is_no_reason_to_park(visit, phone, technician):
    op = phone.op("reading.set", monitor=places_of(visit)[2][0], note="Mouse 🐁")

    assert apply_operation(op, by=technician)["verdict"] == "applied"


def test_a_fault_of_ours_parks_its_operation_and_lets_the_others_through(
    visit, phone, technician, monkeypatch
):
    def falls_over(visit, by, at, body):
        Look.objects.filter(visit=visit).delete()
        raise ZeroDivisionError

    broken = Kind("Reading", KINDS["reading.set"].body, falls_over)
    monkeypatch.setitem(KINDS, "reading.set", broken)
    _, (place, *_), (monitor, _) = places_of(visit)

    answers = apply_operations(
        [phone.op("look.add", checkpoint=place), phone.op("reading.set", monitor=monitor)],
        by=technician,
    )

    assert verdicts(answers) == ["applied", "parked"]
    assert answers[1]["code"] == "fault"
    assert Look.objects.count() == 1  # what it had done before it fell over was undone


def test_while_the_database_is_away_nothing_is_answered_or_kept(
    visit, phone, technician, monkeypatch
):
    def away(visit, by, at, body):
        raise OperationalError("the server closed the connection")

    monkeypatch.setitem(KINDS, "visit.start", Kind("Start", KINDS["visit.start"].body, away))

    with pytest.raises(OperationalError):
        apply_operation(phone.op("visit.start"), by=technician)

    assert not Operation.objects.exists()
    assert not ParkedOperation.objects.exists()


@pytest.mark.parametrize("person", [make_office, make_manager, make_auditor])
def test_only_technicians_send(phone, person):
    with pytest.raises(NotAllowed):
        apply_operations([phone.op("visit.start")], by=person())

    assert not Operation.objects.exists()


def test_more_than_a_hundred_at_once_are_too_many(phone, technician):
    with pytest.raises(Unusable, match="at most 100"):
        apply_operations([phone.op("visit.start")] * 101, by=technician)


# --- photos ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("order", ["before", "after", "twice", "never"])
def test_a_photo_arrives_before_its_finding_after_it_twice_or_never(
    visit, phone, technician, order
):
    data = make_photo_bytes()
    op = phone.op(
        "finding.set",
        finding=str(uuid7()),
        zone=places_of(visit)[0],
        kind="signs",
        photos=[sha256(data).hexdigest()],
    )
    sends = {"before": (True, False), "after": (False, True), "twice": (True, True)}
    first, then = sends.get(order, (False, False))

    if first:
        add_visit_photo(visit, by=technician, data=data)
    apply_operation(op, by=technician)
    if then:
        add_visit_photo(visit, by=technician, data=data)

    finding = Finding.objects.get()
    assert finding.shown_by.count() == (0 if order == "never" else 1)
    assert finding.awaits == ([sha256(data).hexdigest()] if order == "never" else [])


# --- two at once ----------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("names_a_visit", [True, False])
def test_two_deliveries_of_one_operation_at_once_have_one_effect(names_a_visit):
    technician = make_technician()
    visit = make_visit(state="booked", zones=1, by=make_office(), technician=technician)
    op = Phone(visit).op("look.add", checkpoint=places_of_one(visit))
    if not names_a_visit:
        op["visit"] = str(uuid4())
    barrier, answers = Barrier(4), []

    def deliver() -> None:
        try:
            barrier.wait(10)
            answers.append(apply_operation(op, by=technician))
        finally:
            connections.close_all()

    threads = [Thread(target=deliver) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)

    verdict = "applied" if names_a_visit else "parked"
    assert verdicts(answers) == [verdict] * 4
    assert [answer.get("again", False) for answer in answers].count(False) == 1
    assert Operation.objects.count() == 1
    assert Look.objects.count() == (1 if names_a_visit else 0)
    told = TrailEntry.objects.filter(verb__in=["visit.recorded", "operation.parked"])
    assert told.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_phones_sending_a_visit_at_once_lose_nothing():
    technician = make_technician()
    site = make_site(zones=2, monitors=2)
    visit = make_visit(site, state="booked", by=make_office(), technician=technician)
    zones = list(site.zones.order_by("walk_order"))
    batches = [
        [phone.op("look.add", checkpoint=one) for one in zone.checkpoints.all()]
        + [phone.op("reading.set", monitor=one) for one in zone.monitors.all()]
        for zone, phone in zip(zones, (Phone(visit), Phone(visit)), strict=True)
    ]
    barrier = Barrier(2)

    def send(batch) -> None:
        try:
            barrier.wait(10)
            apply_operations(batch, by=technician)
        finally:
            connections.close_all()

    threads = [Thread(target=send, args=(batch,)) for batch in batches]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)

    assert (Look.objects.count(), Reading.objects.count()) == (6, 4)
    visit.refresh_from_db()
    assert Operation.objects.filter(verdict="applied").count() == 10
    assert Operation.objects.values("version").distinct().count() == 10
