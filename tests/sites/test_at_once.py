"""Two people, or one phone twice, at the same instant."""

from collections.abc import Callable
from threading import Barrier, Thread

import pytest
from django.db import connections

from accounts.models import TrailEntry
from sites.models import Photo
from sites.services.monitors import place_monitor
from sites.services.photos import add_photo
from tests.builders.accounts import make_office
from tests.builders.files import picture_bytes
from tests.builders.sites import PLACED_ON, make_site, make_zone

pytestmark = pytest.mark.django_db(transaction=True)


def twice_at_once(act: Callable[[], object]) -> list[object]:
    """What two threads come back with that do the same at the same instant."""
    start, results = Barrier(2), []

    def run() -> None:
        start.wait()
        try:
            results.append(act())
        finally:
            connections.close_all()

    threads = [Thread(target=run) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


def test_two_monitors_placed_at_once_get_two_numbers():
    office, zone = make_office(), make_zone(make_site())

    placed = twice_at_once(
        lambda: place_monitor(zone.pk, by=office, kind="sticky", placed_on=PLACED_ON)
    )

    assert sorted(monitor.number for monitor in placed) == [1, 2]


def test_one_photo_sent_twice_at_once_is_kept_once():
    office, site, data = make_office(), make_site(), picture_bytes()

    kept = twice_at_once(lambda: add_photo(site.pk, by=office, data=data))

    assert len(kept) == 2
    assert kept[0] == kept[1] == Photo.objects.get()
    assert TrailEntry.objects.filter(verb="photo.added").count() == 1
