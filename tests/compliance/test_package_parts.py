"""What a technician's phone is told of actions: what is open at the site, and nothing of money."""

from datetime import timedelta

import pytest
from django.utils import timezone

from compliance.models import CorrectiveAction
from compliance.package_parts import open_actions
from tests.builders.accounts import make_technician
from tests.builders.compliance import make_action
from tests.builders.sites import make_site
from tests.builders.visits import make_visit

pytestmark = pytest.mark.django_db

TODAY = timezone.now().date()
State = CorrectiveAction.State


@pytest.fixture
def site(office, technician):
    """A site that is open to the technician, as a visit is booked there."""
    site = make_site()
    make_visit(site, state="booked", by=office, technician=technician, due_on=TODAY)
    return site


def titles(technician, *sites):
    found = open_actions(technician, {site.pk for site in sites})
    return {site_id: [one["title"] for one in told] for site_id, told in found.items()}


def test_what_is_still_to_do_stands_in_the_order_of_its_days(site, office, technician):
    for state, days in ((State.DONE, 3), (State.RAISED, 1), (State.DECIDED, 2)):
        make_action(
            state, site=site, by=office, title=state.label, due_on=TODAY + timedelta(days=days)
        )

    assert titles(technician, site) == {site.pk: ["Raised", "Decided", "Done"]}


@pytest.mark.parametrize(
    ("state", "declined"),
    [(State.CHECKED, False), (State.WITHDRAWN, False), (State.DECIDED, True)],
    ids=["checked", "withdrawn", "turned down"],
)
def test_what_is_answered_is_not_told(site, office, technician, state, declined):
    make_action(state, site=site, by=office, declined=declined)

    assert titles(technician, site) == {}


def test_each_site_has_its_own_and_a_site_not_open_to_them_none(site, office, technician):
    other, strange = make_site(), make_site()
    make_visit(other, state="booked", by=office, technician=technician, due_on=TODAY)
    for one in (site, other, strange):
        make_action(site=one, by=office, title=f"At {one}")

    assert titles(technician, site, other, strange) == {
        site.pk: [f"At {site}"],
        other.pk: [f"At {other}"],
    }
    assert titles(make_technician(), site, other, strange) == {}


@pytest.mark.parametrize("how_many", [1, 12])
def test_it_is_one_query_for_all_of_them(
    site, office, technician, how_many, django_assert_num_queries
):
    for _ in range(how_many):
        make_action(site=site, by=office)

    with django_assert_num_queries(1):
        assert len(open_actions(technician, {site.pk})[site.pk]) == how_many
