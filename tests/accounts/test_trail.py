"""The trail holds, and shows it when it does not."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction

from accounts.models import TrailEntry, TrailStream
from accounts.trail import record
from accounts.trail_words import declared, sentence_of
from accounts.verification import all_breaks
from tests.builders.sites import make_site


@pytest.fixture
def three_entries(office):
    with transaction.atomic():
        for name in ("One", "Two", "Three"):
            record(office, "person.changed", office, changed={"name": ["", name]})
    return list(TrailEntry.objects.order_by("number"))


def test_entries_of_a_chain_are_numbered_and_follow_each_other(three_entries):
    one, two, three = three_entries

    assert [entry.number for entry in three_entries] == [1, 2, 3]
    assert (two.previous, three.previous) == (one.seal, two.seal)
    assert TrailStream.objects.get().head == three.seal
    assert list(all_breaks()) == []


def test_a_site_has_a_chain_of_its_own(office):
    site = make_site()
    with transaction.atomic():
        entry = record(office, "site.changed", site)

    assert entry.stream_id == f"site:{site.pk}"
    assert entry.number == TrailEntry.objects.filter(stream_id=entry.stream_id).count()


def test_an_unknown_verb_raises(office):
    with pytest.raises(KeyError), transaction.atomic():
        record(office, "person.teleported", office)

    assert not TrailEntry.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_outside_a_transaction_nothing_is_written():
    from tests.builders.accounts import make_office

    office = make_office()

    with pytest.raises(RuntimeError, match="in the transaction"):
        record(office, "person.changed", office)


@pytest.mark.parametrize("how", ["save", "delete", "update", "delete many"])
def test_entries_cannot_be_changed_through_the_models(three_entries, how):
    entry = three_entries[1]
    entry.actor_name = "Somebody else"
    attempt = {
        "save": entry.save,
        "delete": entry.delete,
        "update": lambda: TrailEntry.objects.update(actor_name="Somebody else"),
        "delete many": lambda: TrailEntry.objects.all().delete(),
    }[how]

    with pytest.raises(TypeError, match="append-only"):
        attempt()

    assert list(all_breaks()) == []


TABLE = TrailEntry._meta.db_table


@pytest.mark.parametrize(
    ("statement", "what"),
    [
        (f"UPDATE {TABLE} SET actor_name = 'X' WHERE number = 2", "words were changed"),
        (f"UPDATE {TABLE} SET facts = '{{}}' WHERE number = 1", "words were changed"),
        (f"DELETE FROM {TABLE} WHERE number = 2", "is missing"),
        (f"DELETE FROM {TABLE} WHERE number = 3", "at the end are missing"),
        (f"UPDATE {TABLE} SET seal = previous WHERE number = 3", "words were changed"),
    ],
    ids=["words", "facts", "middle", "end", "seal"],
)
def test_what_is_changed_in_the_database_is_found(three_entries, statement, what):
    with connection.cursor() as cursor:
        cursor.execute(statement)

    assert any(what in found.what for found in all_breaks())
    with pytest.raises(CommandError, match="does not hold"):
        call_command("verify_trail", stderr=StringIO())


def test_the_command_says_that_it_holds(three_entries):
    out = StringIO()

    call_command("verify_trail", stdout=out)

    assert out.getvalue() == "The trail holds: 3 entries in 1 chains.\n"


def test_every_verb_has_a_sentence_that_can_follow_a_name():
    for verb in declared():
        sentence = sentence_of(verb)
        assert sentence[0].islower(), verb
        assert not sentence.endswith("."), verb
