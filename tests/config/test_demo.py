"""The demo tells its stories through the services, so that seals and trail hold like anybody's."""

from datetime import date, timedelta
from io import StringIO
from types import SimpleNamespace

import pytest
from django.conf import settings as django_settings
from django.core.management import CommandError, call_command
from django.db import transaction
from django.test import override_settings
from django.utils import timezone

from accounts.models import Role, TrailEntry, User
from accounts.verification import all_breaks as breaks_of_trail
from compliance.models import CorrectiveAction, Flag
from config.demo import town
from config.demo.cast import PASSPHRASE
from config.demo.load import HISTORY_DAYS, in_words, load, rounds
from config.demo.stories import Rats
from sites.models import Document, Monitor, Site, SitePlan
from visits.models import FollowUp, NotReached, Product, ReadingCount, Treatment, Visit
from visits.queries.baiting import baiting_on
from visits.verification import all_breaks as breaks_of_seals

pytestmark = pytest.mark.django_db

TOLD = ("ovens", "rats", "locked", "waiting")
PLAIN = next(site for site in town.sites() if site.weeks == 6)
WANTED = [*(site for site in town.sites() if site.story in TOLD), PLAIN]


@pytest.fixture(scope="module")
def storages(tmp_path_factory):
    """One folder for the files of the whole module."""
    location = tmp_path_factory.mktemp("demo") / "files"
    file_system = "django.core.files.storage.FileSystemStorage"
    default = {"BACKEND": file_system, "OPTIONS": {"location": location}}
    return {**django_settings.STORAGES, "default": default}


@pytest.fixture(scope="module")
def demo(django_db_setup, django_db_blocker, storages):
    """A demo of five sites, and what one of them said in a load before it that was undone."""
    hashers = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    with django_db_blocker.unblock(), transaction.atomic():
        with override_settings(STORAGES=storages, PASSWORD_HASHERS=hashers):
            with transaction.atomic():
                earlier = in_words(load(wanted=[PLAIN]))
                transaction.set_rollback(True)
            loaded = load(wanted=WANTED)
        yield loaded, earlier
        transaction.set_rollback(True)


@pytest.fixture(autouse=True)
def on_file(demo, storages, settings, db, _quick_and_private):
    """The demo as it was loaded; its files are where they were put."""
    settings.STORAGES = {**settings.STORAGES, "default": storages["default"]}
    return demo[0]


def site_of(story: str) -> Site:
    [spec] = [site for site in WANTED if site.story == story]
    return Site.objects.get(reference=spec.reference)


def test_the_whole_town_is_as_large_as_it_says():
    sites = town.sites()
    monitors = sum(
        how_many for site in sites for _, _, runs in site.client.layout for _, how_many in runs
    )

    assert len({site.client for site in sites}) == 6
    assert len(sites) == len({site.name for site in sites}) == 40
    assert 1400 <= monitors <= 1600


def test_it_can_be_loaded_on_any_day_of_the_year():
    for number in range(366):
        today = date(2027, 11, 1) + timedelta(days=number)
        for site in town.sites():
            due = rounds(site, today)
            assert due[-1] <= today <= due[-1] + timedelta(weeks=site.weeks)
            assert (today - due[0]).days <= HISTORY_DAYS
            assert not site.phase or due[-1] == today or due[-1].weekday() < 5
        assert Rats(SimpleNamespace(today=today)).found_ago >= 56


def test_everything_wanted_is_on_file():
    assert Site.objects.count() == len(WANTED)
    assert Monitor.objects.count() == sum(
        how_many for site in WANTED for _, _, runs in site.client.layout for _, how_many in runs
    )
    assert User.objects.filter(role=Role.TECHNICIAN).count() == 5
    assert Product.objects.exclude(is_demo=True).count() == 0
    assert SitePlan.objects.count() == 3
    assert Document.objects.filter(site=None).exists()
    assert Visit.objects.filter(state=Visit.State.CLOSED).count() > 60


def test_every_closed_visit_says_how_long_it_took():
    minutes = Visit.objects.filter(state=Visit.State.CLOSED).values_list(
        "minutes_on_site", flat=True
    )

    assert len(set(minutes)) > 5
    assert all(10 <= one <= 240 for one in minutes)


def test_trail_and_seals_hold():
    assert list(breaks_of_trail()) == []
    assert list(breaks_of_seals()) == []


def test_cockroaches_behind_the_ovens_rise_and_fall_with_the_work():
    site = site_of("ovens")

    def caught(older: int, newer: int) -> int:
        rounds = Visit.objects.filter(site=site, state="closed", kind="routine").order_by("-due_on")
        counts = ReadingCount.objects.filter(
            reading__visit__in=list(rounds[newer:older]), pest__slug="german-cockroach"
        )
        return sum(counts.values_list("count", flat=True))

    assert caught(15, 12) < caught(8, 5) > caught(3, 0)
    action = site.actions.get(kind="proofing")
    assert action.state == CorrectiveAction.State.CHECKED
    assert action.decisions.get().outcome == "go_ahead"
    assert action.shown_by.filter(moment="after").exists()
    methods = Treatment.objects.filter(visit__site=site).values_list("method", flat=True)
    assert {"gel", "dust_by_hand"} == set(methods)
    assert {"follow_up", "proofing"} <= set(site.visits.values_list("kind", flat=True))


def test_rats_end_with_the_bristle_strip():
    site = site_of("rats")
    [action] = site.actions.filter(kind="proofing")
    eaten = {visit.due_on for visit in Visit.objects.filter(readings__bait_taken="all", site=site)}

    assert action.state == CorrectiveAction.State.CHECKED
    assert eaten
    assert max(eaten) <= site.day_of(action.done_at)


def test_bait_at_the_grain_dock_was_lifted_once_and_now_lies_past_its_review_day():
    site = site_of("rats")
    now = timezone.now()
    found = baiting_on(site, site.day_of(now))

    assert len(found.open_points) == 5
    assert found.state.is_open_ended
    assert not found.state.negative_points
    assert Flag.objects.filter(kind="bait_review", site=site, state="open").exists()


def test_too_much_gel_was_recorded_as_it_happened_with_the_reason():
    [one] = Treatment.objects.filter(was_forbidden=True, visit__site=site_of("ovens"))

    assert [notice["code"] for notice in one.against_label if notice["forbidden"]] == ["over_most"]
    assert "bait gun" in one.explanation
    assert Flag.objects.filter(kind="against_label", site=one.visit.site, state="open").exists()


def test_flies_at_a_rear_door_ask_for_a_look_before_the_next_round():
    one = FollowUp.objects.get(visit__site=site_of("waiting"))

    assert (one.state, one.pest.slug) == (FollowUp.State.PROPOSED, "fruit-fly")


def test_the_plant_room_is_not_reached_three_times_running():
    shut = NotReached.objects.filter(visit__site=site_of("locked"), zone__name="Plant room")

    assert shut.count() == 3
    assert set(shut.values_list("whose_move", flat=True)) == {"third_party"}
    assert Flag.objects.filter(kind="not_reached_again", state="open").exists()


def test_a_decision_waits_and_a_call_out_was_answered():
    site = site_of("waiting")

    assert site.actions.get(kind="proofing").state == CorrectiveAction.State.PRICED
    call_outs = site.visits.filter(kind="call_out").values_list("state", flat=True)
    assert list(call_outs) == [Visit.State.CLOSED] * 2


def test_what_waits_was_worked_out_from_prices_and_from_what_the_door_has_cost():
    options = site_of("waiting").actions.get(kind="proofing").options.order_by("position")

    assert [one.kind for one in options] == ["lasting", "interim", "carry_on", "nothing"]
    assert options[2].working["call_outs"] == 2
    # One call-out at 85 for the door alone, and one that concerned the shop floor too.
    assert options[2].working["money"] == "127.50"


def test_the_office_has_something_to_do_today():
    kinds = set(Flag.objects.filter(state="open").values_list("kind", flat=True))

    assert {"action_overdue", "competence_expiring", "document_expiring"} <= kinds
    assert Visit.objects.filter(state="booked", technician__name="Tamsin Oakley").count() >= 3


def test_an_auditor_has_a_pass_in_use(on_file):
    auditor = on_file.cast.auditor
    looks = TrailEntry.objects.filter(verb="site.viewed", actor=auditor)

    assert auditor.passes.count() == 1
    assert looks.exists()


def test_everybody_can_sign_in(client, on_file):
    people = on_file.cast
    for person in (people.coordinator, people.technicians[0], people.auditor):
        assert client.login(email=person.email, password=PASSPHRASE)


def test_the_same_seed_tells_the_same(demo):
    loaded, earlier = demo
    now = [line for line in in_words(loaded) if line.startswith(PLAIN.reference)]

    assert earlier
    assert now == earlier


def test_a_second_load_is_refused_and_changes_nothing():
    before = (Site.objects.count(), User.objects.count(), TrailEntry.objects.count())

    with pytest.raises(CommandError, match="on file already"):
        call_command("load_demo", stdout=StringIO())

    assert (Site.objects.count(), User.objects.count(), TrailEntry.objects.count()) == before


def test_production_is_no_place_for_it(settings):
    settings.PRODUCTION = True

    with pytest.raises(CommandError, match="no place in production"):
        call_command("load_demo", stdout=StringIO())
