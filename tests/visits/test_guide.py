"""The method guide on file: the starting set, what the office makes of it, and its pages."""

from dataclasses import replace
from datetime import date

import pytest
from django.urls import reverse

from accounts.refusals import Changed, NotAllowed, Unusable, WrongState
from sites.keeping import fingerprint
from tests.builders.accounts import make_office
from visits.dosing.guide import LAST_WORD, Situation, advise, row_as_data
from visits.dosing.guide_rows import STARTING_SET
from visits.models import GuideLine
from visits.queries.guide import guide_rows, guide_table
from visits.services.guide import (
    add_guide_line,
    amend_guide_line,
    ensure_guide_lines,
    put_back_guide_line,
    restore_guide_line,
    retire_guide_line,
)

pytestmark = pytest.mark.django_db

TODAY = date(2026, 12, 8)
OWN = {
    "verdict": "rule_out",
    "formulation": "dust",
    "method": "",
    "words": "Never dust in the museum: the air handling carries it.",
    "rank": 0,
    "zone_kinds": ["dining", "bar"],
    "surfaces": [],
    "pest_groups": [],
    "pests": [],
    "surroundings": ["openings"],
    "but_not": [],
    "source": "Our own rule",
}


def some_line() -> GuideLine:
    return GuideLine.objects.get(key=STARTING_SET[0].key)


def shown(line: GuideLine) -> str:
    return fingerprint(line, ["words"])


# --- the starting set -----------------------------------------------------------------------------


def test_a_new_installation_has_the_whole_starting_set_in_its_order():
    assert guide_rows() == list(STARTING_SET)
    assert not GuideLine.objects.filter(amended=True).exists()


def test_migrating_again_changes_nothing_and_asks_little(django_assert_num_queries):
    before = list(GuideLine.objects.order_by("pk").values())

    with django_assert_num_queries(1):
        ensure_guide_lines(GuideLine.objects.all(), today=TODAY)

    assert list(GuideLine.objects.order_by("pk").values()) == before


def test_a_release_brings_its_new_rows_and_words_and_leaves_the_offices_alone(office):
    amended = amend_guide_line(some_line().pk, by=office, words="As we do it here.")
    own = add_guide_line(by=office, **OWN)
    first, second, third, *others = STARTING_SET
    released = [
        replace(first, words="New words for the first."),
        replace(second, words="New words for the second."),
        replace(third, key="quite-new", words="A row that was not there."),
        *others,
    ]

    ensure_guide_lines(GuideLine.objects.all(), today=TODAY, rows=released)

    amended.refresh_from_db()
    own.refresh_from_db()
    assert amended.words == "As we do it here."
    assert (own.words, own.retired_on) == (OWN["words"], None)
    assert GuideLine.objects.get(key=second.key).words == "New words for the second."
    assert GuideLine.objects.get(key="quite-new").words == "A row that was not there."
    dropped = GuideLine.objects.get(key=third.key)
    assert (dropped.retired_on, dropped.amended) == (TODAY, False)


def test_a_line_that_the_office_retired_stays_retired_whatever_a_release_says(office):
    line = retire_guide_line(some_line().pk, by=office, on=TODAY, reason="Not with our products.")
    released = [replace(STARTING_SET[0], words="Better words."), *STARTING_SET[1:]]

    ensure_guide_lines(GuideLine.objects.all(), today=TODAY, rows=released)

    line.refresh_from_db()
    assert (line.retired_on, line.words) == (TODAY, STARTING_SET[0].words)


# --- what the office makes of it ------------------------------------------------------------------


def test_an_amended_line_is_what_the_guide_says_from_then_on(office, trail):
    line = some_line()
    before = trail()

    amend_guide_line(line.pk, by=office, seen=shown(line), words="As we do it here.")

    line.refresh_from_db()
    assert line.amended
    assert guide_rows()[0] == replace(STARTING_SET[0], words="As we do it here.")
    assert trail() == [*before, "guide.amended"]


def test_a_line_that_somebody_else_amended_meanwhile_is_not_written_over(office):
    line = some_line()
    seen = shown(line)
    amend_guide_line(line.pk, by=make_office(), words="Their words.")

    with pytest.raises(Changed):
        amend_guide_line(line.pk, by=office, seen=seen, words="My words.")

    line.refresh_from_db()
    assert line.words == "Their words."


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"words": " "}, "words"),
        ({"verdict": "prefer", "method": ""}, "method"),
        ({"verdict": "prefer", "formulation": "", "method": "gel"}, "formulation"),
        ({"zone_kinds": ["submarine"]}, "zone_kinds"),
        ({"surroundings": ["openings"], "but_not": ["openings"]}, "but_not"),
        ({"pests": ["unicorn"]}, "pests"),
    ],
)
def test_what_the_rule_could_not_read_is_refused_beside_its_field(office, trail, facts, field):
    before = trail()

    with pytest.raises(Unusable) as refused:
        add_guide_line(by=office, **{**OWN, **facts})
    with pytest.raises(Unusable):
        amend_guide_line(some_line().pk, by=office, **{**OWN, **facts})

    assert refused.value.facts["field"] == field
    assert guide_rows() == list(STARTING_SET)
    assert trail() == before


def test_a_line_of_the_offices_own_counts_after_all_others(office, trail):
    situation = Situation("bar", "crack", pest_group="cockroach", openings=True)
    assert OWN["words"] not in [one.reason for one in advise(situation, guide_rows()).ruled_out]
    before = trail()

    line = add_guide_line(by=office, **OWN)

    assert guide_rows()[-1].key == line.key
    assert OWN["words"] in [one.reason for one in advise(situation, guide_rows()).ruled_out]
    assert trail() == [*before, "guide.added"]


def test_a_retired_line_says_nothing_until_it_is_brought_back(office, trail):
    line = some_line()
    before = trail()

    retire_guide_line(line.pk, by=office, on=TODAY, reason="Not with our products.")
    assert guide_rows() == list(STARTING_SET[1:])
    with pytest.raises(WrongState):
        retire_guide_line(line.pk, by=office, on=TODAY, reason="Again.")
    with pytest.raises(WrongState):
        amend_guide_line(line.pk, by=office, words="Changed while retired.")

    restore_guide_line(line.pk, by=office)
    assert guide_rows() == list(STARTING_SET)
    with pytest.raises(WrongState):
        restore_guide_line(line.pk, by=office)
    assert trail() == [*before, "guide.retired", "guide.restored"]


def test_retiring_wants_a_reason(office):
    with pytest.raises(Unusable, match="Say why"):
        retire_guide_line(some_line().pk, by=office, on=TODAY, reason="  ")
    assert guide_rows() == list(STARTING_SET)


def test_a_line_can_be_given_its_first_words_again_and_follows_releases_then(office):
    line = some_line()
    with pytest.raises(WrongState):
        put_back_guide_line(line.pk, by=office)
    amend_guide_line(line.pk, by=office, words="As we do it here.", zone_kinds=["bar"])

    put_back_guide_line(line.pk, by=office)

    assert guide_rows() == list(STARTING_SET)
    line.refresh_from_db()
    assert not line.amended
    with pytest.raises(WrongState):
        put_back_guide_line(add_guide_line(by=office, **OWN).pk, by=office)


def test_only_the_office_keeps_the_guide(technician, manager):
    line = some_line()
    for person in (technician, manager):
        with pytest.raises(NotAllowed):
            amend_guide_line(line.pk, by=person, words="Mine.")
        with pytest.raises(NotAllowed):
            add_guide_line(by=person, **OWN)
        with pytest.raises(NotAllowed):
            retire_guide_line(line.pk, by=person, on=TODAY, reason="Mine.")
        with pytest.raises(NotAllowed):
            restore_guide_line(line.pk, by=person)
        with pytest.raises(NotAllowed):
            put_back_guide_line(line.pk, by=person)
    assert guide_rows() == list(STARTING_SET)


def test_the_phone_gets_the_table_as_the_pure_rule_writes_it(django_assert_num_queries):
    with django_assert_num_queries(1):
        table = guide_table()
    assert table == [row_as_data(row) for row in STARTING_SET]


# --- pages ----------------------------------------------------------------------------------------


def test_the_page_shows_a_line_with_its_reason_and_who_decides(client, technician):
    client.force_login(technician)

    page = client.get(reverse("visits:guide")).content.decode()

    assert STARTING_SET[0].words in page
    assert LAST_WORD in page
    assert "Amend" not in page


def test_the_table_is_narrowed_to_what_holds_in_a_zone(client, office):
    client.force_login(office)
    add_guide_line(by=office, **OWN)
    address = reverse("visits:guide_csv")

    def keys(zone_kind: str) -> list[str]:
        body = b"".join(client.get(address, {"zone_kind": zone_kind}).streaming_content).decode()
        return [line for line in body.splitlines() if OWN["words"] in line]

    assert len(keys("bar")) == 1
    assert keys("roof_void") == []


def test_the_guide_can_be_asked_about_a_place(client, technician):
    client.force_login(technician)
    asked = {
        "zone_kind": "kitchen",
        "surface": "crack",
        "pest": "german-cockroach",
        "around": ["food_contact"],
    }
    situation = Situation("kitchen", "crack", "german-cockroach", "cockroach", food_contact=True)
    advice = advise(situation, STARTING_SET)
    assert advice.preferred

    page = client.get(reverse("visits:guide_try"), asked).content.decode()

    for one in advice.preferred:
        assert one.reason in page
    assert LAST_WORD in page


def test_what_cannot_be_asked_gets_a_sentence_beside_its_field(client, office):
    client.force_login(office)

    answer = client.get(reverse("visits:guide_try"), {"zone_kind": "submarine"})

    assert answer.status_code == 422
    assert "submarine is not one of the available choices" in answer.content.decode()


def test_a_line_is_added_amended_and_retired_on_its_pages(client, office):
    client.force_login(office)

    answer = client.post(reverse("visits:guide_add"), {**OWN, "words": ""})
    assert answer.status_code == 422
    client.post(reverse("visits:guide_add"), OWN)
    line = GuideLine.objects.get(words=OWN["words"])
    assert (line.zone_kinds, line.surroundings) == (["bar", "dining"], ["openings"])

    address = reverse("visits:guide_amend", args=[line.pk])
    seen = client.get(address).context["form"].fields["seen"].initial
    client.post(address, {**OWN, "seen": seen, "words": "Shorter.", "zone_kinds": ["bar"]})
    line.refresh_from_db()
    assert (line.words, line.zone_kinds) == ("Shorter.", ["bar"])

    client.post(
        reverse("visits:guide_retire", args=[line.pk]), {"on": "2026-12-08", "reason": "Done."}
    )
    line.refresh_from_db()
    assert line.retired_on == TODAY
    assert "Shorter." not in client.get(reverse("visits:guide")).content.decode()
    page = client.get(reverse("visits:guide"), {"retired": "on", "page": 99})
    assert "Bring back" in page.content.decode()
