"""Each code of a notice goes into seals, so each has a row in its page of docs/algorithms."""

import re

from django.conf import settings

PAGE = settings.BASE_DIR / "docs/algorithms/treatment-checks.md"
SOURCE = settings.BASE_DIR / "visits/dosing/notices.py"
JUDGING = settings.BASE_DIR / "visits/queries/against_label.py"


def test_every_code_has_its_row_and_every_row_its_code():
    rows = dict(re.findall(r"^\| `([a-z_]+)` \| (yes|no) \|", PAGE.read_text(), re.M))
    said = {
        code: "yes" if kind == "forbidden" else "no"
        for kind, code in re.findall(r'_(forbidden|warning)\(\s*f?"([a-z_]+)"', SOURCE.read_text())
    }
    # The level of a repetition is the second half of its code.
    said |= {f"rotation_{level}": "no" for level in ("again", "third")}
    # What cannot be handed to the checks at all is said by who asks them.
    said |= dict.fromkeys(re.findall(r'Notice\("([a-z_]+)", False', JUDGING.read_text()), "no")

    assert rows == said
