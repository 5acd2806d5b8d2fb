"""Who can be paired at all, with the reason of every refusal and every factor."""

import pytest

from exchange.matching.eligibility import compatibility, refusals
from tests.matching.instance import lot, offer, parent, wanted

STERILE = {"pollen_fertility": "no", "seed_fertility": "no", "fertility_source": "its breeder"}
REFUSALS = {
    "not_asked_for": (offer(), wanted(clones=frozenset({"other"}))),
    "traits_missing": (offer(), wanted(traits=frozenset({"yellow", "large"}))),
    "country_not_shipped_to": (offer(), wanted(country="JP")),
    "groups_refused": (offer(parent=parent(groups=("nelumbo",))), wanted()),
    "sterile_pollen_parent": (offer(parent=parent(**STERILE)), wanted()),
    "sterile_seed_parent": (offer(), wanted(parent=parent(**STERILE))),
    "seed_parent_bloom_unknown": (offer(), wanted(bloom=None)),
    "pollen_parent_bloom_unknown": (offer(bloom=None), wanted()),
}


@pytest.mark.parametrize("code", REFUSALS)
def test_each_refusal_has_its_reason(code: str) -> None:
    given, asked = REFUSALS[code]
    assert [reason.code for reason in refusals(given, asked)] == [code]


def test_nothing_is_refused_without_a_reason() -> None:
    assert refusals(offer(), wanted()) == ()


def test_every_reason_is_told_at_once() -> None:
    given = offer(parent=parent(**STERILE), bloom=None)
    codes = [reason.code for reason in refusals(given, wanted(country="JP", taxa=frozenset({"N. alba"})))]
    assert codes == [
        "not_asked_for",
        "country_not_shipped_to",
        "sterile_pollen_parent",
        "pollen_parent_bloom_unknown",
    ]


def test_pollen_in_hand_needs_no_forecast() -> None:
    assert refusals(offer(lot=lot(3)), wanted()) == ()


def test_the_own_country_needs_no_posting_abroad() -> None:
    assert refusals(offer(country="US", ships_to=frozenset()), wanted()) == ()


@pytest.mark.parametrize(
    "asked",
    [
        {"clones": frozenset({"Aurora"})},
        {"taxa": frozenset({"N. odorata"})},
        {"groups": frozenset({"brachyceras"})},
        {"clones": frozenset({"other"}), "groups": frozenset({"brachyceras"})},
        {"traits": frozenset({"yellow"})},
        {},
    ],
)
def test_a_plant_is_asked_for_by_name_taxon_or_group(asked: dict[str, frozenset[str]]) -> None:
    plant = parent(
        clone="Aurora",
        taxon="N. odorata",
        groups=("hardy", "brachyceras"),
        traits=frozenset({"yellow", "small"}),
    )
    assert refusals(offer(parent=plant), wanted(**asked)) == ()


def test_missing_traits_are_named_in_order() -> None:
    (reason,) = refusals(
        offer(parent=parent(traits=frozenset({"large"}))),
        wanted(traits=frozenset({"yellow", "large", "late"})),
    )
    assert reason.parameters == {"traits": "late, yellow"}


def test_direction_counts() -> None:
    hardy, tropical = parent(), parent(groups=("brachyceras",))
    one, other = compatibility(hardy, tropical), compatibility(tropical, hardy)
    assert (one.prior.seed_group, one.prior.pollen_group) == ("hardy", "brachyceras")
    assert (other.prior.seed_group, other.prior.pollen_group) == ("brachyceras", "hardy")
    assert one.mean != other.mean


def test_poor_pollen_costs_its_factor_and_names_plant_and_source() -> None:
    poor = parent("Sultan", pollen_fertility="poor", fertility_source="two seasons of its grower")
    taking = compatibility(parent(), poor)
    assert taking.mean == pytest.approx(0.2 * 0.3)
    (reason,) = (each for each in taking.reasons if each.code == "poor_pollen_parent")
    assert (reason.parameters["plant"], reason.parameters["source"]) == (
        "Sultan",
        "two seasons of its grower",
    )


def test_chromosome_counts_are_no_plants_fertility() -> None:
    taking = compatibility(
        parent(chromosome_counts=(28,), fertility_source="its breeder"), parent(chromosome_counts=(84,))
    )
    (reason,) = (each for each in taking.reasons if each.code == "different_chromosome_counts")
    assert (reason.parameters["seed_count"], reason.parameters["pollen_count"]) == (28.0, 84.0)
    assert "source" not in reason.parameters and "plant" not in reason.parameters


def test_a_plant_sterile_as_seed_parent_may_give_pollen() -> None:
    assert refusals(offer(parent=parent(seed_fertility="no")), wanted()) == ()


@pytest.mark.parametrize(
    ("groups", "code"),
    [
        (("hardy",), "groups_on_record"),
        (("lotos",), "groups_no_report"),
        (("hardy", "lotos"), "groups_on_record"),
        (("victoria", "lotos"), "groups_on_record"),
        (("hydrocallis", "lotos"), "groups_no_report"),
    ],
)
def test_what_the_chance_of_the_groups_rests_on_is_told_first(groups: tuple[str, ...], code: str) -> None:
    taking = compatibility(parent(groups=groups), parent())
    first = taking.reasons[0]
    assert first.code == code
    assert first.parameters["chance"] == pytest.approx(taking.prior.mean, abs=5e-5)
    assert first.parameters["source"] == taking.prior.source


def test_a_hybrid_takes_the_mean_of_its_parents_rows() -> None:
    mixed = compatibility(parent(groups=("hardy", "brachyceras")), parent())
    pure = [compatibility(parent(groups=(group,)), parent()).prior for group in ("hardy", "brachyceras")]
    assert mixed.prior.alpha == pytest.approx(sum(prior.alpha for prior in pure) / 2.0)
    assert mixed.prior.beta == pytest.approx(sum(prior.beta for prior in pure) / 2.0)
