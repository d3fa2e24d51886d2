"""What one phone said beside what stands on the record: the office sees both, and decides."""

from datetime import UTC, datetime
from uuid import uuid4

import pytest
import time_machine
from django.urls import reverse

from accounts.ids import uuid7
from tests.builders.phone import Phone
from tests.builders.sites import make_site
from tests.builders.visits import local, make_product, make_visit
from visits.models import Look, ParkedOperation, ReadingCount
from visits.queries.clash import Compared, clash_of
from visits.services.parked import place_parked
from visits.services.sync import apply_operation

pytestmark = [
    pytest.mark.django_db,
]

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
    return Phone(visit), Phone(visit)


@pytest.fixture
def place(visit):
    return visit.site.zones.get().checkpoints.order_by("walk_order").first()


@pytest.fixture
def monitor(visit):
    return visit.site.monitors.order_by("number").first()


@pytest.fixture
def signed_in(client, office):
    client.force_login(office)
    return client


def clash_between(one, other, *, by):
    """Both are sent, and the second is parked over the first; its clash as the office sees it."""
    assert apply_operation(one, by=by)["verdict"] == "applied"
    answer = apply_operation(other, by=by)
    assert answer["code"] == "changed_elsewhere"
    return ParkedOperation.objects.get(operation_id=other["id"])


def seen(parked):
    clash = clash_of(
        ParkedOperation.objects.select_related("person", "visit__site").get(pk=parked.pk)
    )
    assert clash is not None
    return clash


def lines(clash) -> list[tuple]:
    return [(one.label, one.here, one.there, one.differs) for one in clash.lines]


def test_counts_are_compared_pest_by_pest_and_choices_in_words(phones, technician, monitor):
    first, second = phones
    parked = clash_between(
        first.op(
            "reading.set",
            monitor=monitor,
            counts={"wasp": 1, "house-mouse": 2},
            condition="damaged",
            renewed=True,
        ),
        second.op(
            "reading.set",
            monitor=monitor,
            counts={"house-mouse": 2, "german-cockroach": 3},
            condition="sound",
            renewed=True,
        ),
        by=technician,
    )

    clash = seen(parked)

    assert clash.place == f"Monitor {monitor.number}, {monitor.zone.name}"
    assert lines(clash) == [
        ("Condition", "Sound", "Damaged", True),
        ("German cockroach", "3", "none", True),
        ("Wasp", "none", "1", True),
        ("House mouse", "2", "2", False),
        ("Renewed", "yes", "yes", False),
    ]
    assert (clash.here.name, clash.there.name) == (technician.name, technician.name)
    assert (clash.here.at, clash.there.at) == (local(second.visit, 9, 1), local(first.visit, 9, 1))
    assert (clash.here.phone, clash.there.phone) == (second.device[-4:], first.device[-4:])
    assert (clash.stands, clash.is_changed, clash.is_over) == (True, False, False)


def test_words_of_two_kinds_stand_beside_each_other(phones, technician, place):
    first, second = phones
    parked = clash_between(
        first.op("not_reached.set", checkpoint=place, reason="blocked", whose_move="client"),
        second.op("look.add", checkpoint=place),
        by=technician,
    )

    assert lines(seen(parked)) == [
        ("What was said", "Looked, nothing", "Not reached", True),
        ("Reason", "nothing", "Blocked by goods or equipment", True),
        ("Whose move", "nothing", "The client", True),
    ]


def test_not_reached_that_gave_way_is_shown_beside_the_findings(phones, technician, place):
    first, second = phones
    zone = place.zone_id
    apply_operation(
        first.op("not_reached.set", checkpoint=place, reason="locked", whose_move="us"),
        by=technician,
    )
    for note in ("Rub marks", "Droppings"):
        apply_operation(
            second.op(
                "finding.set",
                finding=str(uuid7()),
                zone=str(zone),
                checkpoint=place,
                kind="signs",
                pest="house-mouse",
                note=note,
                photos=["a" * 64, "b" * 64],
                x=0.25,
                y=0.5,
            ),
            by=technician,
        )

    clash = seen(ParkedOperation.objects.get())

    said = {label: there for label, _, there, _ in lines(clash)}
    assert said["What was said"] == "Finding"
    assert (said["Kind"], said["Urgency"]) == ("Signs of pests", "Soon")
    assert (said["Pest"], said["Note"], said["Photos"]) == ("House mouse", "Rub marks", "2 photos")
    assert said["Mark on the plan"] == "25% from the left, 50% from the top"
    assert said["Findings here"] == "2"
    assert clash.place == f"{place.label}, {place.zone.name}"


def test_a_treatment_is_compared_by_what_it_means(phones, technician, place):
    first, second = phones
    product = make_product()
    said = {
        "treatment": str(uuid7()),
        "zone": str(place.zone_id),
        "product": product,
        "target": "wasp",
        "method": "gel",
        "place": "Sill",
        "amount": "2.50",
        "started_at": local(first.visit, 9, 20).isoformat(),
        "cautions_confirmed": ["equipment"],
    }
    parked = clash_between(
        first.op("treatment.set", **said),
        second.op("treatment.set", **{**said, "amount": "2.5", "place": "Frame"}),
        by=technician,
    )

    clash = seen(parked)

    assert lines(clash)[0] == ("Place", "Frame", "Sill", True)
    same = {label: here for label, here, _, differs in lines(clash) if not differs}
    assert (same["Product"], same["Target"], same["Amount"]) == (product.name, "Wasp", "2.5")
    assert (same["Method"], same["Started at"]) == ("Gel placement", "Tue 8 Dec 2026, 09:20")
    assert same["Cautions confirmed"].startswith("Wear what the label")


def test_whom_they_met_is_compared_without_the_strokes_of_the_pen(phones, technician):
    first, second = phones
    parked = clash_between(
        first.op("contact.set", contact_name="Ana Prior", signature=[[[0.1, 0.5], [0.9, 0.2]]]),
        second.op("contact.set", contact_name="Bo Lund", summary="All sound."),
        by=technician,
    )

    clash = seen(parked)

    assert clash.place == "Whom they met"
    assert lines(clash) == [
        ("Contact name", "Bo Lund", "Ana Prior", True),
        ("Summary", "All sound.", "nothing", True),
        ("Signature", "nothing", "Signed by hand", True),
    ]


# --- against what stands now ----------------------------------------------------------------------


@pytest.fixture
def parked(phones, technician, monitor):
    """One wasp stands; the second phone says two."""
    first, second = phones
    return clash_between(
        first.op("reading.set", monitor=monitor, counts={"wasp": 1}),
        second.op("reading.set", monitor=monitor, counts={"wasp": 2}),
        by=technician,
    )


def test_it_says_so_when_the_record_was_changed_since(parked, phones, technician, monitor):
    apply_operation(phones[0].op("reading.set", monitor=monitor, counts={"wasp": 4}), by=technician)

    clash = seen(parked)

    assert (clash.is_changed, clash.stands) == (True, True)
    assert clash.lines[0] == Compared("Wasp", "2", "4", True)
    assert clash.there.at == local(phones[0].visit, 9, 2)


def test_it_says_so_when_the_others_word_was_taken_back_since(parked, phones, technician, monitor):
    apply_operation(phones[0].op("reading.remove", monitor=monitor), by=technician)

    clash = seen(parked)

    assert (clash.is_changed, clash.stands, clash.there) == (True, False, None)
    assert lines(clash) == [
        ("What was said", "Reading", "nothing", True),
        ("Condition", "Sound", "nothing", True),
        ("Wasp", "2", "none", True),
    ]


def test_it_names_who_placed_another_record_there_since(parked, visit, technician, office, monitor):
    third = Phone(visit)
    other = apply_operation(
        third.op("reading.set", monitor=monitor, counts={"wasp": 7}), by=technician
    )
    third_parked = ParkedOperation.objects.get(operation_id=other["id"])
    place_parked(third_parked.pk, by=office, visit_id=visit.pk)

    clash = seen(parked)

    assert clash.lines[0] == Compared("Wasp", "2", "7", True)
    assert (clash.there.phone, clash.there.placed_by) == (third.device[-4:], office.name)
    assert clash.is_changed


def test_it_says_so_when_the_record_says_the_same_by_now(parked, phones, technician, monitor):
    apply_operation(phones[0].op("reading.set", monitor=monitor, counts={"wasp": 2}), by=technician)

    assert seen(parked).is_over


def test_an_operation_that_is_not_on_file_is_no_reason_to_fall_over(parked, technician):
    parked.by_operation = uuid4()
    parked.save()

    clash = seen(parked)

    assert (clash.there.name, clash.is_changed) == (technician.name, True)


# --- the page -------------------------------------------------------------------------------------


def page_of(client, parked, **posted):
    address = reverse("visits:inbox_item", args=[parked.pk])
    return client.post(address, posted) if posted else client.get(address)


def test_the_page_shows_both_and_marks_by_a_word_what_differs(signed_in, parked, phones):
    html = page_of(signed_in, parked).content.decode()

    assert "two phones, side by side" in html
    assert "differs" in html
    assert f"phone ending in {phones[0].device[-4:]}" in html
    assert "replaces what stands on the record now" in html
    assert "The record stays as it is." in html


def test_placing_it_puts_this_phones_word_on_the_record(signed_in, parked, visit):
    answer = page_of(signed_in, parked, **{"step": "place", "place-visit": str(visit.pk)})

    assert answer.status_code == 302
    assert ReadingCount.objects.get().count == 2
    parked.refresh_from_db()
    assert parked.settled_at


def test_setting_it_aside_leaves_the_record(signed_in, parked):
    answer = page_of(signed_in, parked, **{"step": "aside", "aside-note": "One was counted."})

    assert answer.status_code == 302
    assert ReadingCount.objects.get().count == 1
    parked.refresh_from_db()
    assert parked.settlement == "Set aside: One was counted."


def test_it_is_placed_on_no_other_visit(signed_in, parked, visit, office, technician):
    other = make_visit(visit.site, state="booked", by=office, technician=technician)

    answer = page_of(signed_in, parked, **{"step": "place", "place-visit": str(other.pk)})

    assert answer.status_code == 422
    parked.refresh_from_db()
    assert parked.settled_at is None


def test_each_clash_is_decided_by_itself(signed_in, parked, phones, technician, place, visit):
    first, second = phones
    other = clash_between(
        first.op("look.add", checkpoint=place),
        second.op("not_reached.set", checkpoint=place, reason="blocked", whose_move="client"),
        by=technician,
    )

    apply_operation(second.op("reading.set", monitor=str(uuid4())), by=technician)

    assert "other record" not in page_of(signed_in, parked).content.decode()
    page_of(
        signed_in,
        parked,
        **{"step": "place", "place-visit": str(visit.pk), "place-together": "on"},
    )

    other.refresh_from_db()
    assert other.settled_at is None
    assert ParkedOperation.objects.filter(settled_at=None).count() == 2
    assert Look.objects.exists()


def test_a_clash_goes_along_with_no_other_record(signed_in, parked, phones, technician, visit):
    start = phones[1].op("visit.start")
    apply_operation(start, by=technician)
    apply_operation({**start, "offset_minutes": 60}, by=technician)
    other = ParkedOperation.objects.get(code="other_content")

    assert "other record" not in page_of(signed_in, other).content.decode()
    page_of(
        signed_in, other, **{"step": "place", "place-visit": str(visit.pk), "place-together": "on"}
    )

    assert ParkedOperation.objects.get(settled_at=None) == parked


def test_what_settled_by_itself_says_so(signed_in, parked, phones, technician, monitor):
    apply_operation(phones[1].op("reading.set", monitor=monitor, counts={"wasp": 1}), by=technician)

    html = page_of(signed_in, parked).content.decode()

    assert "Settled by itself" in html
    assert "The technician has since said something else here." in html


BENT = {
    "nothing": {},
    "a list": [],
    "as text": {"as_text": '{"kind": "reading.set"}'},
    "no body": {"kind": "reading.set"},
    "body is a number": {"kind": "reading.set", "body": 7},
    "kind is a list": {"kind": ["reading.set"], "body": {}},
    "nothing touched": {"kind": "visit.start", "body": {}},
    "no such monitor": {"kind": "reading.set", "body": {"monitor": str(uuid4())}},
    "no such zone": {
        "kind": "not_reached.set",
        "body": {"zone": str(uuid4()), "reason": "locked", "whose_move": "us"},
    },
    "no such finding": {"kind": "finding.remove", "body": {"finding": str(uuid4())}},
    "no such pest": {"kind": "reading.set", "body": {"monitor": str(uuid4()), "counts": {"x": 1}}},
    "device is a list": {"kind": "contact.set", "body": {}, "device": [1, 2]},
}


@pytest.mark.parametrize("how", BENT)
@pytest.mark.parametrize("has_other", [True, False])
def test_bent_content_can_still_be_read_and_set_aside(signed_in, parked, how, has_other):
    parked.sent = BENT[how]
    if not has_other:
        parked.by_operation = None
    parked.save()

    assert page_of(signed_in, parked).status_code == 200
    assert page_of(signed_in, parked, **{"step": "aside", "aside-note": "Bent."}).status_code == 302


def test_what_was_not_parked_over_another_phone_has_no_clash(signed_in, parked):
    parked.code = "visit_closed"
    parked.save()

    assert clash_of(parked) is None
    assert "side by side" not in page_of(signed_in, parked).content.decode()


def parked_not_reached(phone, place, technician):
    answer = apply_operation(
        phone.op("not_reached.set", checkpoint=place, reason="locked", whose_move="us"),
        by=technician,
    )
    return ParkedOperation.objects.select_related("person", "visit__site").get(
        operation_id=answer["id"]
    )


@pytest.mark.parametrize("count", [2, 30])
def test_it_costs_the_same_however_much_was_recorded(
    office, technician, count, django_assert_num_queries
):
    site = make_site(zones=1, monitors=count)
    visit = make_visit(site, state="under_way", by=office, technician=technician)
    first, second = Phone(visit), Phone(visit)
    for one in site.monitors.order_by("number"):
        apply_operation(first.op("reading.set", monitor=one, counts={"wasp": 1}), by=technician)
    zone = site.zones.get()
    place = zone.checkpoints.order_by("walk_order").first()
    for _ in range(count):
        apply_operation(
            first.op(
                "finding.set",
                finding=str(uuid7()),
                zone=zone,
                checkpoint=place,
                kind="signs",
                pest="wasp",
            ),
            by=technician,
        )
    parked = parked_not_reached(second, place, technician)

    # Looks, not reached, findings and their photos (4), the receipt and what was placed (2),
    # names (5) and pests.
    with django_assert_num_queries(12):
        clash = clash_of(parked)

    assert Compared("Findings here", "nothing", str(count), True) in clash.lines
