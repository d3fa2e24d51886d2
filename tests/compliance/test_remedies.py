"""The price list: what may stand on it, who keeps it, and what its pages say."""

from dataclasses import replace
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from accounts.models import TrailEntry
from accounts.refusals import Changed, NotAllowed, Unusable, WrongState
from compliance.access import remedies_visible_to
from compliance.models import Remedy
from compliance.queries.remedies import priced_remedies, remedies_listed
from compliance.remedy_forms import FACTS
from compliance.services.remedies import (
    RemedyGiven,
    add_remedy,
    change_remedy,
    end_remedy,
    load_usual_remedies,
)
from compliance.usual_remedies import USUAL_REMEDIES
from sites.keeping import Taken, fingerprint
from tests.builders.remedies import make_labour, make_remedy

pytestmark = pytest.mark.django_db

GIVEN = RemedyGiven(
    name="Sealant bead",
    unit="metre",
    holds="lasting",
    basis="Our own experience.",
    price=Decimal("2.50"),
    minutes=6,
    life_years=5,
    finding_kinds=["harbourage"],
    remedy_kinds=["proofing"],
)
LIST = "/compliance/remedies/"


def test_the_office_adds_a_remedy_and_the_trail_holds_its_price(office, trail):
    remedy = add_remedy(GIVEN, by=office)

    assert (remedy.slug, remedy.price, remedy.finding_kinds) == (
        "sealant-bead",
        Decimal("2.50"),
        ["harbourage"],
    )
    assert trail()[-1] == "remedy.added"
    assert TrailEntry.objects.latest("pk").facts["price"] == "2.50"


def test_a_changed_price_leaves_the_old_one_on_the_trail(office):
    remedy = add_remedy(GIVEN, by=office)

    change_remedy(remedy.pk, replace(GIVEN, price=Decimal("3.20")), by=office)

    entry = TrailEntry.objects.latest("pk")
    assert (entry.verb, entry.facts["changed"]) == ("remedy.changed", {"price": ["2.50", "3.20"]})


def test_the_same_again_changes_nothing(office, trail):
    remedy = add_remedy(GIVEN, by=office)
    before = trail()

    change_remedy(remedy.pk, GIVEN, by=office)

    assert trail() == before


def test_two_people_who_write_at_once_do_not_lose_an_edit(office):
    remedy = add_remedy(GIVEN, by=office)
    seen = fingerprint(remedy, FACTS)
    change_remedy(remedy.pk, replace(GIVEN, minutes=9), by=office, seen=seen)

    with pytest.raises(Changed):
        change_remedy(remedy.pk, replace(GIVEN, minutes=12), by=office, seen=seen)

    remedy.refresh_from_db()
    assert remedy.minutes == 9


def test_a_remedy_that_was_taken_off_stays_on_record_and_frees_its_name(office, trail):
    remedy = add_remedy(GIVEN, by=office)

    end_remedy(remedy.pk, by=office)
    end_remedy(remedy.pk, by=office)
    again = add_remedy(GIVEN, by=office)

    assert trail().count("remedy.ended") == 1
    assert (Remedy.objects.count(), again.slug) == (2, "sealant-bead-2")
    with pytest.raises(WrongState, match="no longer on the price list"):
        change_remedy(remedy.pk, GIVEN, by=office)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"name": " "}, "what the remedy is"),
        ({"basis": " "}, "from"),
        ({"price": Decimal(-1)}, "greater than or equal to 0"),
        ({"price_low": Decimal(1)}, "lowest, likely and highest"),
        ({"price": None, "price_low": Decimal(1), "price_high": Decimal(2)}, "lowest, likely"),
        ({"price_low": Decimal(3), "price_high": Decimal(4)}, "lowest, likely and highest"),
        ({"life_years_low": 2, "life_years_high": 4}, "shortest, likely and longest"),
        ({"life_years": None, "life_years_low": 2, "life_years_high": 4}, "shortest"),
        ({"holds": "labour"}, "by the hour"),
        ({"unit": "barrel"}, "not a valid choice"),
        ({"finding_kinds": ["ghost"]}, "no such kind of finding"),
        ({"remedy_kinds": ["ghost"]}, "no such kind of action"),
    ],
)
def test_what_no_remedy_can_be_is_refused_and_nothing_is_written(office, trail, changes, says):
    before = trail()
    with pytest.raises(Unusable, match=says):
        add_remedy(replace(GIVEN, **changes), by=office)

    assert not Remedy.objects.exists()
    assert trail() == before


@pytest.mark.parametrize(
    "wrong",
    [
        {"price_low": 1},
        {"price": None, "price_low": 1, "price_high": 2},
        {"life_years": None, "life_years_low": 1, "life_years_high": 2},
        {"life_years": 0},
        {"name": ""},
        {"basis": ""},
    ],
)
def test_the_database_refuses_it_too(office, wrong):
    remedy = add_remedy(GIVEN, by=office)

    with pytest.raises(IntegrityError), transaction.atomic():
        Remedy.objects.filter(pk=remedy.pk).update(**wrong)


def test_a_name_stands_on_the_list_once_and_so_does_labour(office):
    add_remedy(GIVEN, by=office)
    make_labour(by=office)

    with pytest.raises(Taken, match="of this name already"):
        add_remedy(replace(GIVEN, name="SEALANT BEAD"), by=office)
    with pytest.raises(Taken, match="price of labour already"):
        add_remedy(
            replace(GIVEN, name="Work", holds="labour", unit="hour", minutes=0, life_years=None),
            by=office,
        )


@pytest.mark.parametrize("role", ["technician", "manager", "auditor"])
def test_prices_are_the_offices_alone(role, request, office):
    somebody = request.getfixturevalue(role)
    remedy = add_remedy(GIVEN, by=office)

    for act in (
        lambda: add_remedy(replace(GIVEN, name="Another"), by=somebody),
        lambda: change_remedy(remedy.pk, replace(GIVEN, minutes=1), by=somebody),
        lambda: end_remedy(remedy.pk, by=somebody),
        lambda: load_usual_remedies(by=somebody),
    ):
        with pytest.raises(NotAllowed):
            act()
    assert not remedies_visible_to(somebody).exists()
    remedy.refresh_from_db()
    assert (Remedy.objects.count(), remedy.minutes, remedy.ended_at) == (1, 6, None)


# --- the usual ones -------------------------------------------------------------------------------


def test_the_usual_remedies_come_without_prices_and_cannot_be_chosen_yet(office, trail):
    assert load_usual_remedies(by=office) == len(USUAL_REMEDIES)

    assert not Remedy.objects.exclude(price=None).exists()
    for holds in Remedy.Holds.values:
        assert not priced_remedies(Remedy.objects.all(), holds).exists()
    assert trail().count("remedy.added") == len(USUAL_REMEDIES)


def test_the_usual_remedies_may_be_loaded_twice_and_what_was_taken_off_stays_off(office):
    load_usual_remedies(by=office)
    plug = Remedy.objects.get(slug="wool-plug")
    end_remedy(plug.pk, by=office)
    sealant = Remedy.objects.get(slug="sealant-bead")
    given = {name: getattr(sealant, name) for name in FACTS}
    change_remedy(sealant.pk, RemedyGiven(**{**given, "name": "Silicone bead"}), by=office)

    assert load_usual_remedies(by=office) == 0
    assert Remedy.objects.filter(ended_at=None).count() == len(USUAL_REMEDIES) - 1


def test_the_usual_remedies_leave_the_companys_own_alone(office):
    own = make_labour("52", by=office)
    bead = add_remedy(replace(GIVEN, name="SEALANT BEAD ALONG AN OPEN EDGE"), by=office)

    load_usual_remedies(by=office)

    assert Remedy.objects.get(holds="labour") == own
    assert Remedy.objects.get(name__iexact=bead.name) == bead


def test_each_usual_remedy_can_be_kept_as_it_is(office):
    """A form that only adds the price must not stumble over what came with it."""
    load_usual_remedies(by=office)

    for remedy in Remedy.objects.all():
        given = {name: getattr(remedy, name) for name in FACTS}
        change_remedy(remedy.pk, RemedyGiven(**{**given, "price": Decimal(10)}), by=office)

    assert not Remedy.objects.filter(price=None).exists()


# --- pages ----------------------------------------------------------------------------------------


def test_the_list_shows_what_one_costs_and_what_waits_for_a_price(client, office):
    make_remedy(by=office, name="Mesh in a hole")
    make_remedy(by=office, name="Brickwork", price=None)
    client.force_login(office)

    page = client.get(LIST).text
    waiting = client.get(LIST, {"state": "unpriced"}).text

    assert "Mesh in a hole" in page
    assert "£12.00 per hole" in page
    assert "£9.00 to £16.00" in page
    assert "Waits for a price" in page
    assert "Brickwork" in waiting
    assert "Mesh in a hole" not in waiting


@pytest.mark.parametrize(("state", "found"), [("", 1), ("ended", 1), ("all", 2), ("unpriced", 0)])
def test_the_list_is_narrowed_by_how_remedies_stand(office, state, found):
    make_remedy(by=office)
    end_remedy(make_remedy(by=office).pk, by=office)

    assert remedies_listed(Remedy.objects.all(), state=state).count() == found


def posted(**changes):
    return {
        "name": "Bristle strip",
        "holds": "lasting",
        "unit": "door",
        "price": "38.00",
        "minutes": "45",
        "life_years": "3",
        "finding_kinds": ["entry_point"],
        "basis": "Our own experience.",
        **changes,
    }


def test_a_remedy_is_added_changed_and_taken_off_on_its_pages(client, office):
    client.force_login(office)

    assert client.post(reverse("compliance:remedy_new"), posted()).status_code == 302
    remedy = Remedy.objects.get()
    change = reverse("compliance:remedy_change", args=[remedy.pk])
    seen = client.get(change).context["form"].initial["seen"]
    assert client.post(change, posted(price="41.00", seen=seen)).status_code == 302
    remedy.refresh_from_db()
    assert remedy.price == Decimal("41.00")

    end = reverse("compliance:remedy_end", args=[remedy.pk])
    assert "cannot be chosen" in client.get(end).text
    assert client.post(end).status_code == 302
    assert not remedies_listed(Remedy.objects.all()).exists()


def test_a_no_stands_beside_the_field_or_over_the_form_and_keeps_what_was_typed(client, office):
    make_remedy(by=office, name="Bristle strip")
    client.force_login(office)

    taken = client.post(reverse("compliance:remedy_new"), posted())
    outside = client.post(reverse("compliance:remedy_new"), posted(name="Strip", price_low="50"))

    assert (taken.status_code, outside.status_code) == (422, 422)
    assert "of this name already" in taken.text
    assert "lowest, likely and highest" in outside.text
    assert 'value="38.00"' in outside.text


def test_the_usual_ones_are_put_on_the_list_by_a_button(client, office):
    client.force_login(office)

    page = client.post(reverse("compliance:remedies_usual"), follow=True)
    again = client.post(reverse("compliance:remedies_usual"), follow=True)

    assert f"Added {len(USUAL_REMEDIES)}" in page.text
    assert "All of them are known already." in again.text


def test_a_list_longer_than_a_page_goes_on(client, office):
    for _ in range(51):
        make_remedy(by=office)
    client.force_login(office)

    page = client.get(LIST)

    assert (len(page.context["page"]), page.context["page"].paginator.num_pages) == (50, 2)
