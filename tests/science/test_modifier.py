"""Modifiers multiply, each with a reason; unknown facts change nothing."""

from typing import Any

import pytest

from exchange.science.compatibility import group_prior
from exchange.science.modifier import Parent, fertility_factor, pair_modifier
from tests.published import Row, cases

HARDY = Parent(("hardy",))


def _parent(facts: dict[str, Any]) -> Parent:
    lists = {key: tuple(value) for key, value in facts.items() if isinstance(value, list)}
    return Parent(**{**facts, **lists})


@pytest.mark.parametrize("row", cases("compatibility", "modifier", "modified_mean"))
def test_modifiers_meet_what_is_published(row: Row) -> None:
    seed, pollen = _parent(row.inputs["seed"]), _parent(row.inputs["pollen"])
    factor = pair_modifier(seed, pollen).factor
    mean = group_prior(seed.groups[0], pollen.groups[0]).mean
    row.check(factor if row.quantity == "modifier" else factor * mean)


def test_nothing_stated_changes_nothing() -> None:
    modifier = pair_modifier(HARDY, HARDY)
    assert modifier.factor == 1.0
    assert modifier.reasons == ()


def test_all_factors_multiply_and_each_gives_its_reason() -> None:
    modifier = pair_modifier(
        Parent(("hardy",), "poor", (84,), 31.5), Parent(("brachyceras",), "poor", (28,), 34.0)
    )
    assert modifier.factor == pytest.approx(0.2 * 0.2 * 0.3 * 0.8)
    assert [code for code, _ in modifier.reasons] == [
        "poor_seed_parent",
        "poor_pollen_parent",
        "hardy_in_hot_water",
        "different_chromosome_counts",
    ]
    assert modifier.reasons[2][1] == {"factor": 0.3, "water_c": 31.5, "limit_c": 30.0, "side": "seed"}
    assert modifier.reasons[3][1] == {"factor": 0.8, "seed_count": 84.0, "pollen_count": 28.0}


def test_a_sterile_parent_says_which_side() -> None:
    modifier = pair_modifier(HARDY, Parent(("hardy",), "sterile"))
    assert modifier.factor == 0.0
    assert modifier.reasons == (("sterile_pollen_parent", {"factor": 0.0}),)


def test_heat_counts_once_and_names_the_hotter_side() -> None:
    modifier = pair_modifier(
        Parent(("hardy",), water_week_mean_c=31.0), Parent(("hardy",), water_week_mean_c=33.0)
    )
    assert modifier.factor == 0.3
    assert modifier.reasons[0][1]["side"] == "pollen"


@pytest.mark.parametrize("groups", [("brachyceras",), ("hardy", "brachyceras")])
def test_heat_speaks_only_of_purely_hardy_plants(groups: tuple[str, ...]) -> None:
    assert pair_modifier(Parent(groups, water_week_mean_c=33.0), Parent(("lotos",))).factor == 1.0


def test_water_at_the_limit_is_not_too_hot() -> None:
    assert pair_modifier(Parent(("hardy",), water_week_mean_c=30.0), HARDY).factor == 1.0


def test_several_counts_of_a_taxon_give_no_factor() -> None:
    assert pair_modifier(Parent(("hardy",), chromosome_counts=(56, 84)), HARDY).factor == 1.0
    two = pair_modifier(
        Parent(("hardy",), chromosome_counts=(56, 84)), Parent(("hardy",), chromosome_counts=(56,))
    )
    assert two.factor == 1.0


def test_wrong_words_and_numbers_are_refused() -> None:
    with pytest.raises(ValueError, match="fertility is 'maybe'; allowed: fertile, poor, sterile, not stated"):
        fertility_factor("maybe")
    with pytest.raises(ValueError, match=r"water_week_mean_c is 86; allowed: -2 to 50\."):
        pair_modifier(Parent(("hardy",), water_week_mean_c=86.0), HARDY)
    with pytest.raises(ValueError, match="groups of the pollen parent are empty"):
        pair_modifier(HARDY, Parent(()))
    with pytest.raises(ValueError, match="group is 'oak'"):
        pair_modifier(Parent(("oak",)), HARDY)
