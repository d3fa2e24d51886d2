"""The pure package runs where there is no Django, as in a notebook."""

import subprocess
import sys
from pathlib import Path

from visits.dosing.allowance import Applied
from visits.dosing.doses import Dose, Use
from visits.dosing.label import Active, Cover, Label, RateLine, Strength
from visits.dosing.mixing import Fill, Measured, Mix
from visits.dosing.units import Quantity

ROOT = Path(__file__).parents[3]

EXAMPLE = """
import doctest, sys
import visits.dosing
tried = doctest.testmod(visits.dosing)
print(tried.failed, tried.attempted > 5, [name for name in sys.modules if name == "django"])
"""


def test_the_example_of_the_package_runs_without_django():
    done = subprocess.run(
        [sys.executable, "-c", EXAMPLE], cwd=ROOT, capture_output=True, text=True, check=True
    )

    assert done.stdout == "0 True []\n"


def test_what_goes_in_and_out_cannot_be_changed_and_carries_nothing_else():
    kinds = (Quantity, Strength, Active, Cover, RateLine, Label, Dose, Use, Mix, Fill, Measured)

    for kind in (*kinds, Applied):
        assert kind.__dataclass_params__.frozen
        assert "__slots__" in vars(kind)
