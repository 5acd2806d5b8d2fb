"""Group priors: whole, sourced, directional; draws keep the prior's mean."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from exchange.science.compatibility import (
    PRIOR_COLUMNS,
    PRIOR_FILE,
    GroupPrior,
    clone_shapes,
    compatibility_draws,
    group_mean_draws,
    group_prior,
    group_priors,
    mixed_prior,
    read_group_priors,
)
from exchange.science.constants import DRAW_COUNT, GERMINATION_BETWEEN_GROUPS, GERMINATION_WITHIN_GROUP
from exchange.science.draws import uniform_column
from exchange.science.group import GROUPS
from tests.published import Row, cases

PAIRS = [(seed, pollen) for seed in GROUPS for pollen in GROUPS]


def _prior_value(row: Row) -> float:
    if row.quantity == "germination_mean":
        return (GERMINATION_WITHIN_GROUP if row.inputs["within"] else GERMINATION_BETWEEN_GROUPS).mean
    if row.quantity == "direction_ratio":
        seed, pollen = row.inputs["groups"]
        return group_prior(seed, pollen).mean / group_prior(pollen, seed).mean
    prior = group_prior(row.inputs["seed_group"], row.inputs["pollen_group"])
    if row.quantity == "prior_quantile":
        return float(np.quantile(group_mean_draws(prior), row.inputs["probability"]))
    return prior.mean if row.quantity == "prior_mean" else prior.alpha + prior.beta


@pytest.mark.parametrize(
    "row",
    cases(
        "compatibility",
        "prior_mean",
        "prior_weight",
        "prior_quantile",
        "direction_ratio",
        "germination_mean",
    ),
)
def test_priors_are_those_of_the_review(row: Row) -> None:
    row.check(_prior_value(row))


def test_every_ordered_pair_of_the_seven_groups_has_exactly_one_row() -> None:
    with PRIOR_FILE.open(encoding="utf-8", newline="") as lines:
        rows = [(row["seed_group"], row["pollen_group"]) for row in csv.DictReader(lines)]
    assert len(rows) == 49
    assert sorted(rows) == sorted(PAIRS)
    assert set(group_priors()) == set(PAIRS)


def test_only_nelumbo_with_another_group_is_refused() -> None:
    refused = {pair for pair, prior in group_priors().items() if prior.refused}
    assert refused == {pair for pair in PAIRS if pair.count("nelumbo") == 1}


def test_a_change_of_the_returned_dictionary_does_not_reach_the_next_caller() -> None:
    group_priors().clear()
    assert len(group_priors()) == 49


@pytest.mark.parametrize("pair", PAIRS, ids="_".join)
def test_draws_keep_the_mean_of_the_prior_and_stay_chances(pair: tuple[str, str]) -> None:
    prior = group_prior(*pair)
    draws = compatibility_draws(prior)
    assert draws.shape == (int(DRAW_COUNT.value),)
    assert np.isfinite(draws).all()
    assert draws.min() >= 0.0
    assert draws.max() <= 1.0
    assert draws.mean() == pytest.approx(prior.mean, rel=0.05, abs=1e-12)


def test_draws_are_the_inverse_distribution_functions_of_the_common_points() -> None:
    prior = group_prior("brachyceras", "brachyceras")
    mean = stats.beta.ppf(uniform_column("group_mean"), 4, 1)
    expected = stats.beta.ppf(uniform_column("compatibility"), 5 * mean, 5 * (1 - mean))
    np.testing.assert_allclose(compatibility_draws(prior), expected, rtol=1e-9)


def test_the_median_of_a_weak_prior_would_hide_its_chance() -> None:
    draws = compatibility_draws(group_prior("hardy", "brachyceras"))
    assert draws.mean() > 0.019
    assert np.median(draws) < 1e-6


def test_a_refused_pair_draws_only_zeros() -> None:
    assert not compatibility_draws(group_prior("nelumbo", "hardy")).any()
    assert not group_mean_draws(group_prior("hardy", "nelumbo")).any()


@pytest.mark.parametrize("pair", [("hardy", "brachyceras"), ("nelumbo", "hardy")])
def test_fewer_draws_are_the_first_of_all(pair: tuple[str, str]) -> None:
    prior = group_prior(*pair)
    assert group_mean_draws(prior, count=9).tolist() == group_mean_draws(prior)[:9].tolist()
    assert compatibility_draws(prior, count=9).tolist() == compatibility_draws(prior)[:9].tolist()


@given(st.floats(0.0, 1.0))
@settings(max_examples=20, deadline=None)
def test_a_modifier_scales_every_draw(modifier: float) -> None:
    prior = group_prior("hardy", "hardy")
    np.testing.assert_allclose(
        compatibility_draws(prior, modifier=modifier), modifier * compatibility_draws(prior)
    )


@pytest.mark.parametrize("modifier", [-0.1, 1.1, float("nan")])
def test_a_modifier_that_is_no_share_is_refused(modifier: float) -> None:
    with pytest.raises(ValueError, match=r"modifier is .*; allowed: 0 to 1"):
        compatibility_draws(group_prior("hardy", "hardy"), modifier=modifier)


@given(st.floats(0.0, 1.0))
def test_shapes_of_a_pair_are_always_proper(mean: float) -> None:
    first, second = clone_shapes(np.array([mean]))
    assert min(first[0], second[0]) > 0.0
    assert first[0] + second[0] == pytest.approx(5.0)


def test_a_group_mean_outside_its_range_is_refused() -> None:
    with pytest.raises(ValueError, match=r"group_mean is 1.2; allowed: 0 to 1\."):
        clone_shapes(np.array([0.5, 1.2]))


def test_a_hybrid_takes_the_mean_of_its_parents_rows() -> None:
    prior = mixed_prior(("hardy", "brachyceras"), ("brachyceras",))
    assert prior.hybrid
    assert (prior.alpha, prior.beta) == pytest.approx(((0.3 + 4) / 2, (14.7 + 1) / 2))
    assert (prior.seed_group, prior.pollen_group) == ("hardy + brachyceras", "brachyceras")
    assert prior.status == "judgement"
    assert "Songpanich" in prior.source
    assert "Evaluation of pollen viability" in prior.source


def test_a_group_named_twice_counts_twice() -> None:
    prior = mixed_prior(("hardy", "hardy", "brachyceras"), ("brachyceras",))
    assert prior.alpha == pytest.approx((0.3 + 0.3 + 4) / 3)


def test_pure_parents_keep_their_row() -> None:
    assert mixed_prior(("Nymphaea",), ("lotos",)) is group_prior("hardy", "lotos")


def test_one_refused_combination_refuses_the_hybrid() -> None:
    prior = mixed_prior(("hardy", "nelumbo"), ("hardy",))
    assert prior.refused
    assert prior.mean == 0.0


def test_a_parent_without_any_group_is_refused() -> None:
    with pytest.raises(ValueError, match="groups of a parent are empty"):
        mixed_prior((), ("hardy",))


def _table(path: Path, change: dict[str, str] | None, drop: str | None = None) -> Path:
    with PRIOR_FILE.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    rows[1].update(change or {})
    columns = [column for column in PRIOR_COLUMNS if column != drop]
    with path.open("w", encoding="utf-8", newline="") as lines:
        writer = csv.DictWriter(lines, columns, extrasaction="ignore")
        writer.writeheader()
        writer.writerows(rows)
    return path


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"source": " "}, "row 3: source is empty"),
        ({"status": ""}, "row 3: status is empty"),
        ({"status": "rumour"}, "row 3: status is 'rumour'; allowed: read, "),
        ({"alpha": "much"}, "row 3: alpha is 'much'; allowed: a number"),
        ({"beta": "0"}, "row 3: beta is 0; allowed: above 0"),
        ({"alpha": "nan"}, "row 3: alpha is nan"),
        ({"refused": "perhaps"}, "row 3: refused is 'perhaps'; allowed: yes, no"),
        ({"seed_group": "oak"}, "row 3: seed_group: group is 'oak'"),
        ({"pollen_group": "hardy"}, "row 3: hardy × hardy is given twice"),
    ],
)
def test_a_wrong_row_is_named_with_its_field(tmp_path: Path, change: dict[str, str], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        read_group_priors(_table(tmp_path / "prior.csv", change))


@pytest.mark.parametrize("column", PRIOR_COLUMNS)
def test_a_missing_column_is_named(tmp_path: Path, column: str) -> None:
    with pytest.raises(ValueError, match=rf"prior\.csv lacks the column {column}"):
        read_group_priors(_table(tmp_path / "prior.csv", None, drop=column))


def test_a_missing_pair_is_named(tmp_path: Path) -> None:
    path = tmp_path / "prior.csv"
    lines = PRIOR_FILE.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join(lines[:-1]), encoding="utf-8")
    with pytest.raises(ValueError, match=r"prior\.csv lacks nelumbo × nelumbo"):
        read_group_priors(path)


def test_every_prior_states_its_source_and_how_far_it_was_verified() -> None:
    for prior in group_priors().values():
        assert isinstance(prior, GroupPrior)
        assert all((prior.source, prior.justification, prior.status))
        if prior.source.startswith("no report found"):
            assert prior.status == "judgement"
