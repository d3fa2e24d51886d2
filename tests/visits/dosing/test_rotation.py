"""Windows, groups and what is asked for. The rules and their sources: visits/dosing/rotation.py."""

from datetime import date, timedelta

import pytest

from visits.dosing.rotation import WINDOW_DAYS, Used, rotation

TODAY = date(2026, 6, 30)
PYRETHROID = ("deltamethrin",)


def ago(days, *actives):
    return Used(TODAY - timedelta(days=days), actives or PYRETHROID)


@pytest.mark.parametrize(
    ("days", "level"),
    [
        (0, "clear"),
        (1, "clear"),
        (WINDOW_DAYS - 1, "clear"),
        (WINDOW_DAYS, "again"),
        (WINDOW_DAYS + 1, "again"),
        (2 * WINDOW_DAYS - 1, "again"),
        (2 * WINDOW_DAYS, "clear"),
        (-1, "clear"),
        (-WINDOW_DAYS, "clear"),
    ],
)
def test_one_group_in_two_windows_running_asks_for_a_reason(days, level):
    found = rotation(PYRETHROID, [ago(days)], on=TODAY)

    assert found.level == level
    assert found.groups == (("3",) if level == "again" else ())
    assert ("Say why." in found.words) is (level == "again")


@pytest.mark.parametrize(
    ("days", "level"),
    [
        ((100, 200), "third"),
        ((WINDOW_DAYS, 2 * WINDOW_DAYS), "third"),
        ((100, 3 * WINDOW_DAYS - 1), "third"),
        ((100, 3 * WINDOW_DAYS), "again"),
        ((100, 150), "again"),
        ((200,), "clear"),
        ((200, 300), "clear"),
        ((10, 100, 200), "third"),
    ],
)
def test_three_windows_running_ask_for_a_supervisors_reason(days, level):
    found = rotation(PYRETHROID, [ago(one) for one in days], on=TODAY)

    assert found.level == level
    assert ("A supervisor gives the reason." in found.words) is (level == "third")


@pytest.mark.parametrize(
    ("now", "before", "groups"),
    [
        # Another product, or a sub-group, of the same main group is no rotation.
        (("permethrin",), ("pyrethrins",), ("3",)),
        (("s-methoprene",), ("pyriproxyfen",), ("7",)),
        # Another main group is.
        (("fipronil",), ("deltamethrin",), ()),
        (("imidacloprid",), ("spinosad",), ()),
        # A mixture counts as each of its groups.
        (("imidacloprid", "beta-cyfluthrin"), ("deltamethrin",), ("3",)),
        (("imidacloprid", "beta-cyfluthrin"), ("acetamiprid", "permethrin"), ("4", "3")),
        # Synergists, borates and physical dusts never count.
        (("pyrethrins", "piperonyl butoxide"), ("piperonyl butoxide",), ()),
        (("boric acid",), ("boric acid",), ()),
        (("diatomaceous earth",), ("silica",), ()),
        # All anticoagulants are one mode of action (RRAC guide, text-seen).
        (("brodifacoum",), ("warfarin",), ("anticoagulant",)),
        (("cholecalciferol",), ("warfarin",), ()),
        (("unheard of",), ("unheard of",), ()),
        ((), ("deltamethrin",), ()),
    ],
)
def test_main_groups_are_compared(now, before, groups):
    assert rotation(now, [ago(100, *before)], on=TODAY).groups == groups


def test_only_the_group_that_comes_a_third_time_is_named_then():
    used = [ago(100, "imidacloprid", "beta-cyfluthrin"), ago(200, "permethrin")]

    found = rotation(("imidacloprid", "beta-cyfluthrin"), used, on=TODAY)

    assert (found.level, found.groups) == ("third", ("3",))


def test_the_length_of_a_window_is_the_companys():
    assert rotation(PYRETHROID, [ago(40)], on=TODAY).level == "clear"
    found = rotation(PYRETHROID, [ago(40)], on=TODAY, window_days=30)
    assert found.level == "again"
    assert "windows of 30 days" in found.words


def test_a_window_of_no_days_is_a_mistake():
    with pytest.raises(ValueError, match=r"^a window lasts a day at least$"):
        rotation(PYRETHROID, [], on=TODAY, window_days=0)
    assert rotation(PYRETHROID, [ago(1)], on=TODAY, window_days=1).level == "again"


def test_the_words_say_which_group_and_what_is_no_change():
    insects = rotation(PYRETHROID, [ago(100)], on=TODAY)
    assert insects.words == (
        "The same mode of action in two windows of 90 days running: group 3 (pyrethroids and "
        "pyrethrins). Another product of that group is no change. Say why."
    )
    rats = rotation(("difenacoum",), [ago(100, "warfarin"), ago(200, "warfarin")], on=TODAY)
    assert rats.words == (
        "The same mode of action in three windows of 90 days running: anticoagulants. Another "
        "anticoagulant is no change. Rule out poor coverage, competing food and reinvasion before "
        "you suspect resistance. A supervisor gives the reason."
    )


def test_two_groups_of_a_mixture_are_both_named():
    mixture = ("imidacloprid", "beta-cyfluthrin")

    assert (
        "group 4 (neonicotinoids) and group 3 (pyrethroids and pyrethrins)."
        in rotation(mixture, [ago(100, *mixture)], on=TODAY).words
    )


def test_what_is_not_on_our_list_is_said_and_not_guessed():
    found = rotation(("cyphenothrin",), [ago(100, "cyphenothrin")], on=TODAY)

    assert (found.level, found.unknown) == ("clear", ("cyphenothrin",))
    assert found.words == (
        "cyphenothrin is not on our list, so that nothing can be said about its group."
    )
    assert rotation(PYRETHROID, [], on=TODAY).words == ""
