"""The pests that every installation starts with. Slugs go into seals and are never renamed."""

from visits.models import Pest
from visits.models.pest import BAIT_TAKEN

_Group = Pest.Group

USUAL_PESTS: tuple[tuple[str, str, str], ...] = (
    ("german-cockroach", "German cockroach", _Group.COCKROACH),
    ("oriental-cockroach", "Oriental cockroach", _Group.COCKROACH),
    ("american-cockroach", "American cockroach", _Group.COCKROACH),
    ("brown-banded-cockroach", "Brown-banded cockroach", _Group.COCKROACH),
    ("australian-cockroach", "Australian cockroach", _Group.COCKROACH),
    ("smokybrown-cockroach", "Smokybrown cockroach", _Group.COCKROACH),
    ("house-mouse", "House mouse", _Group.RODENT),
    ("brown-rat", "Brown rat", _Group.RODENT),
    ("black-rat", "Black rat", _Group.RODENT),
    ("house-fly", "House fly", _Group.FLY),
    ("blowfly", "Blowfly", _Group.FLY),
    ("fruit-fly", "Fruit fly", _Group.FLY),
    ("drain-fly", "Drain fly", _Group.FLY),
    ("scuttle-fly", "Scuttle fly", _Group.FLY),
    ("indian-meal-moth", "Indian meal moth", _Group.STORED_PRODUCT),
    ("flour-moth", "Mediterranean flour moth", _Group.STORED_PRODUCT),
    ("flour-beetle", "Flour beetle", _Group.STORED_PRODUCT),
    ("biscuit-beetle", "Biscuit beetle", _Group.STORED_PRODUCT),
    ("grain-weevil", "Grain weevil", _Group.STORED_PRODUCT),
    ("garden-ant", "Garden ant", _Group.ANT),
    ("pharaoh-ant", "Pharaoh ant", _Group.ANT),
    ("feral-pigeon", "Feral pigeon", _Group.BIRD),
    ("gull", "Gull", _Group.BIRD),
    ("silverfish", "Silverfish", _Group.OTHER),
    ("wasp", "Wasp", _Group.OTHER),
    ("spider", "Spider", _Group.OTHER),
    ("woodlouse", "Woodlouse", _Group.OTHER),
    ("bed-bug", "Bed bug", _Group.OTHER),
    ("other-pest", "Other", _Group.OTHER),
)

COUNTED_PESTS: tuple[tuple[str, str, str], ...] = (
    (BAIT_TAKEN, "Rodents (bait taken)", _Group.RODENT),
)
"""What is only counted: nobody is offered it."""
