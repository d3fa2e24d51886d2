"""People are told once, whatever fails: the mail server for a day, a second sweep, the process."""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.utils import timezone

from accounts.models import Letter, Notice
from accounts.services.letters import send_letters
from compliance.services.digests import send_digests
from compliance.services.messages import write_message
from compliance.services.telling import tell_people
from tests.builders.accounts import make_manager, make_office
from tests.builders.compliance import decide, make_action
from tests.builders.mail import Mailbox, due_again, free_port
from tests.builders.sites import make_site
from tests.builders.visits import make_contract
from tests.faults.conftest import wait_until
from tests.faults.test_compliance_races import at_once

pytestmark = pytest.mark.django_db(transaction=True)

START = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
LONG_AGO = START - timedelta(days=400)


@pytest.fixture
def post(settings) -> Iterator[Mailbox]:
    """The mail server that ours is told of; away until it is started."""
    box = Mailbox(free_port())
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", box.port
    settings.EMAIL_USE_TLS = False
    yield box
    box.stop()


def test_a_mail_server_that_is_away_for_a_day_costs_a_day_and_no_letter(post):
    desk = make_office(here_since=LONG_AGO)
    site = make_site()
    petra = make_manager(client=site.client, here_since=LONG_AGO)
    olu = make_manager(client=site.client, here_since=LONG_AGO)
    make_contract(site, by=desk, remind_days=1)
    action = make_action("priced", site=site, by=desk, title="Seal the chase", at=START)
    make_action("priced", site=site, by=desk, title="Screen the vent", at=START)

    for hour in range(30):
        with time_machine.travel(START + hour * HOUR, tick=False):
            if hour == 4:
                write_message(action.pk, by=petra, text="Which chase?")
            if hour == 5:
                write_message(action.pk, by=desk, text="The one by the ovens.")
            if hour == 6:
                decide(action, by=petra, at=timezone.now())
            tell_people()
            send_digests()
            tell_people()
            assert send_letters() == 0
    post.start()
    due_again()
    sent = send_letters()

    assert send_letters() == 0
    assert Counter((letter["To"], letter["Subject"]) for letter in post.taken) == Counter(
        [
            *(
                (person.email, f"{said}: {title}, {site}")
                for said, titles in (
                    ("Waits for your decision", ["Seal the chase", "Screen the vent"]),
                    ("Still waits for your decision", ["Screen the vent"]),
                )
                for title in titles
                for person in (petra, olu)
            ),
            (desk.email, f"{petra} asks about Seal the chase, {site}"),
            (petra.email, f"{desk} writes about Seal the chase, {site}"),
            (desk.email, "1 thing is new"),
            *(
                (person.email, said)
                for said in ("2 decisions wait for you", "1 decision waits for you")
                for person in (petra, olu)
            ),
        ]
    )
    assert sent == len(post.taken) == len({letter["Message-ID"] for letter in post.taken})
    assert not Notice.objects.filter(how="daily", mailed_at=None).exists()


def make_news(number: int) -> None:
    """So many things that an office person and a manager are to be told, an hour ago."""
    at = timezone.now() - HOUR
    desk = make_office(here_since=at - timedelta(days=1))
    site = make_site()
    manager = make_manager(client=site.client, here_since=at - timedelta(days=1))
    for _ in range(number):
        action = make_action("priced", site=site, by=desk, at=at)
        write_message(action.pk, by=manager, text="How long does it last?", at=at)


def told_twice() -> list[tuple[object, str]]:
    told = Counter(Notice.objects.values_list("person_id", "key"))
    return [one for one, times in told.items() if times > 1]


def test_sweeps_at_the_same_moment_tell_each_thing_once():
    make_news(5)

    answers = at_once(tell_people, tell_people, tell_people, tell_people)

    assert sum(answers) == 10
    assert (Notice.objects.count(), Letter.objects.count(), told_twice()) == (10, 10, [])


def test_a_sweep_that_is_killed_half_way_is_finished_by_the_next(processes):
    """Neither a notice without its letter nor a letter without its notice, at any moment."""
    make_news(40)
    sweep = processes.manage("tell_people")
    wait_until(lambda: Notice.objects.count() > 2)
    processes.kill(sweep)

    begun = set(Notice.objects.values_list("pk", flat=True))
    assert {f"notice:{pk}" for pk in begun} == set(Letter.objects.values_list("key", flat=True))

    assert tell_people() == 80 - len(begun)
    assert (Letter.objects.count(), told_twice()) == (80, [])
