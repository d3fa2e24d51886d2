"""Programs read every application with what was made of its record."""

from datetime import timedelta

import pytest

from visits.models import Treatment

pytestmark = pytest.mark.django_db


@pytest.fixture
def treatment(world) -> Treatment:
    """One of the world's treatments, the only one of which something is wanting."""
    one = Treatment.objects.select_related("visit__site", "label", "target").order_by("pk")[0]
    Treatment.objects.exclude(pk=one.pk).update(is_incomplete=False, unsaid=[])
    Treatment.objects.filter(pk=one.pk).update(
        is_incomplete=True,
        unsaid=["equipment"],
        made_late=True,
        was_forbidden=True,
        batch_number="B-77",
        method="spot",
    )
    return one


def test_a_treatment_tells_its_label_and_what_was_made_of_its_record(treatment, office, program):
    treatment.label.re_entry_minutes = 30
    treatment.label.save()

    answer = program(office).get(f"/api/treatments/{treatment.pk}/").json()

    done = treatment.finished_at or treatment.started_at
    assert answer["label"] == str(treatment.label_id)
    assert answer["re_entry_at"] == f"{done + timedelta(minutes=30):%Y-%m-%dT%H:%M:%SZ}"
    assert answer["unsaid"] == ["equipment"]
    assert (answer["is_incomplete"], answer["made_late"], answer["was_forbidden"]) == (
        True,
        True,
        True,
    )


@pytest.mark.parametrize(
    "asked",
    [
        "is_incomplete=true",
        "made_late=true",
        "was_forbidden=true",
        "batch_number=B-77",
        "method=spot",
    ],
)
def test_treatments_are_found_by_what_was_made_of_them(treatment, office, program, asked):
    answer = program(office).get(f"/api/treatments/?{asked}")

    assert [row["id"] for row in answer.json()["results"]] == [str(treatment.pk)]


def test_treatments_are_found_by_client_technician_and_pest(treatment, other, office, program):
    visit = treatment.visit
    mine = set(Treatment.objects.filter(visit__site=visit.site).values_list("pk", flat=True))

    for asked in (
        f"visit__site__client={visit.site.client_id}",
        f"visit__technician={visit.technician_id}",
        f"target__slug={treatment.target.slug}&visit__site__client={visit.site.client_id}",
    ):
        answer = program(office).get(f"/api/treatments/?{asked}")

        assert {row["id"] for row in answer.json()["results"]} == {str(pk) for pk in mine}
