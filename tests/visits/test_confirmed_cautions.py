"""What a technician ticked before the amount is on the sealed record in words."""

import json

import pytest

from tests.builders.sites import make_site, make_zone
from tests.builders.visits import local, make_product, make_visit, treatment_given
from visits.models import GuideLine
from visits.queries.guide import guide_words
from visits.services.closing import close_visit
from visits.services.recording import ContactGiven, apply_treatment

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(office, technician):
    site = make_site()
    make_zone(site, kind="roof_void")
    return make_visit(site, state="under_way", by=office, technician=technician)


def sealed_cautions(visit, *, confirmed):
    given = treatment_given(
        visit.site.zones.get(),
        make_product(formulation="dust"),
        method="dust_high_volume",
        started_at=local(visit, 9, 40),
        cautions_confirmed=confirmed,
    )
    apply_treatment(visit.pk, by=visit.technician, at=local(visit, 9, 50), treatment=given)
    close_visit(
        visit.pk,
        by=visit.technician,
        at=local(visit, 10),
        contact=ContactGiven(no_signature_reason="Nobody was there."),
    )
    visit.refresh_from_db()
    (treatment,) = json.loads(visit.sealed_record)["treatments"]
    return {key: (text, ticked) for key, text, ticked in treatment["words"]["cautions"]}


def test_a_caution_of_the_guide_that_was_ticked_is_sealed_in_its_words(visit):
    line = GuideLine.objects.get(key="void_openings")

    found = sealed_cautions(visit, confirmed=["void_openings", "re_entry", "droppings"])

    assert found["void_openings"] == (line.words, True)
    assert found["re_entry"][1]
    assert found["droppings"][1]
    assert not found["dust_film"][1]


def test_a_key_that_nobody_knows_any_more_says_nothing(visit):
    found = sealed_cautions(visit, confirmed=["long_gone"])

    assert "long_gone" not in found
    assert visit.treatments.get().cautions_confirmed == ["long_gone"]


def test_looking_up_no_words_asks_the_database_nothing(django_assert_num_queries):
    with django_assert_num_queries(0):
        assert guide_words([]) == {}
    with django_assert_num_queries(1):
        assert set(guide_words(["void_openings", "long_gone"])) == {"void_openings"}
