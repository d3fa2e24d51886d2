"""What monitors watch for."""

import re
from pathlib import Path

from django.conf import settings

from sites.models import Monitor
from visits.usual_pests import USUAL_PESTS
from visits.watched import USUAL_GROUPS, WITH_BAIT, likeliest, watches

PHONE = Path(settings.BASE_DIR, "static/js/phone")


def test_the_phone_has_the_same_groups():
    script = (PHONE / "rules.js").read_text()
    found = re.search(r"const USUAL_GROUPS = {\n(.*?)\n};", script, re.DOTALL)
    assert found
    rows = re.findall(r"(\w+): \[([^\]]*)\]", found[1])
    phone = {kind: tuple(re.findall(r"\w+", groups)) for kind, groups in rows}
    assert phone == {str(kind): tuple(map(str, groups)) for kind, groups in USUAL_GROUPS.items()}


def test_the_phone_asks_the_same_kinds_for_bait():
    script = (PHONE / "reading.js").read_text()
    found = re.search(r"const WITH_BAIT = new Set\(\[([^\]]*)\]\)", script)
    assert found
    assert set(re.findall(r"\w+", found[1])) == {str(kind) for kind in WITH_BAIT}


def test_every_kind_watches_for_something():
    assert set(USUAL_GROUPS) == set(Monitor.Kind)
    known = {slug for slug, _, _ in USUAL_PESTS} | {"rodent-take"}
    assert {likeliest(kind) for kind in Monitor.Kind} <= known


def test_bait_holds_no_rodent():
    assert likeliest("bait_station") == "rodent-take"
    assert not watches("bait_station", "rodent")
    assert not watches("indicator", "rodent")
    assert watches("indicator", "cockroach")
    assert watches("snap_trap", "rodent")
