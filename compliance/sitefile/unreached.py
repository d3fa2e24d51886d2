"""From what each visit said of a place to how long it has not been reached.

A place is a checkpoint, a monitor or a whole zone, known by its key. What is said of it comes visit
by visit, oldest first: not reached, with the reason, or reached. A spell begins with the first "not
reached" after the place was last reached, and ends when it is reached again.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from compliance.sitefile.content import StandingNotReached


@dataclass(frozen=True, slots=True)
class Mention:
    """What one visit said of one place. Without a ``reason`` it was reached."""

    on: date
    place: str
    zone: str = ""
    what: str = ""
    reason: str = ""
    whose_move: str = ""


def spells(mentions: Iterable[Mention], *, first: date, last: date) -> list[StandingNotReached]:
    """The spells that touch the days from ``first`` to ``last``, by the day they began.

    Mentions after ``last`` say nothing. The reason and the owner are those given last.
    """
    open_spells: dict[str, StandingNotReached] = {}
    found: list[StandingNotReached] = []
    for mention in mentions:
        if mention.on > last:
            continue
        spell = open_spells.get(mention.place)
        if not mention.reason:
            if spell is not None:
                found.append(replace(spell, reached_on=mention.on))
                del open_spells[mention.place]
            continue
        open_spells[mention.place] = StandingNotReached(
            zone=mention.zone,
            what=mention.what,
            reason=mention.reason,
            whose_move=mention.whose_move,
            first_on=spell.first_on if spell else mention.on,
            last_on=mention.on,
            times=spell.times + 1 if spell else 1,
        )
    found.extend(open_spells.values())
    touching = [one for one in found if one.reached_on is None or one.reached_on >= first]
    return sorted(touching, key=lambda one: (one.first_on, one.zone, one.what))
