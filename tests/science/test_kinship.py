"""Kinship of any ploidy against printed matrices, closed forms and an independent library."""

import warnings
from dataclasses import replace
from typing import Any, Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.science.arrays import FloatArray
from exchange.science.constants import KINSHIP_STRONG_WARNING, KINSHIP_WARNING
from exchange.science.kinship import (
    PedigreeEntry,
    inbreeding_coefficients,
    kinship_matrix,
    kinship_warning,
    offspring_inbreeding,
)
from tests.published import Row, cases

Method = Literal["diploid", "Hamilton-Kerr"]


def _pedigree(row: Row) -> list[PedigreeEntry]:
    return [PedigreeEntry(**entry) for entry in row.inputs["pedigree"]]


def _of(pedigree: list[PedigreeEntry], name: str) -> int:
    return [entry.name for entry in pedigree].index(name)


@pytest.mark.parametrize("row", cases("kinship", "inbreeding"))
def test_inbreeding_is_the_published_one(row: Row) -> None:
    pedigree = _pedigree(row)
    row.check(inbreeding_coefficients(pedigree)[_of(pedigree, row.inputs["name"])])


@pytest.mark.parametrize("row", cases("kinship", "kinship", "relationship"))
def test_kinship_is_the_published_one(row: Row) -> None:
    pedigree = _pedigree(row)
    kinship = kinship_matrix(pedigree)[
        _of(pedigree, row.inputs["first"]), _of(pedigree, row.inputs["second"])
    ]
    row.check(2.0 * kinship if row.quantity == "relationship" else kinship)


@pytest.mark.parametrize("row", cases("kinship", "mendelian_variance"))
def test_mendelian_variance_follows_from_the_parents_inbreeding(row: Row) -> None:
    pedigree = _pedigree(row)
    inbreeding = inbreeding_coefficients(pedigree)
    entry = pedigree[_of(pedigree, row.inputs["name"])]
    parents = [parent for parent in (entry.seed_parent, entry.pollen_parent) if parent is not None]
    row.check(1.0 - 0.25 * sum(1.0 + inbreeding[_of(pedigree, parent)] for parent in parents))


@pytest.mark.parametrize("row", cases("kinship", "warning_threshold"))
def test_warning_thresholds(row: Row) -> None:
    row.check((KINSHIP_WARNING if row.inputs["level"] == "warn" else KINSHIP_STRONG_WARNING).value)


def _library_kinship(
    pedigree: list[PedigreeEntry], method: Method, *, everywhere: bool = False
) -> FloatArray:
    """Kinship by sgkit; double reduction of founders is 0 there unless ``everywhere``."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import sgkit
        import xarray

        names = [entry.name for entry in pedigree]
        own = {entry.name: entry.chromosome_sets for entry in pedigree}
        parents, sets, reductions = [], [], []
        for entry in pedigree:
            pair = (entry.seed_parent, entry.pollen_parent)
            parents.append([-1 if parent is None else names.index(parent) for parent in pair])
            given_sets = (entry.seed_sets, entry.pollen_sets)
            sets.append(
                [
                    count if count is not None else (own[parent] if parent else entry.chromosome_sets) // 2
                    for count, parent in zip(given_sets, pair, strict=True)
                ]
            )
            founder = pair == (None, None) and not everywhere
            reductions.append([0.0 if founder else entry.double_reduction] * 2)
        data = xarray.Dataset()
        data["parent"] = ["samples", "parents"], np.array(parents)
        if method == "Hamilton-Kerr":
            data["stat_Hamilton_Kerr_tau"] = ["samples", "parents"], np.array(sets, dtype=np.uint64)
            data["stat_Hamilton_Kerr_lambda"] = ["samples", "parents"], np.array(reductions)
        result = sgkit.pedigree_kinship(data, method=method, allow_half_founders=True)
        return np.asarray(result.stat_pedigree_kinship.values, dtype=np.float64)


def _random_pedigree(seed: int, chromosome_sets: int, double_reduction: float) -> list[PedigreeEntry]:
    rng = np.random.default_rng(seed)
    pedigree = [PedigreeEntry(f"p{i}", chromosome_sets=chromosome_sets) for i in range(3)]
    for i in range(3, 15):
        seed_parent, pollen_parent = (f"p{parent}" for parent in rng.integers(0, i, 2))
        # A half-founder's unknown parent is inbred in the library when double reduction is not 0.
        lone = double_reduction == 0.0 and rng.random() < 0.2
        pedigree.append(
            PedigreeEntry(
                f"p{i}",
                seed_parent,
                None if lone else pollen_parent,
                chromosome_sets,
                double_reduction=double_reduction,
            )
        )
    return pedigree


@pytest.mark.parametrize("seed", range(5))
def test_diploid_kinship_agrees_with_an_independent_library(seed: int) -> None:
    pedigree = _random_pedigree(seed, 2, 0.0)
    np.testing.assert_allclose(kinship_matrix(pedigree), _library_kinship(pedigree, "diploid"), atol=1e-12)


@pytest.mark.parametrize("chromosome_sets", [2, 4, 6, 16])
@pytest.mark.parametrize("double_reduction", [0.0, 1 / 6])
def test_polyploid_kinship_agrees_with_an_independent_library(
    chromosome_sets: int, double_reduction: float
) -> None:
    pedigree = _random_pedigree(chromosome_sets, chromosome_sets, double_reduction)
    expected = _library_kinship(pedigree, "Hamilton-Kerr")
    np.testing.assert_allclose(kinship_matrix(pedigree), expected, atol=1e-12)


def test_mixed_ploidy_agrees_with_an_independent_library() -> None:
    pedigree = [
        PedigreeEntry("A"),
        PedigreeEntry("B", chromosome_sets=4),
        PedigreeEntry("C", chromosome_sets=8),
        PedigreeEntry("AB", "A", "B", 3),
        PedigreeEntry("BC", "B", "C", 6),
        PedigreeEntry("unreduced", "A", "B", 4, seed_sets=2, double_reduction=0.25),
        PedigreeEntry("triploid gives two", "AB", "BC", 5, seed_sets=2),
        PedigreeEntry("inbred", "unreduced", "B", 4),
        PedigreeEntry("last", "inbred", "unreduced", 4, double_reduction=0.1),
    ]
    expected = _library_kinship(pedigree, "Hamilton-Kerr")
    np.testing.assert_allclose(kinship_matrix(pedigree), expected, atol=1e-12)


def test_double_reduction_given_to_founders_does_not_make_them_inbred() -> None:
    founders = [PedigreeEntry(name, chromosome_sets=4, double_reduction=1 / 6) for name in "AB"]
    pedigree = [*founders, PedigreeEntry("C", "A", "B", 4, double_reduction=1 / 6)]
    assert inbreeding_coefficients(pedigree)[0] == 0.0
    self_kinship = _library_kinship(pedigree, "Hamilton-Kerr", everywhere=True)[0, 0]
    assert (4 * self_kinship - 1) / 3 == pytest.approx(1 / 13)


@given(st.integers(0, 10_000), st.sampled_from([2, 4, 6]), st.floats(0.0, 1.0))
@settings(max_examples=40, deadline=None)
def test_the_matrix_is_symmetric_positive_and_does_not_depend_on_the_order(
    seed: int, chromosome_sets: int, double_reduction: float
) -> None:
    pedigree = _random_pedigree(seed, chromosome_sets, double_reduction)
    kinship = kinship_matrix(pedigree)
    np.testing.assert_allclose(kinship, kinship.T)
    assert kinship.min() >= 0.0
    assert kinship.max() <= 1.0 + 1e-12
    assert np.linalg.eigvalsh(kinship).min() > -1e-12
    order = np.random.default_rng(seed).permutation(len(pedigree))
    shuffled = kinship_matrix([pedigree[i] for i in order])
    np.testing.assert_allclose(shuffled, kinship[np.ix_(order, order)], atol=1e-15)


@given(st.integers(0, 10_000))
@settings(max_examples=30, deadline=None)
def test_inbreeding_of_a_diploid_is_the_kinship_of_its_parents(seed: int) -> None:
    pedigree = _random_pedigree(seed, 2, 0.0)
    kinship, inbreeding = kinship_matrix(pedigree), inbreeding_coefficients(pedigree)
    for i, entry in enumerate(pedigree):
        if entry.seed_parent is not None and entry.pollen_parent is not None:
            parents = _of(pedigree, entry.seed_parent), _of(pedigree, entry.pollen_parent)
            assert inbreeding[i] == pytest.approx(kinship[parents], abs=1e-15)


SIBS = [PedigreeEntry("D", "A", "B"), PedigreeEntry("C", "A", "B"), PedigreeEntry("A"), PedigreeEntry("B")]


def test_the_warning_rests_on_the_disomic_figure_whatever_the_ploidy() -> None:
    tetraploid = [replace(entry, chromosome_sets=4) for entry in SIBS]
    offspring = offspring_inbreeding(tetraploid, "C", "D")
    assert offspring.disomic == pytest.approx(0.25)
    assert offspring.polysomic == pytest.approx(1 / 12)
    assert offspring.warning == "strong"


def test_the_same_clone_twice_is_a_self() -> None:
    offspring = offspring_inbreeding([replace(entry, chromosome_sets=4) for entry in SIBS], "C", "C")
    assert offspring.disomic == pytest.approx(0.5)
    assert offspring.polysomic == pytest.approx(1 / 6)
    assert offspring.warning == "self"


def test_strangers_and_half_sibs() -> None:
    half = [*SIBS, PedigreeEntry("H", "A")]
    assert offspring_inbreeding(SIBS, "A", "B").warning == "none"
    offspring = offspring_inbreeding(half, "C", "H")
    assert (offspring.disomic, offspring.polysomic, offspring.warning) == (0.125, 0.125, "warn")


def test_unreduced_gametes_and_double_reduction_reach_the_polysomic_figure_only() -> None:
    pedigree = [PedigreeEntry("P"), PedigreeEntry("Q", chromosome_sets=4)]
    plain = offspring_inbreeding(pedigree, "P", "Q", seed_sets=2)
    doubled = offspring_inbreeding(pedigree, "P", "Q", seed_sets=2, double_reduction=0.25)
    assert plain.polysomic == 0.0
    assert doubled.polysomic == pytest.approx(2 * 0.25 / 6)
    assert doubled.disomic == 0.0


def test_polysomic_offspring_match_a_plant_added_to_the_pedigree() -> None:
    pedigree = _random_pedigree(3, 4, 0.1)
    offspring = offspring_inbreeding(pedigree, "p9", "p14", double_reduction=0.1)
    added = [*pedigree, PedigreeEntry("new", "p9", "p14", 4, double_reduction=0.1)]
    assert offspring.polysomic == pytest.approx(inbreeding_coefficients(added)[-1], abs=1e-15)


@pytest.mark.parametrize(
    ("inbreeding", "level"),
    [(0.0, "none"), (0.1249, "none"), (0.125, "warn"), (0.249, "warn"), (0.25, "strong"), (1.0, "strong")],
)
def test_warning_levels_begin_at_their_threshold(inbreeding: float, level: str) -> None:
    assert kinship_warning(inbreeding) == level


def test_a_sum_that_ends_a_hair_below_its_threshold_still_warns() -> None:
    assert kinship_warning(0.25 - 1e-16) == "strong"


def _line(count: int) -> list[PedigreeEntry]:
    return [PedigreeEntry("g0"), *(PedigreeEntry(f"g{i}", f"g{i - 1}") for i in range(1, count))][::-1]


def test_a_long_line_of_descent_does_not_exhaust_the_stack() -> None:
    kinship = kinship_matrix(_line(1200))
    assert kinship[-1, -2] == 0.25
    assert kinship[-1, -3] == 0.125


@pytest.mark.parametrize(
    ("pedigree", "sentence"),
    [
        ([{"name": "X", "seed_parent": "X"}], "X is its own ancestor"),
        (
            [
                {"name": "X", "pollen_parent": "Y"},
                {"name": "Y", "seed_parent": "Z"},
                {"name": "Z", "pollen_parent": "X"},
            ],
            "X is its own ancestor",
        ),
        ([{"name": "X", "seed_parent": "Y"}], "Y, a parent of X, is not in the pedigree"),
        ([{"name": "X"}, {"name": "X"}], "X is in the pedigree twice"),
        ([{"name": "X", "chromosome_sets": 0}], "chromosome_sets of X is 0; allowed: 1 to 64"),
        ([{"name": "X", "double_reduction": 1.5}], r"double_reduction of X is 1\.5; allowed: 0 to 1"),
        (
            [{"name": "X"}, {"name": "Y", "seed_parent": "X", "pollen_parent": "X", "chromosome_sets": 4}],
            r"Y has 4 chromosome sets but receives 1 \+ 1; state seed_sets and pollen_sets",
        ),
        (
            [{"name": "X"}, {"name": "Y", "seed_parent": "X", "seed_sets": 2}],
            r"Y has 2 chromosome sets but receives 2 \+ 0",
        ),
    ],
)
def test_an_impossible_pedigree_is_refused_by_name(pedigree: list[dict[str, Any]], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        kinship_matrix([PedigreeEntry(**entry) for entry in pedigree])


def test_parents_outside_the_pedigree_and_impossible_gametes_are_refused() -> None:
    with pytest.raises(ValueError, match="Z is not in the pedigree"):
        offspring_inbreeding(SIBS, "A", "Z")
    with pytest.raises(ValueError, match="gamete sets is 0; allowed: 1 to 64"):
        offspring_inbreeding(SIBS, "A", "B", seed_sets=0)
    with pytest.raises(ValueError, match="double_reduction is 2; allowed: 0 to 1"):
        offspring_inbreeding(SIBS, "A", "B", double_reduction=2.0)
    with pytest.raises(ValueError, match="disomic is -1; allowed: 0 to 1"):
        kinship_warning(-1.0)
