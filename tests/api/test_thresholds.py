"""Programs read thresholds and where they were reached."""

from datetime import timedelta

import pytest
from django.utils import timezone

pytestmark = pytest.mark.django_db


def names(answer) -> set[str]:
    assert answer.status_code == 200, answer.json()
    return {row["name"] for row in answer.json()["results"]}


def test_thresholds_of_a_site_and_of_the_company(world, other, office, program):
    everywhere = {"Any rodent", "Any German cockroach in a food room"}
    client = program(world.people["manager"])

    assert names(client.get("/api/thresholds/?site__isnull=true")) == everywhere
    own = client.get(f"/api/thresholds/?site={world['site'].pk}")
    assert names(own) == {world["threshold"].name}
    assert names(client.get("/api/thresholds/")) == everywhere | {world["threshold"].name}
    shown = client.get(f"/api/thresholds/{world['threshold'].pk}/").json()
    assert (shown["pest"], shown["least"], shown["then"]) == ("house-mouse", "1.00", "flag")


def test_breaches_by_state_pest_and_day(world, other, office, program):
    breach = world["breach"]
    asked = f"site={world['site'].pk}&pest__slug=house-mouse&state=open&on={breach.on}"
    rows = program(office).get(f"/api/breaches/?{asked}").json()["results"]

    assert str(breach.pk) in {row["id"] for row in rows}
    assert {row["on"] for row in rows} == {breach.on.isoformat()}
    assert rows[0]["count"] == 1
    assert rows[0]["trap_days"] == 30.0
    one = program(office).get(f"/api/breaches/?threshold={breach.threshold_id}&on={breach.on}")
    assert [row["id"] for row in one.json()["results"]] == [str(breach.pk)]
    later = (timezone.now().date() + timedelta(days=1)).isoformat()
    assert not program(office).get(f"/api/breaches/?on__gte={later}").json()["results"]
