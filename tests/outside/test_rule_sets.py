"""The rule sets against what published rules say of the record of an application.

Source of rules and elements: data/application-records.toml, which names each rule's identifier and
how far it was confirmed; of deadlines and retention, the words beside each.
"""

import tomllib
from pathlib import Path

import pytest

from visits.dosing.rules import ELEMENTS, RULE_SETS, UNION

RULES = {
    rule["id"]: rule
    for rule in tomllib.loads(
        (Path(__file__).parent / "data" / "application-records.toml").read_text()
    )["rule"]
}
# New South Wales asks licensed technicians for more, which is one set here and two rows there.
SLUGS = {
    "us-7-cfr-110": ("US-7CFR110",),
    "us-40-cfr-171-303": ("US-40CFR171.303",),
    "au-nsw": ("AU-NSW", "AU-NSW-licensed"),
    "au-vic": ("AU-VIC",),
    "au-qld": ("AU-QLD",),
    "eu-1107-2009": ("EU-1107-2009",),
    "eu-gb-biocides": ("EU-GB-BPR",),
    "uk-rodenticide-code": ("UK-RODENTICIDE-CODE",),
    "ca-bc": ("CA-BC",),
    "us-chicago-log": ("US-CHICAGO-LOG",),
}
# 40 CFR 171.303: that it asks for the kind of site is from memory.
REMEMBERED = {"us-40-cfr-171-303": {"site_or_commodity"}}


def test_every_published_rule_has_its_set():
    assert {*SLUGS, UNION.slug} == set(RULE_SETS)
    assert {name for names in SLUGS.values() for name in names} == set(RULES)


@pytest.mark.parametrize("slug", SLUGS)
def test_a_set_asks_for_what_its_rule_asks_for_and_nothing_else(slug):
    rows = [RULES[name] for name in SLUGS[slug]]
    published = {
        name for row in rows for name in (*row["elements"], *row.get("elsewhere", ()))
    } | REMEMBERED.get(slug, set())

    assert set(RULE_SETS[slug].elements) == published
    assert {RULE_SETS[slug].confirmed} == {row["confirmed"] for row in rows}


def test_what_is_asked_of_visit_or_site_is_what_the_record_keeps_elsewhere():
    elsewhere = {name for rule in RULES.values() for name in rule.get("elsewhere", ())}

    assert {name for name, kind in ELEMENTS.items() if kind.of != "application"} == elsewhere


@pytest.mark.parametrize(
    ("slug", "days", "confirmed"),
    [
        # 7 CFR 110.3: within 14 days (the notice of 1995 was read only as far as: it is shorter).
        ("us-7-cfr-110", 14, "from memory"),
        # Pesticides Regulation 2017 (NSW): 48 hours by the regulator's older page.
        ("au-nsw", 2, "text-seen"),
        # Ours: 24 hours, since cl. 35 as now in force was not read and is remembered so.
        ("union", 1, "ours"),
    ],
)
def test_a_record_is_made_within_its_rules_days(slug, days, confirmed):
    assert RULE_SETS[slug].deadline_hours == days * 24
    assert RULE_SETS[slug].deadline_confirmed == confirmed


@pytest.mark.parametrize(
    ("slug", "years", "confirmed"),
    [
        ("us-7-cfr-110", 2, "from memory"),  # 7 CFR 110.3
        ("us-40-cfr-171-303", 2, "secondary"),  # 40 CFR 171.303(b)(7)
        ("au-nsw", 3, "text-seen"),  # Pesticides Regulation 2017 (NSW) cl. 37(1)
        ("au-vic", 3, "from memory"),  # Public Health and Wellbeing Regulations 2019 (Vic)
        ("eu-1107-2009", 3, "from memory"),  # Regulation (EC) 1107/2009 Art. 67(1)
        ("ca-bc", 3, "from memory"),  # B.C. Reg. 604/2004
        ("union", 3, "ours"),  # the strictest that was read: New South Wales
    ],
)
def test_a_record_is_kept_for_its_rules_years(slug, years, confirmed):
    assert RULE_SETS[slug].retention_years == years
    assert RULE_SETS[slug].retention_confirmed == confirmed


def test_what_was_not_read_is_not_made_up():
    """Queensland's retention, and any list for users of biocides, were not found."""
    assert RULE_SETS["au-qld"].retention_years is None
    assert RULE_SETS["eu-gb-biocides"].elements == ()
