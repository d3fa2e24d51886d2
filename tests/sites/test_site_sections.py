"""Rooms add their sections to a page; each is drawn for who may see it."""

import pytest
from django.test import RequestFactory

from accounts.models import Role
from sites.site_sections import Section, Sections
from tests.builders.accounts import make_manager, make_office
from tests.builders.sites import make_site

pytestmark = pytest.mark.django_db
NOTHING = "components/empty.html"


def section(key, order, context=lambda site, user: {"title": f"Nothing at {site}"}, **more):
    return Section(key, key.capitalize(), order, NOTHING, context, **more)


def asked_by(person):
    request = RequestFactory().get("/")
    request.user = person
    return request


def test_they_stand_in_their_order_whoever_came_first():
    sections = Sections("site")
    sections.register(section("late", 900))
    sections.register(section("early", 100))

    shown = sections.shown(make_site(name="Quayside"), asked_by(make_office()))

    assert [one.key for one in shown] == ["early", "late"]
    assert "Nothing at Quayside" in shown[0].html


def test_a_section_is_not_even_asked_for_who_may_not_see_it():
    def never(site, user):
        raise AssertionError("asked")

    sections = Sections("site")
    sections.register(section("prices", 100, never, visible_to=frozenset({Role.OFFICE})))

    assert sections.shown(make_site(), asked_by(make_manager())) == []


def test_a_section_with_nothing_to_say_is_left_out():
    sections = Sections("site")
    sections.register(section("plan", 100, lambda site, user: None))

    assert sections.shown(make_site(), asked_by(make_office())) == []


def test_a_key_is_used_once():
    sections = Sections("site")
    sections.register(section("plan", 100))

    with pytest.raises(ValueError, match="'plan' is registered already"):
        sections.register(section("plan", 200))
