"""Which pests a monitor is there for, by its kind: the one table that the phone repeats.

A monitor watches for groups of pests. The likeliest pest of a group stands for it where nothing has
been caught yet, so that a place that caught nothing can be told of as well. Bait holds no rodent:
what it shows is that some was taken, which is counted by readings (``BAIT_TAKEN``).
"""

from collections.abc import Mapping

from sites.models import Monitor
from visits.models import Pest
from visits.models.pest import BAIT_TAKEN
from visits.usual_pests import USUAL_PESTS

_Kind, _Group = Monitor.Kind, Pest.Group

USUAL_GROUPS: Mapping[str, tuple[str, ...]] = {
    _Kind.STICKY: (_Group.COCKROACH, _Group.ANT, _Group.STORED_PRODUCT),
    _Kind.BAIT_STATION: (_Group.RODENT,),
    _Kind.SNAP_TRAP: (_Group.RODENT,),
    _Kind.LIVE_TRAP: (_Group.RODENT,),
    _Kind.INDICATOR: (_Group.RODENT, _Group.COCKROACH),
    _Kind.FLY_LIGHT: (_Group.FLY,),
    _Kind.PHEROMONE: (_Group.STORED_PRODUCT, _Group.COCKROACH),
}
"""Groups that a kind of monitor watches for, the likeliest first. Common practice, no source."""


WITH_BAIT = frozenset({_Kind.BAIT_STATION, _Kind.INDICATOR})
"""Kinds that rodents feed at and leave. The phone asks of these whether any was taken."""


def watches(kind: str, group: str) -> bool:
    """Whether monitors of a kind would hold a pest of this group, if there were any.

    With bait, rodents are not looked for one by one: that a station held none tells nothing.
    """
    if kind in WITH_BAIT and group == _Group.RODENT:
        return False
    return group in USUAL_GROUPS.get(kind, ())


def likeliest(kind: str) -> str:
    """The slug of the pest that stands for a monitor that has caught nothing; may be empty."""
    groups = USUAL_GROUPS.get(kind, ())
    if kind in WITH_BAIT:
        return BAIT_TAKEN
    return next((slug for slug, _, group in USUAL_PESTS if groups and group == groups[0]), "")
