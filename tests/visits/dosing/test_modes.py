"""How names are looked up, and which of a product's actives count."""

import pytest

from visits.dosing.mode_data import ACTIVES, GROUPS, SPELLINGS
from visits.dosing.modes import mode_of, modes_of, not_on_our_list, plain_name


@pytest.mark.parametrize(
    ("typed", "active"),
    [
        ("Deltamethrin", "deltamethrin"),
        ("  ALPHA   cypermethrin ", "alpha-cypermethrin"),
        ("alphacypermethrin", "alpha-cypermethrin"),
        ("α-Cypermethrin", "alpha-cypermethrin"),
        ("λ-cyhalothrin", "lambda-cyhalothrin"),
        ("lambda–cyhalothrin", "lambda-cyhalothrin"),
        ("(S)-methoprene", "s-methoprene"),
        ("methoprene", "s-methoprene"),
        ("Pyrethrum extract", "pyrethrins"),
        ("PBO", "piperonyl butoxide"),
        ("Silica (amorphous, aerogel)", "silica"),
        ("sulphuryl fluoride", "sulfuryl fluoride"),
        ("alpha-chloralose", "alphachloralose"),
        ("Brodifacoum", "brodifacoum"),
    ],
)
def test_a_name_is_found_however_it_is_spelt(typed, active):
    mode = mode_of(typed)

    assert mode is not None
    assert mode.active == active


@pytest.mark.parametrize("name", ["", "cyphenothrin", "delta", "zinc", "permethrins", "borax"])
def test_a_name_that_is_not_on_the_list_is_not_guessed(name):
    """Cyphenothrin ends as pyrethroids do, which is no reason to take it for one."""
    assert mode_of(name) is None
    assert modes_of([name]) == {}
    assert not_on_our_list([name, "permethrin"]) == (name,)


def test_every_other_spelling_leads_to_a_name_on_the_list():
    for spelt in SPELLINGS:
        assert mode_of(spelt) is not None, spelt
        assert plain_name(spelt) != spelt


@pytest.mark.parametrize(
    ("active", "group", "main"),
    [
        ("imidacloprid", "4A", "4"),
        ("spinosad", "5", "5"),
        ("chlorfenapyr", "13", "13"),
        ("hydramethylnon", "20A", "20"),
        ("sulfuryl fluoride", "8C", "8"),
        ("diatomaceous earth", "UNM", "UNM"),
        ("piperonyl butoxide", "none", "none"),
        ("warfarin", "first generation", "anticoagulant"),
        ("difenacoum", "second generation", "anticoagulant"),
        ("bromethalin", "bromethalin", "bromethalin"),
    ],
)
def test_the_main_group_is_the_number_alone(active, group, main):
    mode = mode_of(active)

    assert (mode.group, mode.main) == (group, main)


@pytest.mark.parametrize(
    ("actives", "groups"),
    [
        (["imidacloprid", "beta-cyfluthrin"], ["4", "3"]),
        (["pyrethrins", "piperonyl butoxide"], ["3"]),
        (["permethrin", "deltamethrin"], ["3"]),
        (["boric acid"], []),
        (["diatomaceous earth", "silica"], []),
        (["bromadiolone", "difenacoum"], ["anticoagulant"]),
        (["cholecalciferol", "brodifacoum"], ["cholecalciferol", "anticoagulant"]),
        (["unheard of", "fipronil"], ["2"]),
        ([], []),
    ],
)
def test_a_mixture_counts_as_every_group_that_counts(actives, groups):
    assert list(modes_of(actives)) == groups


def test_a_group_is_read_in_words():
    assert mode_of("permethrin").words == "group 3 (pyrethroids and pyrethrins)"
    assert mode_of("warfarin").words == "anticoagulants"
    assert mode_of("zinc phosphide").words == "zinc phosphide"


def test_every_active_has_a_group_with_a_name_and_what_it_does():
    assert {group for group, _ in ACTIVES.values()} == set(GROUPS)
    for name in ACTIVES:
        mode = mode_of(name)
        assert mode.name
        assert mode.works
        assert mode.confirmed
