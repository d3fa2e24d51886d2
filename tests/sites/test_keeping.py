"""Changes are written once, checked by the models' own constraints, and told with old and new."""

from decimal import Decimal

import pytest

from accounts.refusals import Changed, Unusable
from sites.keeping import Taken, fingerprint, keep_changes, keep_new
from sites.models import Monitor, Site
from tests.builders.accounts import make_client
from tests.builders.sites import make_monitor, make_site, make_zone

pytestmark = pytest.mark.django_db


def test_only_what_differs_is_told():
    site = make_site(name="Old", postcode="PM1")

    changed = keep_changes(site, {"name": "New", "postcode": "PM1", "latitude": None})

    assert changed == {"name": ["Old", "New"]}
    assert Site.objects.get(pk=site.pk).name == "New"


def test_nothing_that_differs_is_nothing():
    site = make_site(name="Same")

    assert keep_changes(site, {"name": "Same"}) == {}


def test_another_record_is_told_by_its_words():
    site, other = make_site(), make_client(name="Harbour Bakery")

    assert keep_changes(site, {"client": other})["client"][1] == "Harbour Bakery"


def test_a_bad_value_is_refused_with_its_field_and_not_written():
    site = make_site()

    with pytest.raises(Unusable) as refusal:
        keep_changes(site, {"latitude": Decimal("91"), "longitude": Decimal("0")})

    assert list(refusal.value.facts["fields"]) == ["latitude"]
    assert Site.objects.get(pk=site.pk).latitude is None


def test_a_rule_between_fields_is_refused_in_its_own_words():
    with pytest.raises(Unusable, match="latitude and longitude together"):
        keep_changes(make_site(), {"latitude": Decimal("50")})


def test_a_duplicate_is_taken_whatever_its_capitals():
    make_site(reference="Q1")

    with pytest.raises(Taken, match="Another site has this reference"):
        keep_changes(make_site(), {"reference": "q1"})


def test_what_only_the_database_refuses_ends_in_the_same_words():
    """As when two people add the same at once: both checks pass, the database takes one."""
    monitor = make_monitor(make_zone(make_site()))
    twin = Monitor(
        site=monitor.site,
        zone=monitor.zone,
        number=monitor.number + 1,
        kind=monitor.kind,
        placed_on=monitor.placed_on,
        label_code=monitor.label_code,
    )

    with pytest.raises(Taken, match="just put the same on file"):
        keep_new(twin)

    assert Monitor.objects.count() == 1


class TestWhatTheWriterHadOnScreen:
    def test_unchanged_it_is_written(self):
        site = make_site(name="Old", postcode="PM1")
        seen = fingerprint(site, ["name", "postcode"])

        assert keep_changes(site, {"name": "New", "postcode": "PM1"}, seen=seen)

    def test_changed_meanwhile_nothing_is_written(self):
        site = make_site(name="Old")
        seen = fingerprint(site, ["name"])
        Site.objects.update(name="Somebody else's")
        site.refresh_from_db()

        with pytest.raises(Changed, match="Somebody else changed"):
            keep_changes(site, {"name": "Mine"}, seen=seen)

        assert Site.objects.get().name == "Somebody else's"
