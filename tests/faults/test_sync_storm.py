"""Five phones, two visits, a line that loses, doubles and reorders: in the end all is there, once.

Each phone keeps what it made until it is answered, as the page does. When the storm is over and
every queue is empty, the receipts must equal what was made, the record must say of each place what
was said of it last by a phone that had it to itself, and of a shared place one of the last words.
"""

import random
from dataclasses import dataclass, field
from typing import Any

import pytest
import time_machine

from tests.builders.accounts import make_office, make_technician
from tests.builders.phone import Phone
from tests.builders.sites import make_site
from tests.builders.visits import local, make_visit
from visits.models import Operation, ParkedOperation, Visit
from visits.services.sync import apply_operations

pytestmark = pytest.mark.django_db

PHONES, TAPS = 5, 200  # a thousand operations


@dataclass
class Handset:
    """A phone with its queue; ``own`` are the places that no other phone speaks of."""

    phone: Phone
    own: list[Any]
    queue: list[dict[str, Any]] = field(default_factory=list)
    made: list[dict[str, Any]] = field(default_factory=list)
    said: dict[Any, str] = field(default_factory=dict)

    def tap(self, chance: random.Random, shared: list[Any]) -> None:
        place = chance.choice(self.own + shared)
        kind = chance.choice(["look.add", "not_reached.set", "look.remove"])
        body: dict[str, Any] = {"checkpoint": place}
        if kind == "not_reached.set":
            body |= {"reason": "locked", "whose_move": "client"}
        op = self.phone.op(kind, **body)
        self.queue.append(op)
        self.made.append(op)
        self.said[place] = WORDS.get(kind, "")

    def send(self, chance: random.Random, technician: Any) -> None:
        """One round over a bad line: it may be cut before, answered in part, or the answer lost."""
        batch = self.queue[: chance.randint(1, 30)]
        if chance.random() < 0.2:
            batch = chance.sample(batch, len(batch))  # what a proxy with retries may do
        if not batch or chance.random() < 0.2:
            return
        answers = apply_operations(batch, by=technician)
        if chance.random() < 0.2:
            answers = apply_operations(batch, by=technician)  # the network sent it twice
        if chance.random() < 0.3:
            return  # the answer is lost: all of it is sent again
        heard = {one["id"] for one in answers if one["verdict"] != "wait"}
        if chance.random() < 0.3:
            heard = set(list(heard)[: len(heard) // 2])  # the page died while it noted them
        self.queue = [op for op in self.queue if op["id"] not in heard]


@pytest.mark.parametrize("seed", range(2))
def test_whatever_the_line_does_nothing_is_lost_and_nothing_is_there_twice(seed):
    chance = random.Random(seed)
    technician, office = make_technician(), make_office()
    visits = [
        make_visit(make_site(zones=4), state="under_way", by=office, technician=technician)
        for _ in range(2)
    ]
    handsets, shared_of = [], {}
    for visit in visits:
        places = [place for zone in visit.site.zones.all() for place in zone.checkpoints.all()]
        shared_of[visit.pk] = places[:2]
        for nth in range(PHONES // 2 + (visit is visits[0])):
            handsets.append(Handset(Phone(visit), places[2 + nth * 3 : 5 + nth * 3]))

    with time_machine.travel(local(visits[0], 20), tick=False):
        for _ in range(TAPS):
            for one in handsets:
                one.tap(chance, shared_of[one.phone.visit.pk])
                if chance.random() < 0.15:
                    one.send(chance, technician)
        rounds = 0
        while any(one.queue for one in handsets):
            rounds += 1
            assert rounds < 1000, "a queue is stuck"
            for one in handsets:
                one.send(chance, technician)

    made = {op["id"]: op["kind"] for one in handsets for op in one.made}
    assert dict(Operation.objects.values_list("pk", "kind")).keys() == {
        Operation._meta.pk.to_python(pk) for pk in made
    }
    assert Operation.objects.count() == len(made) == PHONES * TAPS
    parked = set(ParkedOperation.objects.values_list("operation_id", flat=True))
    assert parked == set(Operation.objects.filter(verdict="parked").values_list("pk", flat=True))
    for one in handsets:
        for place in one.own:
            assert word_on(one.phone.visit, place) == one.said.get(place, ""), place
        for place in shared_of[one.phone.visit.pk]:
            assert word_on(one.phone.visit, place) in words_applied(place) | {""}


WORDS = {"look.add": "looked", "not_reached.set": "missed"}


def words_applied(place: Any) -> set[str]:
    """What the receipts that were applied say of a place."""
    return {
        WORDS.get(one.kind, "")
        for one in Operation.objects.filter(verdict="applied")
        if one.body["checkpoint"] == str(place.pk)
    }


def word_on(visit: Visit, place: Any) -> str:
    if visit.looks.filter(checkpoint=place).exists():
        return "looked"
    return "missed" if visit.not_reached.filter(checkpoint=place).exists() else ""
