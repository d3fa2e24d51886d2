"""Two phones on one visit: their records are merged, and a person decides only where they must."""

import random
from datetime import UTC, datetime
from itertools import zip_longest

import pytest
import time_machine

from accounts.ids import uuid7
from accounts.models import TrailEntry
from tests.builders.accounts import make_technician
from tests.builders.phone import Phone
from tests.builders.sites import make_site
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
)
from visits.services.sync import apply_operation, apply_operations

pytestmark = pytest.mark.django_db

EVENING = datetime(2026, 12, 8, 18, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def evening():
    """Six on the day of the visits, when what phones recorded in the morning has arrived."""
    with time_machine.travel(EVENING) as clock:
        yield clock


@pytest.fixture
def visit(office, technician):
    return make_visit(state="under_way", zones=1, monitors=2, by=office, technician=technician)


@pytest.fixture
def phones(visit):
    """Two phones of one technician that have seen the visit as it was begun, and not each other."""
    return Phone(visit), Phone(visit)


@pytest.fixture
def place(visit):
    return visit.site.zones.get().checkpoints.order_by("walk_order").first()


@pytest.fixture
def monitor(visit):
    return visit.site.monitors.order_by("number").first()


def a_finding(phone, place, **body):
    given = {"finding": str(uuid7()), "zone": place.zone_id, "kind": "signs", "checkpoint": place}
    return phone.op("finding.set", **{**given, "zone": str(place.zone_id), **body})


def a_look(phone, place):
    return phone.op("look.add", checkpoint=place)


def unreached(phone, place):
    return phone.op("not_reached.set", checkpoint=place, reason="blocked", whose_move="client")


def a_reading(phone, monitor, **counts):
    return phone.op("reading.set", monitor=monitor, counts=counts)


def outcomes(answers) -> list[str]:
    return [answer.get("code", answer["verdict"]) for answer in answers]


def word_on(place) -> list[str]:
    """What the record says of a checkpoint."""
    said = {
        "look": Look.objects.filter(checkpoint=place),
        "not reached": NotReached.objects.filter(checkpoint=place),
    }
    findings = Finding.objects.filter(checkpoint=place).order_by("note")
    return [word for word, rows in said.items() if rows.exists()] + [
        f"finding {one.note}".strip() for one in findings
    ]


def waiting() -> list[str]:
    """The kinds of what waits for a person to decide."""
    open_ones = ParkedOperation.objects.filter(settled_at=None).order_by("created_at")
    assert {one.code for one in open_ones} <= {"changed_elsewhere"}
    return [one.sent["kind"] for one in open_ones]


# --- merged by record -----------------------------------------------------------------------------


def test_two_phones_at_different_places_both_apply_whole(office, technician):
    """Forty records, interleaved, though neither phone has seen one word of the other's."""
    site = make_site(zones=4, monitors=7)
    visit = make_visit(site, state="booked", by=office, technician=technician)
    product = make_product()
    first, second = Phone(visit), Phone(visit)
    batches: dict[Phone, list] = {first: [], second: []}
    for number, zone in enumerate(site.zones.order_by("walk_order")):
        phone = (first, second)[number % 2]
        low, reach, overhead = zone.checkpoints.order_by("walk_order")
        batches[phone] += [
            *(a_reading(phone, one, wasp=number) for one in zone.monitors.order_by("number")),
            a_look(phone, low),
            a_finding(phone, reach),
            unreached(phone, overhead),
        ]
    for phone in (first, second):
        batches[phone].insert(0, phone.op("visit.start"))
        batches[phone].append(
            phone.op(
                "treatment.set",
                treatment=str(uuid7()),
                zone=site.zones.first(),
                product=product,
                target="wasp",
                method="gel",
                place="Sill",
                amount="1",
                started_at=local(visit, 9, 20).isoformat(),
            )
        )
    interleaved = [one for pair in zip_longest(*batches.values()) for one in pair if one]

    answers = [apply_operation(one, by=technician) for one in interleaved]

    assert len(interleaved) == 44
    assert set(outcomes(answers)) == {"applied"}
    assert not ParkedOperation.objects.exists()
    counted = [one.objects.count() for one in (Reading, Look, Finding, NotReached, Treatment)]
    assert counted == [28, 4, 4, 4, 2]


def test_only_the_very_same_place_clashes(visit, phones, technician, monitor, place):
    first, second = phones
    other = visit.site.monitors.order_by("number").last()
    apply_operations([a_reading(first, monitor, wasp=1), a_look(first, place)], by=technician)

    answers = apply_operations(
        [
            a_reading(second, other, wasp=2),
            a_reading(second, monitor, wasp=2),
            a_look(second, place.zone.checkpoints.order_by("walk_order").last()),
        ],
        by=technician,
    )

    assert outcomes(answers) == ["applied", "changed_elsewhere", "applied"]
    parked = ParkedOperation.objects.get()
    assert parked.by_operation == Operation.objects.get(device=first.device, seq=1).pk
    assert ReadingCount.objects.get(reading__monitor=monitor).count == 1


# What the first phone says of a checkpoint, what the second says without having seen it; what
# stands then, and what waits for a person.
AT_ONE_CHECKPOINT = {
    "look, look": ("look", "look", ["look"], []),
    "look, finding": ("look", "finding", ["finding"], []),
    "finding, look": ("finding", "look", ["finding"], []),
    "finding, finding": ("finding", "finding", ["finding", "finding"], []),
    "not reached, finding": ("not reached", "finding", ["finding"], ["not_reached.set"]),
    "finding, not reached": ("finding", "not reached", ["finding"], ["not_reached.set"]),
    "look, not reached": ("look", "not reached", ["look"], ["not_reached.set"]),
    "not reached, look": ("not reached", "look", ["not reached"], ["look.add"]),
    "not reached, not reached": ("not reached", "not reached", ["not reached"], []),
}
SAYS = {"look": a_look, "finding": a_finding, "not reached": unreached}


@pytest.mark.parametrize("case", AT_ONE_CHECKPOINT)
def test_what_two_phones_say_of_one_checkpoint(phones, technician, place, case):
    first, second = phones
    says, then, stands, waits = AT_ONE_CHECKPOINT[case]
    apply_operation(SAYS[says](first, place), by=technician)

    apply_operation(SAYS[then](second, place), by=technician)

    assert (word_on(place), waiting()) == (stands, waits)


@pytest.mark.parametrize("says", SAYS)
@pytest.mark.parametrize("then", SAYS)
def test_a_finding_is_never_lost_whoever_comes_first(phones, technician, place, says, then):
    for phone, words in zip(phones, (says, then), strict=True):
        apply_operation(SAYS[words](phone, place), by=technician)
        apply_operation(a_finding(phone, place, note="of mine"), by=technician)

    assert word_on(place).count("finding of mine") == 2


def test_not_reached_that_gave_way_to_a_finding_is_kept_whole_for_the_office(
    phones, technician, place, visit
):
    first, second = phones
    blocked = unreached(first, place)
    found = a_finding(second, place)
    answer = apply_operation(blocked, by=technician)

    apply_operation(found, by=technician)
    apply_operation(a_finding(second, place), by=technician)

    parked = ParkedOperation.objects.get()
    assert (parked.person, parked.visit) == (technician, visit)
    assert parked.sent["body"] == blocked["body"]
    assert (str(parked.by_operation), parked.code) == (found["id"], "changed_elsewhere")
    assert TrailEntry.objects.filter(verb="operation.parked").count() == 1
    assert apply_operation(blocked, by=technician) == {**answer, "again": True}


def test_the_same_said_in_other_words_is_no_clash(phones, technician, monitor):
    first, second = phones
    apply_operation(
        first.op("reading.set", monitor=monitor, counts={"wasp": 2, "house-mouse": 0}, note=" A "),
        by=technician,
    )

    answer = apply_operation(
        second.op(
            "reading.set",
            monitor=str(monitor.pk).upper(),
            counts={"wasp": 2},
            condition="sound",
            note="A",
        ),
        by=technician,
    )

    assert answer["verdict"] == "applied"
    assert ReadingCount.objects.get().count == 2


def test_it_is_judged_by_what_stands_and_not_by_what_was_said_on_the_way(
    phones, technician, monitor
):
    """The other phone corrected itself, and now says what this one says."""
    first, second = phones
    apply_operations(
        [a_reading(first, monitor, wasp=1), a_reading(first, monitor, wasp=4)], by=technician
    )

    same = apply_operation(a_reading(second, monitor, wasp=4), by=technician)
    other = apply_operation(a_reading(second, monitor, wasp=1), by=technician)

    assert outcomes([same, other]) == ["applied", "changed_elsewhere"]
    last = Operation.objects.get(device=first.device, seq=2)
    assert ParkedOperation.objects.get().by_operation == last.pk


def test_where_nothing_stands_any_more_there_is_nothing_to_clash_with(
    phones, technician, place, monitor
):
    first, second = phones
    finding = a_finding(first, place, note="of mine")
    apply_operations(
        [
            finding,
            first.op("finding.remove", finding=finding["body"]["finding"]),
            a_reading(first, monitor, wasp=1),
            first.op("reading.remove", monitor=monitor),
        ],
        by=technician,
    )

    answers = apply_operations(
        [a_look(second, place), a_reading(second, monitor, wasp=9)], by=technician
    )

    assert outcomes(answers) == ["applied", "applied"]
    assert word_on(place) == ["look"]
    assert ReadingCount.objects.get().count == 9


def test_what_changed_nothing_is_nothing_to_have_seen(phones, technician, place):
    """A look that comes after "not reached" of the same phone says nothing to another phone."""
    first, second = phones
    looked, blocked = a_look(first, place), unreached(first, place)
    apply_operation(blocked, by=technician)
    apply_operation(looked, by=technician)

    answer = apply_operation(a_look(second, place), by=technician)

    assert answer["code"] == "changed_elsewhere"
    assert str(ParkedOperation.objects.get().by_operation) == blocked["id"]
    assert word_on(place) == ["not reached"]


def test_only_what_was_seen_is_taken_back(phones, technician, place, monitor):
    """Each phone undoes its own tap; what the other has said since stays, and nobody is asked."""
    first, second = phones
    finding = a_finding(second, place, note="a guess")
    first.base_version = apply_operation(finding, by=technician)["version"]
    apply_operations(
        [
            a_reading(first, monitor, wasp=1),
            a_finding(first, place, finding=finding["body"]["finding"], note="as it is"),
        ],
        by=technician,
    )

    answers = apply_operations(
        [
            a_reading(second, monitor, wasp=1),
            second.op("reading.remove", monitor=monitor),
            second.op("finding.remove", finding=finding["body"]["finding"]),
        ],
        by=technician,
    )

    assert outcomes(answers) == ["applied", "applied", "applied"]
    assert ReadingCount.objects.get().count == 1
    assert word_on(place) == ["finding as it is"]


def test_what_was_seen_may_be_taken_back(phones, technician, place):
    first, second = phones
    finding = a_finding(first, place)
    second.base_version = apply_operation(finding, by=technician)["version"]

    apply_operation(second.op("finding.remove", finding=finding["body"]["finding"]), by=technician)

    assert word_on(place) == []


def test_a_look_replaces_the_phones_own_finding_and_leaves_the_others(phones, technician, place):
    first, second = phones
    apply_operation(a_finding(first, place, note="theirs"), by=technician)

    answers = apply_operations(
        [a_finding(second, place, note="a mistake"), a_look(second, place)], by=technician
    )

    assert outcomes(answers) == ["applied", "applied"]
    assert word_on(place) == ["finding theirs"]


@pytest.mark.parametrize("seed", range(8))
def test_a_second_phone_that_arrives_in_any_order_ends_the_same(office, technician, seed):
    """All of the first phone's words are there; the second's come one by one, shuffled."""
    dice = random.Random(seed)
    ends = []
    for shuffled in (False, True):
        visit = make_visit(
            make_site(zones=1, monitors=3), state="under_way", by=office, technician=technician
        )
        first, second = Phone(visit), Phone(visit)
        low, reach, overhead = visit.site.zones.get().checkpoints.order_by("walk_order")
        one, two, three = visit.site.monitors.order_by("number")
        apply_operations(
            [
                a_finding(first, low, note="theirs"),
                unreached(first, reach),
                a_look(first, overhead),
                a_reading(first, one, wasp=1),
                a_reading(first, two, wasp=2),
            ],
            by=technician,
        )
        operations = [
            a_finding(second, low, note="a mistake"),
            a_look(second, low),
            a_look(second, reach),
            a_finding(second, reach, note="mine"),
            a_finding(second, overhead, note="mine"),
            a_reading(second, one, wasp=7),
            a_reading(second, one, wasp=1),
            a_reading(second, two, wasp=2),
            second.op("reading.remove", monitor=two),
            a_reading(second, three, wasp=3),
        ]
        if shuffled:
            dice.shuffle(operations)
        for operation in operations:
            apply_operation(operation, by=technician)
        ends.append(
            (
                word_on(low),
                word_on(reach),
                word_on(overhead),
                sorted(
                    ReadingCount.objects.filter(reading__visit=visit).values_list(
                        "reading__monitor__number", "count"
                    )
                ),
                sorted(
                    parked.sent["kind"]
                    for parked in ParkedOperation.objects.filter(visit=visit, settled_at=None)
                ),
            )
        )

    in_order, in_any_order = ends
    assert in_any_order == in_order
    assert in_order == (
        ["finding theirs"],
        ["finding mine"],
        ["finding mine"],
        [(1, 1), (2, 2), (3, 3)],
        ["not_reached.set"],
    )


def test_a_phones_own_later_word_spares_everybody_a_decision(phones, technician, monitor):
    first, second = phones
    seen = apply_operation(a_reading(first, monitor, wasp=1), by=technician)
    early = a_reading(second, monitor, wasp=2)
    second.base_version = seen["version"]
    late = a_reading(second, monitor, wasp=3)

    assert outcomes(apply_operation(one, by=technician) for one in (late, early)) == [
        "applied",
        "applied",
    ]
    assert ReadingCount.objects.get().count == 3
    assert waiting() == []


# --- settled on the spot --------------------------------------------------------------------------


@pytest.fixture
def clash(phones, technician, monitor):
    """The first phone says one wasp, the second says two without having seen it."""
    first, second = phones
    apply_operation(a_reading(first, monitor, wasp=1), by=technician)
    apply_operation(a_reading(second, monitor, wasp=2), by=technician)
    return ParkedOperation.objects.get()


def sees(phone):
    phone.visit.refresh_from_db()
    phone.base_version = phone.visit.version


def settlement(parked) -> str:
    parked.refresh_from_db()
    assert (parked.settled_at is None) == (parked.settlement == "")
    return parked.settlement


def test_saying_it_again_after_seeing_the_other_settles_it(clash, phones, technician, monitor):
    second = phones[1]
    sees(second)

    answer = apply_operation(a_reading(second, monitor, wasp=2), by=technician)

    assert answer["verdict"] == "applied"
    assert ReadingCount.objects.get().count == 2
    assert settlement(clash) == "The technician said it again after seeing the other."
    entry = TrailEntry.objects.get(verb="operation.placed")
    assert (entry.actor, entry.facts["note"]) == (None, clash.settlement)


@pytest.mark.parametrize("how", ["another reading", "not reached", "taken back", "agrees"])
def test_saying_something_else_of_the_place_settles_it(clash, phones, technician, monitor, how):
    second = phones[1]
    if how != "agrees":  # with what stands one may agree without having seen it
        sees(second)
    says = {
        "another reading": lambda: a_reading(second, monitor, wasp=5),
        "not reached": lambda: second.op(
            "not_reached.set", monitor=monitor, reason="locked", whose_move="us"
        ),
        "taken back": lambda: second.op("reading.remove", monitor=monitor),
        "agrees": lambda: a_reading(second, monitor, wasp=1),
    }[how]

    assert apply_operation(says(), by=technician)["verdict"] == "applied"

    assert settlement(clash) == "The technician has since said something else here."


def test_on_another_phone_it_is_settled_as_well(clash, visit, technician, monitor, evening):
    evening.shift(60)
    visit.refresh_from_db()
    third = Phone(visit)
    third.seq = 30

    apply_operation(a_reading(third, monitor, wasp=2), by=technician)

    assert settlement(clash) == "The technician said it again after seeing the other."


def test_a_clash_over_whom_they_met_is_settled_by_the_closing(phones, technician, visit):
    first, second = phones
    apply_operation(first.op("contact.set", contact_name="Ana Prior"), by=technician)
    apply_operation(second.op("contact.set", contact_name="Bo Lund"), by=technician)
    clash = ParkedOperation.objects.get()
    assert settlement(clash) == ""

    apply_operation(second.close(contact_name="Bo Lund"), by=technician)

    visit.refresh_from_db()
    assert (visit.state, visit.contact_name) == ("closed", "Bo Lund")
    assert settlement(clash) == "The technician has since said something else here."


NOT_YET = {
    "of another place": lambda phones, monitor, others: a_reading(phones[1], others, wasp=2),
    "made before it": lambda phones, monitor, others: {
        **a_reading(phones[0], monitor, wasp=3),
        "made_at": local(phones[0].visit, 8).isoformat(),
    },
}


@pytest.mark.parametrize("how", NOT_YET)
def test_it_waits_on_while_nothing_new_was_said_of_the_place(
    clash, phones, technician, visit, monitor, how
):
    for phone in phones:
        sees(phone)
    other = visit.site.monitors.order_by("number").last()

    answer = apply_operation(NOT_YET[how](phones, monitor, other), by=technician)

    assert answer["verdict"] == "applied"
    assert settlement(clash) == ""


def test_it_waits_on_while_who_says_more_has_not_seen_the_other(clash, phones, technician, monitor):
    """The phone whose word stands goes on speaking, from before there was a clash."""
    first = phones[0]
    first.seq = 30  # made long after

    apply_operation(a_reading(first, monitor, wasp=3), by=technician)

    assert first.base_version < Operation.objects.get(pk=clash.by_operation).version
    assert settlement(clash) == ""


def test_it_waits_on_when_somebody_else_speaks(clash, visit, monitor):
    other = make_technician()
    # No service gives a visit away that is under way; the rule must not lean on that.
    visit.technician = other
    visit.save(update_fields=["technician"])
    phone = Phone(visit)
    sees(phone)
    phone.seq = 30

    assert apply_operation(a_reading(phone, monitor, wasp=2), by=other)["verdict"] == "applied"

    assert settlement(clash) == ""


def test_what_was_parked_for_another_reason_waits_on(phones, technician, visit, monitor):
    second = phones[1]
    op = a_reading(second, monitor, wasp=2)
    apply_operation(op, by=technician)
    bent = {**op, "body": {**op["body"], "counts": {"wasp": 9}}}
    apply_operation(bent, by=technician)
    parked = ParkedOperation.objects.get()

    apply_operation(a_reading(second, monitor, wasp=9), by=technician)

    assert parked.code == "other_content"
    assert settlement(parked) == ""


def test_a_bent_record_that_waits_stands_in_nobodys_way(clash, phones, technician, monitor):
    second = phones[1]
    for sent in ({}, [], {"kind": "reading.set", "body": 7}, {**clash.sent, "seq": "x"}):
        clash.sent = sent
        clash.save()

        answer = apply_operation(a_reading(second, monitor, wasp=1), by=technician)

        assert answer["verdict"] == "applied"
        assert settlement(clash) == ""
