"""The mode of action of each active ingredient, against the published classification.

Source: IRAC mode-of-action classification, edition 11.1 (January 2024) cited; its table was not
readable, so that exact codes are from memory except where ``mode_data`` says otherwise (classes:
MIRO vector-control ontology, 2014; group numbers: an older EPA/IRAC summary; sites: a university
extension compendium, 2017). Rodenticides: Univ. of Nebraska G1646, APVMA class page, a New Zealand
trade note, RRAC guide: text-seen; alphachloralose from memory.
"""

from datetime import date, timedelta

import pytest

from visits.dosing.mode_data import ACTIVES, GROUPS
from visits.dosing.modes import mode_of, modes_of
from visits.dosing.rotation import WINDOW_DAYS, Used, rotation

LISTED = [
    ("bendiocarb", "1A"),
    ("propoxur", "1A"),
    ("dichlorvos", "1B"),
    ("pirimiphos-methyl", "1B"),
    ("fipronil", "2B"),
    ("bifenthrin", "3A"),
    ("beta-cyfluthrin", "3A"),
    ("cyfluthrin", "3A"),
    ("cypermethrin", "3A"),
    ("alpha-cypermethrin", "3A"),
    ("deltamethrin", "3A"),
    ("lambda-cyhalothrin", "3A"),
    ("permethrin", "3A"),
    ("etofenprox", "3A"),
    ("imiprothrin", "3A"),
    ("tetramethrin", "3A"),
    ("d-phenothrin", "3A"),
    ("pyrethrins", "3A"),
    ("acetamiprid", "4A"),
    ("clothianidin", "4A"),
    ("dinotefuran", "4A"),
    ("imidacloprid", "4A"),
    ("thiamethoxam", "4A"),
    ("spinosad", "5"),
    ("abamectin", "6"),
    ("emamectin benzoate", "6"),
    ("s-methoprene", "7A"),
    ("hydroprene", "7A"),
    ("fenoxycarb", "7B"),
    ("pyriproxyfen", "7C"),
    ("boric acid", "8D"),
    ("disodium octaborate tetrahydrate", "8D"),
    ("sulfuryl fluoride", "8C"),
    ("chlorfenapyr", "13"),
    ("diflubenzuron", "15"),
    ("novaluron", "15"),
    ("hexaflumuron", "15"),
    ("cyromazine", "17"),
    ("hydramethylnon", "20A"),
    ("indoxacarb", "22A"),
    ("phosphine", "24A"),
    ("chlorantraniliprole", "28"),
    ("broflanilide", "30"),
    ("diatomaceous earth", "UNM"),
    ("silica (amorphous, aerogel)", "UNM"),
    ("piperonyl butoxide", "none"),
]
SAID_TO_REST_ON = {
    # Class, listed, group name and site: read. The rest is from memory.
    "bendiocarb": "read",
    "propoxur": "read",
    "dichlorvos": "read",
    "pirimiphos-methyl": "from memory",
    "fipronil": "read",
    "bifenthrin": "read",
    "beta-cyfluthrin": "read",
    "cyfluthrin": "read",
    "cypermethrin": "read",
    "alpha-cypermethrin": "read",
    "deltamethrin": "read",
    "lambda-cyhalothrin": "read",
    "permethrin": "read",
    "etofenprox": "read",
    "imiprothrin": "from memory",
    "tetramethrin": "from memory",
    "d-phenothrin": "from memory",
    "pyrethrins": "read",
    "acetamiprid": "read",
    "clothianidin": "read",
    "dinotefuran": "read",
    "imidacloprid": "read",
    "thiamethoxam": "read",
    "spinosad": "read",
    "abamectin": "read",
    "emamectin benzoate": "read",
    "s-methoprene": "read",
    "hydroprene": "read",
    "fenoxycarb": "from memory",
    "pyriproxyfen": "read",
    "boric acid": "from memory",
    "disodium octaborate tetrahydrate": "from memory",
    "sulfuryl fluoride": "from memory",
    "chlorfenapyr": "read",
    "diflubenzuron": "read",
    "novaluron": "read",
    "hexaflumuron": "from memory",
    "cyromazine": "read",
    "hydramethylnon": "read",
    "indoxacarb": "read",
    "phosphine": "read",
    "chlorantraniliprole": "from memory",
    "broflanilide": "from memory",
    "diatomaceous earth": "from memory",
    "silica (amorphous, aerogel)": "from memory",
    "piperonyl butoxide": "read",
}
TODAY = date(2026, 6, 30)


@pytest.mark.parametrize(("active", "group"), LISTED, ids=[name for name, _ in LISTED])
def test_an_active_is_in_its_group(active, group):
    mode = mode_of(active)

    assert mode.group == group
    rests_on = "from memory" if mode.confirmed.startswith("from memory") else "read"
    assert rests_on == SAID_TO_REST_ON[active]


def test_the_list_has_forty_six_actives_in_twenty_two_groups():
    """Ours: those that are listed above, and no other."""
    assert len(LISTED) == len(ACTIVES) == 46
    assert {group for _, group in LISTED} == set(GROUPS)
    assert len(GROUPS) == 22


@pytest.mark.parametrize(
    ("generation", "actives"),
    [
        # Univ. of Nebraska G1646; coumatetralyl and pindone: New Zealand trade note.
        ("first", ["warfarin", "diphacinone", "chlorophacinone", "coumatetralyl", "pindone"]),
        # Univ. of Nebraska G1646; flocoumafen: APVMA class page.
        (
            "second",
            ["bromadiolone", "difenacoum", "brodifacoum", "difethialone", "flocoumafen"],
        ),
    ],
)
def test_anticoagulants_share_one_mode_of_action(generation, actives):
    """RRAC guide, text-seen: moving between them is no change of mode of action."""
    assert {mode_of(name).group for name in actives} == {f"{generation} generation"}
    assert set(modes_of(actives)) == {"anticoagulant"}


@pytest.mark.parametrize(
    "active", ["cholecalciferol", "bromethalin", "zinc phosphide", "alphachloralose"]
)
def test_the_other_rodenticides_are_no_anticoagulants(active):
    """Univ. of Nebraska G1646; alphachloralose from memory."""
    assert list(modes_of([active, "warfarin"])) == [active, "anticoagulant"]
    assert mode_of(active).confirmed == (
        "from memory" if active == "alphachloralose" else "text-seen"
    )


@pytest.mark.parametrize(
    "active",
    [
        "diatomaceous earth",
        "silica (amorphous, aerogel)",
        "boric acid",
        "disodium octaborate tetrahydrate",
        "piperonyl butoxide",
    ],
)
def test_physical_dusts_borates_and_synergists_never_ask_for_a_change(active):
    """From memory: UNM, 8D and synergists never trigger the warning."""
    used = [Used(TODAY - timedelta(days=days), (active,)) for days in (100, 200)]

    assert rotation([active], used, on=TODAY).level == "clear"


def test_the_window_is_about_a_generation_of_the_german_cockroach():
    """Design value: 90 days, about one generation; it can be set."""
    assert WINDOW_DAYS == 90


def test_changing_product_is_not_enough():
    """Extension bait guidance, text-seen: the new active needs another mode of action."""
    used = [Used(TODAY - timedelta(days=100), ("deltamethrin",))]

    assert rotation(["permethrin"], used, on=TODAY).level == "again"
    assert rotation(["fipronil"], used, on=TODAY).level == "clear"


def test_pyrethrins_with_a_synergist_count_as_pyrethrins_alone():
    """From memory: synergists never count."""
    assert list(modes_of(["pyrethrins", "piperonyl butoxide"])) == ["3"]
