"""Site files from asking to download: one file, however often, late or interrupted it is built."""

import hashlib
import re
from datetime import date, timedelta
from io import BytesIO

import pytest
import time_machine
from django.core.files.storage import FileSystemStorage, default_storage
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from accounts.models import Company, TrailEntry, User
from accounts.refusals import NotAllowed, Unusable
from compliance.models import SiteFile
from compliance.queries.site_file import site_file_of, visit_report_of
from compliance.services.papers import LEASE
from compliance.services.site_files import (
    build_site_file,
    build_site_files,
    request_site_file,
    site_files_to_build,
)
from sites.models import Photo, Site, Zone
from sites.services.grants import issue_pass
from sites.services.photos import add_photo
from tests.builders.accounts import make_auditor, make_manager, make_office, make_technician
from tests.builders.compliance import make_photo_bytes
from tests.builders.sites import make_site
from tests.builders.visits import local, make_competence_kind, make_product, make_visit
from tests.builders.world import World, make_world
from visits.models import Visit
from visits.services.closing import close_visit
from visits.services.recording import ContactGiven, FindingGiven, record_finding

State = SiteFile.State


def world_of(word: str, times: int = 1) -> World:
    """A client with one of everything; no site file of its own waits for a job."""
    made = make_world(
        word,
        office=make_office(),
        kind=make_competence_kind(),
        product=make_product(name=f"{word} gel"),
        times=times,
    )
    SiteFile.objects.all().delete()
    return made


@pytest.fixture
def world(db) -> World:
    Company.objects.create(name="Fennimore & Tull Site Hygiene", address="4 Ropewalk")
    return world_of("Amberley")


@pytest.fixture
def site(db) -> Site:
    """A site with little on record, which is quick to print."""
    return make_site(zones=1, monitors=1)


@pytest.fixture
def asked(site) -> SiteFile:
    """A site file that its client's manager has asked for."""
    return ask(site, make_manager(client=site.client))


def a_year() -> dict[str, date]:
    today = timezone.now().date()
    return {"period_from": today - timedelta(days=300), "period_to": today}


def ask(site: Site, by: User, **facts) -> SiteFile:
    return request_site_file(site.pk, by=by, **{**a_year(), **facts})


def built(world: World, role: str = "manager") -> SiteFile:
    """The site file of a world, asked for by one of its people and built."""
    made = ask(world["site"], world.people[role])
    assert build_site_file(made.pk)
    made.refresh_from_db()
    return made


def verbs(site_file: SiteFile) -> list[str]:
    told = TrailEntry.objects.filter(target_id=str(site_file.pk)).order_by("pk")
    return list(told.values_list("verb", flat=True))


def words_of(pdf: bytes) -> str:
    pages = PdfReader(BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def without_token(answer) -> str:
    """A page without the token of its forms, which is another each time."""
    return re.sub(r'name="csrfmiddlewaretoken" value="\w+"', "", answer.text)


def stored() -> list[str]:
    """The site files that lie in the store, whoever put them there."""
    found = []
    folders = ["site_files"]
    while folders:
        here = folders.pop()
        if not default_storage.exists(here):
            continue
        inner, files = default_storage.listdir(here)
        folders += [f"{here}/{name}" for name in inner]
        found += [f"{here}/{name}" for name in files]
    return found


# --- asking -------------------------------------------------------------------------------------


def test_a_site_file_is_asked_for_and_waits_for_a_job(asked):
    assert (asked.state, asked.audience) == (State.REQUESTED, "client_manager")
    assert verbs(asked) == ["site_file.requested"]
    assert list(site_files_to_build(timezone.now())) == [asked]


def test_asking_twice_while_it_waits_is_asking_once(site, asked):
    assert ask(site, asked.requested_by) == asked
    assert SiteFile.objects.count() == 1


def test_another_period_paper_or_person_gets_another_file(site, asked):
    day_less = a_year()["period_to"] - timedelta(days=1)

    assert ask(site, asked.requested_by, paper_size="letter") != asked
    assert ask(site, asked.requested_by, period_to=day_less) != asked
    assert ask(site, make_office()) != asked


@pytest.mark.parametrize("stranger", [make_manager, make_technician, make_auditor])
def test_who_has_no_business_here_is_refused_and_nothing_is_written(site, stranger):
    with pytest.raises(NotAllowed):
        ask(site, stranger())

    assert not SiteFile.objects.exists()


def test_an_auditor_asks_for_days_of_the_pass_only(site):
    auditor, now = make_auditor(), timezone.now()
    issue_pass(
        auditor.pk,
        by=make_office(is_administrator=True),
        sites=[site],
        **a_year(),
        valid_from=now - timedelta(days=1),
        valid_until=now + timedelta(days=1),
    )

    ask(site, auditor)
    with pytest.raises(NotAllowed, match="does not cover"):
        ask(site, auditor, period_from=a_year()["period_from"] - timedelta(days=1))

    assert SiteFile.objects.count() == 1


@pytest.mark.parametrize(
    ("facts", "sentence"),
    [
        ({"period_from": date(2026, 2, 2), "period_to": date(2026, 2, 1)}, "ends before it begins"),
        ({"period_from": date(2020, 1, 1), "period_to": date(2026, 1, 1)}, "at most three years"),
    ],
)
def test_a_period_that_makes_no_sense_is_refused(site, facts, sentence):
    with pytest.raises(Unusable, match=sentence):
        ask(site, make_office(), **facts)

    assert not SiteFile.objects.exists()


# --- building -----------------------------------------------------------------------------------


def test_a_job_builds_it_once_and_keeps_it_with_its_hash(asked):
    assert (build_site_files(), build_site_files()) == (1, 0)

    asked.refresh_from_db()
    data = asked.file.read()
    assert (asked.state, asked.problem, asked.lease_until) == (State.READY, "", None)
    assert asked.sha256 == hashlib.sha256(data).hexdigest()
    assert (asked.pages, asked.size) == (len(PdfReader(BytesIO(data)).pages), len(data))
    assert asked.steps_done == asked.steps_all > 0
    assert verbs(asked) == ["site_file.requested", "site_file.built"]
    assert TrailEntry.objects.get(verb="site_file.built").facts["sha256"] == asked.sha256
    assert stored() == [asked.file.name]


def test_a_file_that_somebody_builds_is_left_alone(asked):
    lease = timezone.now() + LEASE
    SiteFile.objects.update(state=State.BUILDING, attempts=1, lease_until=lease)

    assert build_site_files() == 0
    assert not build_site_file(asked.pk)


def test_a_file_whose_builder_was_killed_is_built_by_the_next_sweep(asked):
    silent_since = timezone.now() - timedelta(seconds=1)
    SiteFile.objects.update(
        state=State.BUILDING, attempts=1, steps_done=3, lease_until=silent_since
    )

    assert build_site_files() == 1

    asked.refresh_from_db()
    assert (asked.state, asked.attempts) == (State.READY, 2)
    assert len(stored()) == 1


class SlowStore(FileSystemStorage):
    """A store that takes so long over the first file that another builder comes by meanwhile."""

    meanwhile = None

    def _save(self, name, content):
        saved = super()._save(name, content)
        todo, SlowStore.meanwhile = SlowStore.meanwhile, None
        if todo:
            todo()
        return saved


def test_two_builders_make_one_file_and_one_entry_on_the_trail(asked, settings, tmp_path):
    """The first falls asleep past its lease, the second takes over; the first changes nothing."""
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "tests.compliance.test_site_files.SlowStore",
            "OPTIONS": {"location": tmp_path / "slow"},
        },
    }
    answers = []

    def second_builder() -> None:
        SiteFile.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
        answers.append(build_site_file(asked.pk))

    SlowStore.meanwhile = second_builder

    answers.append(build_site_file(asked.pk))

    asked.refresh_from_db()
    assert answers == [True, False]
    assert (asked.state, asked.attempts) == (State.READY, 2)
    assert stored() == [asked.file.name]
    assert verbs(asked) == ["site_file.requested", "site_file.built"]


class FullStore(FileSystemStorage):
    """A store without room."""

    def _save(self, name, content):
        raise OSError("no space left on device")


def test_a_file_that_cannot_be_stored_is_tried_again_and_then_given_up(asked, settings):
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {"BACKEND": "tests.compliance.test_site_files.FullStore"},
    }

    with time_machine.travel(timezone.now(), tick=False) as clock:
        for _ in range(5):
            build_site_files()
            clock.shift(LEASE)

    asked.refresh_from_db()
    assert (asked.state, asked.attempts) == (State.FAILED, 3)
    assert "file store is not at hand" in asked.problem
    assert "no space" not in asked.problem
    assert verbs(asked) == ["site_file.requested", "site_file.failed"]


def test_a_file_that_kills_its_builders_is_given_up_with_a_sentence(asked):
    silent_since = timezone.now() - timedelta(seconds=1)
    SiteFile.objects.update(state=State.BUILDING, attempts=3, lease_until=silent_since)

    assert build_site_files() == 0

    asked.refresh_from_db()
    assert asked.state == State.FAILED
    assert "failed several times" in asked.problem


def test_one_that_fails_does_not_keep_the_others_waiting(asked):
    """A sealed record that cannot be read costs its own site's file, and says so."""
    visit = make_visit(state="closed", zones=1, due_on=timezone.now().date() - timedelta(days=2))
    Visit.objects.filter(pk=visit.pk).update(sealed_record="not json")
    bad = ask(visit.site, make_office())

    assert build_site_files() == 1

    bad.refresh_from_db()
    asked.refresh_from_db()
    assert (bad.state, asked.state) == (State.REQUESTED, State.READY)
    assert bad.problem == "Something in the record could not be printed."


# --- what is in it ------------------------------------------------------------------------------


def test_what_is_on_record_is_in_the_file(world):
    words = words_of(built(world).file.read())

    for said in (
        "Amberley Hotels",
        "Amberley Grand",
        "Contract K-Amberley",
        "Amberley scope",
        "Amberley inspection",
        "Amberley kitchen 0",
        "LIC-Amberley",
        "Under the Amberley shelf",
        "The van broke down.",
        "The site shut.",
        "Amberley gap by the pipe",
        "2 German cockroach",
        "Amberley gel",
        "Amberley oven",
        "Bait gun",
        "The Amberley key was away",
        "No signature: Nobody of the premises was there.",
        "The Amberley count",
        "Two, not one.",
        "Turned down",
        "Too dear this year.",
        "Declines the work and carries the risk described",
        "Amberley paper 0",
        "An in-depth survey beyond the monitors",
        "closed a visit",
        "every one held",
        "German cockroach More than usual in",
        "No review has explained it yet.",
        "Fennimore & Tull Site Hygiene",
    ):
        assert said in words, said


@pytest.mark.parametrize("role", ["branch", "manager", "auditor"])
def test_notes_and_prices_of_ours_are_in_nobodys_file(world, role):
    gathered = site_file_of(
        world["site"],
        first=a_year()["period_from"],
        last=a_year()["period_to"],
        by=world.people[role],
        role=world.people[role].role,
        now=timezone.now(),
    )

    words = repr(gathered.file)

    assert "Amberley gap by the pipe" in words
    for secret in (
        "Amberley client note",
        "Amberley site note",
        "Amberley contract note",
        "Amberley visit note",
        "Amberley action note",
        "Ask for Amberley at the bar",
        "bills@amberley",
        "95.00",
    ):
        assert secret not in words, secret


def test_another_sites_record_is_not_in_the_file(world):
    world_of("Quillback")

    assert "Quillback" not in words_of(built(world).file.read())


def test_a_report_keeps_the_names_that_were_sealed(world):
    """A zone that is renamed later is printed under its old name in the visit, as it was sealed."""
    Zone.objects.filter(pk=world["zone"].pk).update(name="Renamed kitchen")
    visit = Visit.objects.select_related("site__client", "line", "technician").get(
        pk=world["closed"].pk
    )

    gathered = visit_report_of(
        visit, by=world.people["manager"], role="client_manager", now=timezone.now()
    )

    assert gathered.report.visit.findings[0].zone == "Amberley kitchen 0"
    assert gathered.report.visit.not_reached[0].zone == "Amberley kitchen 0"


def test_a_record_changed_behind_our_back_is_named_in_the_file(world):
    Visit.objects.filter(pk=world["closed"].pk).update(summary="Nothing to see here.")
    words = words_of(built(world).file.read())

    assert "These did not hold" in words
    assert "Sealed record 1: " in words
    assert "Nothing to see here." not in words


def test_a_photo_that_is_lost_costs_the_photo_and_is_told_on_the_trail(site, technician):
    visit = make_visit(site, state="under_way", technician=technician)
    photo = add_photo(site.pk, by=technician, data=make_photo_bytes())
    record_finding(
        visit.pk,
        by=technician,
        at=local(visit, 9, 30),
        finding=FindingGiven(
            zone_id=site.zones.get().pk, kind="signs", note="Rub marks", photo_ids=[photo.pk]
        ),
    )
    close_visit(
        visit.pk,
        by=technician,
        at=local(visit, 10),
        contact=ContactGiven(no_signature_reason="Nobody was there."),
    )
    Photo.objects.get(pk=photo.pk).image.delete(save=False)
    asked = ask(site, make_office(), period_from=visit.due_on, period_to=visit.due_on)

    assert build_site_file(asked.pk)

    asked.refresh_from_db()
    assert "Rub marks" in words_of(asked.file.read())
    built = TrailEntry.objects.get(verb="site_file.built", target_id=str(asked.pk))
    assert str(photo.pk) in built.facts["faults"][0]


@pytest.mark.parametrize("times", [1, 6])
def test_six_times_the_record_costs_the_same_queries(db, times, django_assert_num_queries):
    world = world_of("Amberley", times)
    site = type(world["site"]).objects.select_related("client").get(pk=world["site"].pk)

    with django_assert_num_queries(50):
        site_file_of(
            site,
            first=a_year()["period_from"],
            last=a_year()["period_to"],
            by=world.people["manager"],
            role="client_manager",
            now=timezone.now(),
        )


# --- the pages ----------------------------------------------------------------------------------


@pytest.mark.parametrize("role", ["branch", "manager", "auditor"])
def test_whoever_may_see_the_site_asks_follows_and_downloads(client, world, role):
    client.force_login(world.people[role])
    page = reverse("compliance:site_files", args=[world["site"].pk])

    first = client.get(page)
    asked = client.post(page, {**a_year(), "paper_size": "letter"}, follow=True)
    site_file = SiteFile.objects.get()
    waiting = client.get(site_file.get_absolute_url())
    build_site_files()
    ready = client.get(site_file.get_absolute_url())
    listed = client.get(page)
    download = reverse("compliance:site_file_download", args=[site_file.pk])
    taken = client.get(download)

    site_file.refresh_from_db()
    assert "No site file yet" in first.text
    assert asked.redirect_chain[-1][0] == site_file.get_absolute_url()
    assert "data-poll" in waiting.text
    assert "data-poll" not in ready.text
    assert 'id="site-file"' in ready.text
    assert site_file.sha256 in ready.text
    assert site_file.sha256 in listed.text
    assert taken["Content-Type"] == "application/pdf"
    assert taken["Content-Disposition"].startswith("attachment")
    assert hashlib.sha256(taken.getvalue()).hexdigest() == site_file.sha256
    assert verbs(site_file)[-1] == "site_file.downloaded"
    last = TrailEntry.objects.filter(target_id=str(site_file.pk)).order_by("-pk").first()
    assert (last.actor, last.actor_role) == (world.people[role], world.people[role].role)


def test_a_wrong_period_is_said_beside_the_field_and_nothing_is_lost(client, world):
    client.force_login(world.people["manager"])
    page = reverse("compliance:site_files", args=[world["site"].pk])

    answer = client.post(
        page, {"period_from": "2026-03-02", "period_to": "2026-03-01", "paper_size": "A4"}
    )

    assert answer.status_code == 422
    assert "The period ends before it begins." in answer.text
    assert 'value="2026-03-02"' in answer.text


def test_downloading_what_is_not_ready_leads_back_to_how_far_it_is(client, asked):
    client.force_login(asked.requested_by)

    answer = client.get(reverse("compliance:site_file_download", args=[asked.pk]))

    assert answer.status_code == 302
    assert answer.url == asked.get_absolute_url()
    assert "site_file.downloaded" not in verbs(asked)


def test_a_failed_file_says_so_and_how_to_go_on(client, asked):
    SiteFile.objects.update(state=State.FAILED, problem="Something in the record is odd.")
    client.force_login(asked.requested_by)

    answer = client.get(asked.get_absolute_url())

    assert "This site file could not be built." in answer.text
    assert "Something in the record is odd." in answer.text
    assert "data-poll" not in answer.text


def test_a_technician_is_told_that_site_files_are_not_theirs(client, world):
    client.force_login(world.people["technician"])

    answer = client.get(reverse("compliance:site_files", args=[world["site"].pk]))

    assert answer.status_code == 403
    assert "for the office, the client and auditors" in answer.text


def test_a_strangers_site_file_looks_like_none(client, world):
    asked = built(world)
    strangers = world_of("Quillback").people

    for role in ("manager", "auditor", "technician"):
        client.force_login(strangers[role])
        for name in ("site_file", "site_file_download"):
            hidden = client.get(reverse(f"compliance:{name}", args=[asked.pk]))
            absent = client.get(reverse(f"compliance:{name}", args=[world["site"].pk]))
            assert (hidden.status_code, absent.status_code) == (404, 404)
            assert without_token(hidden) == without_token(absent)
    assert "site_file.downloaded" not in verbs(asked)


def test_a_file_is_for_the_role_it_was_made_for_and_for_the_office(client, world):
    files = {
        role: ask(world["site"], world.people[role]) for role in ("branch", "manager", "auditor")
    }
    readable = {
        "branch": {"branch", "manager", "auditor"},
        "manager": {"manager"},
        "auditor": {"auditor"},
    }

    for reader, allowed in readable.items():
        client.force_login(world.people[reader])
        for made_by, site_file in files.items():
            expected = 200 if made_by in allowed else 404
            answer = client.get(site_file.get_absolute_url())
            assert answer.status_code == expected, (reader, made_by)


# --- the report of one visit --------------------------------------------------------------------


def test_the_report_of_a_closed_visit_is_a_paper_of_its_own(client, world):
    for role in ("branch", "manager", "auditor", "technician"):
        client.force_login(world.people[role])
        answer = client.get(reverse("compliance:visit_report_pdf", args=[world["closed"].pk]))
        words = words_of(answer.content)
        assert answer["Content-Type"] == "application/pdf"
        assert "Amberley gap by the pipe" in words
        assert "The product label and the safety data sheet come first" in words
        assert world["closed"].seal in words.replace(" ", "")


def test_a_visit_that_is_not_closed_has_no_report(client, world):
    client.force_login(world.people["branch"])

    for name in ("planned", "booked", "under_way", "missed", "called_off"):
        answer = client.get(reverse("compliance:visit_report_pdf", args=[world[name].pk]))
        assert answer.status_code == 404, name


def test_a_strangers_report_looks_like_none(client, world):
    client.force_login(world_of("Quillback").people["manager"])

    hidden = client.get(reverse("compliance:visit_report_pdf", args=[world["closed"].pk]))
    absent = client.get(reverse("compliance:visit_report_pdf", args=[world["site"].pk]))

    assert (hidden.status_code, absent.status_code) == (404, 404)
    assert without_token(hidden) == without_token(absent)
