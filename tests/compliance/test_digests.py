"""The daily summary: in the morning of whoever reads it, once, and only if there is something.

A real SMTP server answers on the loopback address.
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from accounts.models import Letter, Notice, TrailEntry
from accounts.services.letters import send_letters
from accounts.services.notices import mark_all_read
from compliance.models import Digest
from compliance.services.digests import send_digests
from compliance.services.flags import reconcile_flags
from compliance.services.telling import tell_people
from tests.builders.accounts import make_auditor, make_manager, make_office, make_technician
from tests.builders.compliance import decide, make_action
from tests.builders.mail import Mailbox, due_again, free_port
from tests.builders.sites import make_site
from tests.builders.visits import make_competence, make_competence_kind, make_visit
from visits.models import Visit, WhoseMove

pytestmark = pytest.mark.django_db

MORNING = datetime(2026, 3, 10, 7, 0, tzinfo=UTC)
TODAY = date(2026, 3, 10)


@pytest.fixture
def manager():
    return make_manager(name="Petra Lund")


@pytest.fixture
def waiting(manager):
    """An action that waits for the manager's decision; the only thing anybody could be told."""
    return make_action(
        "priced",
        site=make_site(client=manager.client),
        by=make_office(wants_digest=False),
        title="Seal the pipe chase",
        at=MORNING - timedelta(days=2),
    )


def write(now=MORNING) -> int:
    return send_digests(now=now)


# --- when and to whom ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("zone", "at", "written"),
    [
        ("Europe/London", (2026, 3, 10, 6, 29), False),
        ("Europe/London", (2026, 3, 10, 6, 30), True),
        ("Europe/London", (2026, 7, 10, 5, 29), False),
        ("Europe/London", (2026, 7, 10, 5, 30), True),
        ("Pacific/Auckland", (2026, 3, 9, 17, 29), False),
        ("Pacific/Auckland", (2026, 3, 9, 17, 30), True),
        ("America/New_York", (2026, 3, 10, 10, 29), False),
        ("America/New_York", (2026, 3, 10, 10, 30), True),
    ],
)
def test_half_past_six_is_by_the_readers_own_clock(manager, waiting, zone, at, written):
    """Summer time included: in July half past six in London is half past five UTC."""
    manager.time_zone = zone
    manager.save()

    assert write(datetime(*at, tzinfo=UTC)) == int(written)


def test_nobody_is_written_to_twice_a_day(manager, waiting):
    assert (write(), write(), write(MORNING + timedelta(hours=9))) == (1, 0, 0)
    assert write(MORNING + timedelta(days=1)) == 1
    assert list(Digest.objects.order_by("day").values_list("day", flat=True)) == [
        TODAY,
        TODAY + timedelta(days=1),
    ]


def test_a_job_that_slept_through_the_morning_writes_when_it_wakes(manager, waiting):
    assert write(MORNING.replace(hour=22)) == 1


def test_where_there_is_nothing_to_say_no_letter_goes_out_that_day(manager):
    assert write() == 0
    assert (Digest.objects.get().body, Letter.objects.count()) == ("", 0)

    make_action("priced", site=make_site(client=manager.client), at=MORNING)
    assert write(MORNING + timedelta(hours=1)) == 0, "not in the middle of the day either"


def test_who_does_not_want_it_is_stopped_or_has_not_joined_gets_none(manager, waiting):
    for fields in ({"wants_digest": False}, {"is_active": False}, {"password": None}):
        make_manager(client=manager.client, **fields)
    make_auditor()

    write()

    assert [letter.to for letter in Letter.objects.all()] == [manager.email]


def test_it_is_on_the_trail(manager, waiting):
    write()

    entry = TrailEntry.objects.get(verb="digest.written")
    assert (entry.actor, entry.facts["person"]) == (None, "Petra Lund")


# --- what it says -------------------------------------------------------------------------------


def told(person) -> Letter:
    return Letter.objects.get(to=person.email)


def test_the_client_reads_what_waits_for_them_and_the_visits_of_the_week(manager, waiting):
    site = waiting.site
    make_action(site=site, kind="access", whose_move=WhoseMove.CLIENT, title="Plant room key")
    for days in (0, 6, 7):
        make_visit(site, due_on=TODAY + timedelta(days=days), state=Visit.State.BOOKED)
    make_action("priced", title="Another client's secret")

    write()

    letter = told(manager)
    assert letter.subject == "1 decision waits for you"
    assert "Seal the pipe chase" in letter.text
    assert waiting.get_absolute_url() in letter.text
    assert "Plant room key" in letter.text
    assert letter.text.count("follow-up, ") == 2, "seven days, today included"
    assert "secret" not in letter.text + letter.html


def test_the_technician_reads_todays_and_tomorrows_stops_and_what_lapses():
    technician = make_technician()
    make_competence(
        technician, make_competence_kind(name="Fumigation"), valid_until=TODAY + timedelta(days=9)
    )
    for days in (-1, 0, 0, 1, 2):
        make_visit(
            due_on=TODAY + timedelta(days=days), state=Visit.State.BOOKED, technician=technician
        )

    write()

    letter = told(technician)
    assert letter.subject == "Tue 10 Mar 2026: 2 stops today"
    assert letter.text.count("(follow-up)") == 3
    assert "Fumigation lapses on Thu 19 Mar 2026" in letter.text


def test_the_office_reads_flags_and_what_it_was_told_since(manager, waiting):
    office = make_office(here_since=MORNING - timedelta(days=3))
    late = make_visit(due_on=TODAY - timedelta(days=9), state=Visit.State.BOOKED)
    decide(waiting, by=manager, declined=True, at=MORNING - timedelta(hours=2))
    reconcile_flags(now=MORNING)
    tell_people(now=MORNING)

    write()

    letter = told(office)
    assert letter.subject == "Tue 10 Mar 2026: 1 late"
    assert str(late.site) in letter.text
    assert letter.text.count("Petra Lund: turned down") == 1


def test_what_was_told_in_one_summary_is_not_told_in_the_next(manager, waiting):
    office = make_office(here_since=MORNING - timedelta(days=3))
    decide(waiting, by=manager, at=MORNING - timedelta(hours=2))
    tell_people(now=MORNING)
    assert Notice.objects.get(person=office).mailed_at is None

    write()
    write(MORNING + timedelta(days=1))

    assert told(office).subject == "1 thing is new"
    assert Notice.objects.get(person=office).mailed_at == MORNING


def test_what_was_read_in_the_list_is_not_told_again_in_the_morning(manager, waiting):
    office = make_office(here_since=MORNING - timedelta(days=3))
    decide(waiting, by=manager, at=MORNING - timedelta(hours=2))
    tell_people(now=MORNING)
    mark_all_read(by=office)

    write()

    assert not Letter.objects.filter(to=office.email).exists()


def test_what_the_summary_lists_while_it_waits_it_does_not_name_twice(manager):
    site = make_site(client=manager.client)
    manager.created_at = MORNING - timedelta(days=3)
    manager.save()
    make_action(
        site=site,
        kind="access",
        whose_move=WhoseMove.CLIENT,
        title="Plant room key",
        at=MORNING - timedelta(hours=3),
    )
    tell_people(now=MORNING)

    write()

    assert told(manager).subject == "1 thing is your move"
    assert told(manager).text.count("Plant room key") == 1
    assert Notice.objects.get(person=manager).mailed_at == MORNING


def test_words_with_markup_stay_words(manager):
    make_action(
        "priced", site=make_site(client=manager.client), title="Seal <script>alert(1)</script> & co"
    )

    write()

    letter = told(manager)
    assert "Seal <script>alert(1)</script> & co" in letter.text
    assert "<script>" not in letter.html


# --- getting there ------------------------------------------------------------------------------


@pytest.fixture
def mailbox(settings) -> Iterator[Mailbox]:
    box = Mailbox(free_port())
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", box.port
    settings.EMAIL_USE_TLS = False
    yield box
    box.stop()


def test_the_summary_arrives_as_text_with_a_simple_page_beside_it(manager, waiting, mailbox):
    mailbox.start()
    write()

    assert send_letters() == 1

    (message,) = mailbox.taken
    assert (message["To"], message["Subject"]) == (manager.email, "1 decision waits for you")
    assert message.get_body(("plain",)).get_content().startswith("Good morning Petra Lund,")
    assert "<h2>Waits for your decision</h2>" in message.get_body(("html",)).get_content()


def test_a_mail_server_that_is_down_for_a_day_costs_a_day_and_no_summary(manager, waiting, mailbox):
    write()
    for _ in range(3):
        assert send_letters() == 0
        due_again()
    write(MORNING + timedelta(days=1))
    assert send_letters() == 0

    mailbox.start()
    due_again()
    assert (send_letters(), send_letters()) == (2, 0)

    assert [message["To"] for message in mailbox.taken] == [manager.email] * 2
    assert len({message["Message-ID"] for message in mailbox.taken}) == 2


def test_a_crash_while_it_is_written_leaves_nothing_and_it_is_written_again(
    manager, waiting, mailbox
):
    """The row of the day and the letter stand or fall together: neither without the other."""

    @transaction.atomic
    def write_and_die() -> None:
        assert write() == 1
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_and_die()
    assert (Digest.objects.count(), Letter.objects.count()) == (0, 0)
    mailbox.start()

    assert (write(), send_letters(), write(), send_letters()) == (1, 1, 0, 0)
    assert len(mailbox.taken) == 1


def test_a_crash_between_the_servers_yes_and_our_note_sends_the_same_letter_again(
    manager, waiting, mailbox
):
    """What nobody can know is not guessed: the copy carries the same id, and is dropped by it."""
    mailbox.start()
    write()
    send_letters()
    Letter.objects.update(sent_at=None, next_attempt_at=timezone.now())

    assert (write(), send_letters()) == (0, 1)

    first, second = (message["Message-ID"] for message in mailbox.taken)
    assert first == second


# --- choosing -----------------------------------------------------------------------------------


def test_everybody_chooses_for_themselves(client, manager, waiting):
    client.force_login(manager)
    client.post(reverse("compliance:summary"), {"wants": "no"})
    manager.refresh_from_db()

    assert not manager.wants_digest
    assert write() == 0

    client.post(reverse("compliance:summary"), {"wants": "yes"})
    assert write() == 1
    assert "1 decision waits for you" in client.get(reverse("compliance:summary")).content.decode()
    assert client.post(reverse("compliance:summary"), {"wants": "maybe"}).status_code == 422
