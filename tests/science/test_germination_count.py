from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from exchange.science.assay import GerminationAssay
from exchange.science.germination_count import (
    CountedShare,
    GerminationCount,
    MoreGrains,
    Way,
    counted_share,
    germination_count,
    more_grains,
    pooled_share,
    sorted_by_way,
)
from exchange.science.proportion import score_interval
from exchange.science.replicate import compare_replicates
from tests.published import Row, cases, published

WAY = Way("in_vitro", "5 % sucrose", "tube at least as long as the grain is wide")
STAIN = Way("stain", "acetocarmine", "dark red throughout")
replicate_counts = st.lists(
    st.integers(1, 400).flatmap(lambda total: st.tuples(st.integers(0, total), st.just(total))),
    min_size=1,
    max_size=8,
)


def reckoned(germinated: list[int], counted: list[int], **stated: Any) -> GerminationCount:
    facts = {"way": WAY, "treatment": "fresh", "rehydrated": None} | stated
    return germination_count(germinated, counted, facts.pop("way"), **facts)


def codes(found: GerminationCount) -> list[str]:
    return [each.code for each in found.advice]


def parameters(found: GerminationCount, code: str) -> dict[str, Any]:
    (each,) = [each for each in found.advice if each.code == code]
    return dict(each.parameters)


# --- share and intervals ---


@pytest.mark.parametrize("row", cases("proportion", "wilson"))
def test_the_independent_interval_has_its_published_ends(row: Row) -> None:
    found = counted_share([row.inputs["successes"]], [row.inputs["total"]])
    row.check(getattr(found, f"independent_{row.inputs['end']}"))


@pytest.mark.parametrize("row", cases("proportion", "effective_count"))
def test_clumped_grains_are_worth_their_stated_number(row: Row) -> None:
    size = row.inputs["replicate_size"]
    sizes = [size] * (row.inputs["total"] // size)
    assert row.inputs["correlation"] == 0.02
    row.check(counted_share([size // 2 for size in sizes], sizes).effective_grains)


def test_both_intervals_are_those_of_statsmodels() -> None:
    found = counted_share([28, 32], [100, 100])
    worth = 200 / 2.98
    assert found.effective_grains == pytest.approx(worth)
    independent = proportion_confint(60, 200, method="wilson")
    clumped = proportion_confint(0.3 * worth, worth, method="wilson")
    assert (found.independent_low, found.independent_high) == pytest.approx(independent, abs=1e-12)
    assert (found.low, found.high) == pytest.approx(clumped, abs=1e-12)
    assert (found.share, found.clumping) == (0.3, "assumed")


def test_unequal_replicates_are_worth_what_the_variance_of_their_pool_says() -> None:
    sizes = [50, 100, 350]
    found = counted_share([25, 50, 175], sizes)
    # Var = p(1 − p) Σ m (1 + (m − 1) ρ) / n², from the beta-binomial of each.
    inflated = sum(size * (1 + (size - 1) * 0.02) for size in sizes)
    assert found.effective_grains == pytest.approx(500**2 / inflated)


def test_scatter_beyond_the_assumed_widens_the_interval_by_as_much() -> None:
    found = counted_share([80, 40], [100, 100])
    # Chi-square of two by two: 2 · 20² / (100 · 0.6 · 0.4) = 33.33 on one degree of freedom.
    assert found.effective_grains == pytest.approx(200 / (100 / 3))
    assert found.clumping == "observed"
    assert (found.low, found.high) == pytest.approx(proportion_confint(3.6, 6, method="wilson"), abs=1e-12)


def test_replicates_that_agree_never_count_for_more_than_is_assumed() -> None:
    assert counted_share([30, 30], [100, 100]).effective_grains == pytest.approx(200 / 2.98)


def test_none_and_all_have_their_intervals() -> None:
    none, every = counted_share([0], [30]), counted_share([30], [30])
    assert (none.low, none.independent_low, none.independent_high) == pytest.approx(
        (0, 0, 0.113513), abs=1e-6
    )
    assert (every.high, every.independent_high, every.independent_low) == pytest.approx(
        (1, 1, 0.886487), abs=1e-6
    )
    # 30 / (1 + 29 · 0.02) grains: z² / (n + z²).
    assert none.high == pytest.approx(3.841459 / (30 / 1.58 + 3.841459), abs=1e-6)
    assert every.low == pytest.approx(1.0 - none.high)


@given(counts=replicate_counts)
@settings(deadline=None)
def test_clumping_only_widens_and_the_order_of_replicates_is_nothing(counts: list[tuple[int, int]]) -> None:
    germinated, counted = [pair[0] for pair in counts], [pair[1] for pair in counts]
    found = counted_share(germinated, counted)
    assert 0.0 <= found.low <= found.independent_low + 1e-12
    assert found.independent_low <= found.share <= found.independent_high
    assert found.independent_high - 1e-12 <= found.high <= 1.0
    assert 1.0 - 1e-9 <= found.effective_grains <= sum(counted) + 1e-9
    backward = counted_share(germinated[::-1], counted[::-1])
    assert (backward.low, backward.high) == pytest.approx((found.low, found.high))


# --- do the replicates agree ---


TABLE = [row for row in published("proportion") if row.quantity == "tolerated_range"]
"""Largest ranges of two or four hundreds that 7 CFR 201.55 tolerates; the formula is within a point."""


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row.key)
def test_replicates_agree_where_the_seed_rule_says_so(row: Row) -> None:
    mean = int(row.inputs["mean_percent"])
    for half, agree in ((int(row.value - 2) // 2, True), (int(row.value + 3) // 2, False)):
        if mean + half <= 100:
            middle = [mean] * (row.inputs["replicate_count"] - 2)
            found = reckoned([mean - half, mean + half, *middle], [100] * row.inputs["replicate_count"])
            assert found.comparison is not None
            assert found.comparison.range_percent == pytest.approx(2.0 * half)
            assert found.comparison.agree is agree


def test_one_replicate_alone_is_not_compared() -> None:
    found = reckoned([150], [300])
    assert found.comparison is None
    assert codes(found) == ["replicate_alone", "clumping_assumed", "same_way_only"]


def test_replicates_that_agree_ask_for_nothing() -> None:
    found = reckoned([48, 52, 50], [100, 100, 100])
    assert found.comparison is not None and found.comparison.agree
    assert codes(found) == ["clumping_assumed", "same_way_only"]


def test_three_that_disagree_are_counted_again_then_a_fourth_is_counted() -> None:
    found = reckoned([80, 40, 60], [100, 100, 100])
    assert codes(found)[:3] == ["replicates_disagree", "count_again", "another_replicate"]
    told = parameters(found, "replicates_disagree")
    assert told["range_percent"] == pytest.approx(40.0)
    assert told["tolerated_percent"] == compare_replicates([80, 40, 60], [100, 100, 100]).tolerated_percent


def test_a_full_test_that_disagrees_is_prepared_anew() -> None:
    found = reckoned([80, 40, 60, 60], [100] * 4)
    assert codes(found)[:3] == ["replicates_disagree", "count_again", "prepare_anew"]
    assert codes(found)[3] == "clumping_observed"


# --- how many more ---


@given(
    counts=replicate_counts,
    half_width_percent=st.floats(2.0, 45.0),
)
@settings(deadline=None, max_examples=60)
def test_further_grains_are_the_least_that_brute_force_finds(
    counts: list[tuple[int, int]], half_width_percent: float
) -> None:
    found = counted_share([pair[0] for pair in counts], [pair[1] for pair in counts])
    total = 1
    while _half_width_percent(found.share, total) > half_width_percent:
        total += 1
    more = more_grains(found, half_width_percent)
    assert more.independent == max(0, total - found.counted)
    assert more.clumped >= more.independent


def _half_width_percent(share: float, total: int) -> float:
    low, high = proportion_confint(share * total, total, method="wilson")
    return 50.0 * float(high - low)


def test_the_further_clumped_grains_give_the_wanted_width_and_one_sample_less_does_not() -> None:
    found = counted_share([30, 30], [100, 100])
    more = more_grains(found, 5.0)
    total = 1
    while _half_width_percent(0.3, total) > 5.0:
        total += 1
    assert (total, more) == (320, MoreGrains(120, 754))
    for grains, narrow in ((954, True), (854, False)):
        low, high = score_interval(0.3, grains / 2.98)
        assert ((high - low) / 2.0 <= 0.05) is narrow


def test_enough_is_said_only_where_clumped_grains_are_enough() -> None:
    # 162 independent grains give 7 points at 30 %, and 162 · 2.98 clumped ones.
    wide, narrow = (reckoned([30, 30], [100, 100], wanted_half_width_percent=each) for each in (15.0, 7.0))
    assert wide.more == MoreGrains(0, 0)
    assert parameters(wide, "enough_grains") == {"half_width_percent": 15.0}
    assert narrow.more == MoreGrains(0, 283)
    assert parameters(narrow, "more_grains") == {"half_width_percent": 7.0, "more": 0, "more_clumped": 283}


def test_disagreement_is_settled_before_more_is_counted() -> None:
    found = reckoned([80, 40], [100, 100], wanted_half_width_percent=5.0)
    assert found.more is None
    assert "more_grains" not in codes(found)


# --- the rest of the advice ---


@pytest.mark.parametrize(
    ("treatment", "rehydrated", "way", "first"),
    [
        ("dried", None, WAY, "rehydration_not_stated"),
        ("frozen", None, WAY, "rehydration_not_stated"),
        ("frozen", False, WAY, "rehydrate_first"),
        ("dried", True, WAY, "clumping_assumed"),
        ("fresh", None, WAY, "clumping_assumed"),
        ("fresh", False, WAY, "clumping_assumed"),
        ("dried", None, STAIN, "clumping_assumed"),
    ],
)
def test_dried_and_frozen_pollen_should_have_been_rehydrated(
    treatment: str, rehydrated: bool | None, way: Way, first: str
) -> None:
    found = reckoned([50, 50, 50], [100] * 3, treatment=treatment, rehydrated=rehydrated, way=way)
    assert codes(found)[0] == first


def test_none_and_all_are_told_with_what_they_leave_open() -> None:
    none, every = reckoned([0, 0], [15, 15]), reckoned([15, 15], [15, 15])
    assert parameters(none, "nothing_germinated") == {
        "counted": 30,
        "high_percent": pytest.approx(100.0 * none.share.high),
    }
    assert parameters(every, "all_germinated") == {
        "counted": 30,
        "low_percent": pytest.approx(100.0 * every.share.low),
    }
    assert none.comparison is not None and none.comparison.agree


def test_few_grains_are_called_few() -> None:
    assert parameters(reckoned([50, 50], [149, 150]), "too_few_grains") == {
        "counted": 299,
        "replicates": 3,
        "grains_per_replicate": 100,
    }
    assert "too_few_grains" not in codes(reckoned([50, 50], [150, 150]))


def test_a_stain_is_never_called_germination() -> None:
    none, every = (reckoned([count], [300], way=STAIN) for count in (0, 300))
    assert codes(none)[1] == "nothing_stained"
    assert codes(every)[1] == "all_stained"
    assert codes(every)[-2:] == ["stain_upper_bound", "same_way_only"]


def test_the_way_is_repeated_with_the_result() -> None:
    assert parameters(reckoned([50], [300]), "same_way_only") == WAY._asdict()


# --- ways apart ---


def assay(germinated: list[int], *, age: float = 0.0, **way: Any) -> GerminationAssay:
    return GerminationAssay(age, germinated, [100] * len(germinated), **{**WAY._asdict(), **way})


def test_tests_of_one_way_and_age_are_one_test() -> None:
    assert pooled_share([assay([28]), assay([32, 30])]) == counted_share([28, 32, 30], [100] * 3)


def _other(name: str) -> dict[str, Any]:
    return {name: "stain"}


@pytest.mark.parametrize("name", ["method", "medium", "rule"])
def test_tests_of_another_way_are_kept_apart(name: str) -> None:
    one, other, again = assay([28]), assay([60], **_other(name)), assay([30])
    apart = sorted_by_way([one, other, again])
    assert apart == {WAY: (one, again), WAY._replace(**_other(name)): (other,)}
    with pytest.raises(ValueError, match=f"{name} is '.*' and '.*'; allowed: tests of one {name} together"):
        pooled_share([one, other])


def test_tests_of_another_age_are_not_put_together() -> None:
    with pytest.raises(ValueError, match="thermal_age_days differs; allowed: tests of one age together"):
        pooled_share([assay([28]), assay([20], age=5.0)])


def test_impossible_input_is_refused() -> None:
    with pytest.raises(ValueError, match="successes is 101; allowed: 0 to 100"):
        counted_share([101], [100])
    with pytest.raises(ValueError, match="0 germinated counts and 0 totals; allowed: 1 or more"):
        pooled_share([])
    with pytest.raises(ValueError, match="method is 'taste'; allowed: in_vitro, stigmatic_fluid, stain"):
        reckoned([1], [2], way=Way("taste", "", ""))
    with pytest.raises(ValueError, match="treatment is 'boiled'; allowed: fresh, dried, frozen"):
        reckoned([1], [2], treatment="boiled")
    with pytest.raises(ValueError, match=r"half_width_percent is 0.4; allowed: 0\.5 to 50"):
        more_grains(counted_share([1], [2]), 0.4)


def test_a_share_knows_its_counts() -> None:
    found: CountedShare = counted_share([1, 2], [10, 20])
    assert (found.germinated, found.counted, found.share) == (3, 30, 0.1)
