"""Situations and what the guide says of them, for the phone's copy of the rule.

``python -m tests.visits.dosing.guide_cases`` writes tests/js/guide-cases.json anew.
"""

import json
from dataclasses import asdict
from itertools import product
from pathlib import Path
from typing import Any

from visits.dosing.guide import Situation, advise, row_as_data
from visits.dosing.guide_rows import STARTING_SET
from visits.dosing.vocabulary import BOUNDARIES, SURFACES, SURROUNDINGS, ZONE_KINDS

CASES = Path(__file__).parents[2] / "js" / "guide-cases.json"

_PESTS = (
    ("german-cockroach", "cockroach"),
    ("brown-rat", "rodent"),
    ("drain-fly", "fly"),
    ("flour-beetle", "stored_product"),
    ("pharaoh-ant", "ant"),
    ("feral-pigeon", "bird"),
    ("wasp", "other"),
    ("", ""),
)
_ROUND_IT = [word for word in SURROUNDINGS if not word.startswith("boundary_")]
_EVERY = 4


def situations() -> list[Situation]:
    """Every fourth pair of zone and surface; pests, surroundings and boundaries take turns."""
    pairs = list(product(ZONE_KINDS, ("", *SURFACES)))[::_EVERY]
    found = []
    for turn, (zone_kind, surface) in enumerate(pairs):
        pest, group = _PESTS[turn % len(_PESTS)]
        round_it = {_ROUND_IT[turn % len(_ROUND_IT)], _ROUND_IT[(turn * 5 + 3) % len(_ROUND_IT)]}
        found.append(
            Situation(
                zone_kind,
                surface,
                pest,
                group,
                BOUNDARIES[turn % len(BOUNDARIES)],
                **{word: True for word in round_it if turn % 3},
            )
        )
    return found


def guide_cases() -> str:
    """The table and the cases as JSON, one row or case on a line."""
    rows = [row_as_data(row) for row in STARTING_SET]
    cases = [
        {"situation": asked(one), "advice": asdict(advise(one, STARTING_SET))}
        for one in situations()
    ]
    return f'{{"rows": [\n{_lines(rows)}\n], "cases": [\n{_lines(cases)}\n]}}\n'


def asked(situation: Situation) -> dict[str, Any]:
    """A situation as the phone holds it: what is round it is one list of words."""
    return {
        "zone_kind": situation.zone_kind,
        "surface": situation.surface,
        "pest": situation.pest,
        "pest_group": situation.pest_group,
        "surroundings": sorted(situation.surroundings),
    }


def _lines(rows: list[dict[str, Any]]) -> str:
    return ",\n".join(json.dumps(row, ensure_ascii=False) for row in rows)


if __name__ == "__main__":
    CASES.write_text(guide_cases(), encoding="utf-8")
