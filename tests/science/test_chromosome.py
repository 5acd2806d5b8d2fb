"""Counts are lists, ploidy may be unknown, and warnings speak of the offspring only."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.science.chromosome import (
    WarningLevel,
    chromosome_counts,
    counts_differ,
    offspring_counts,
    offspring_warning,
    ploidy,
)
from tests.published import Row, cases

COUNT = st.integers(2, 400)


@pytest.mark.parametrize("row", cases("chromosome", "ploidy"))
def test_ploidy_on_fourteen_agrees_with_the_published_one(row: Row) -> None:
    sets = ploidy(row.inputs["count"])
    assert sets is not None
    row.check(sets)


@pytest.mark.parametrize("row", cases("chromosome", "offspring_count", "offspring_sets"))
def test_offspring_get_half_the_sum(row: Row) -> None:
    (count,) = offspring_counts(row.inputs["seed"], row.inputs["pollen"])
    row.check(count if row.quantity == "offspring_count" else count / 14)


@pytest.mark.parametrize("count", [16, 18, 20, 24, 87, 89, 160])
def test_a_count_that_is_no_multiple_of_fourteen_has_no_ploidy(count: int) -> None:
    assert ploidy(count) is None


@pytest.mark.parametrize(
    ("seed", "pollen", "level"),
    [
        ((84,), (56,), "strong"),
        ((56,), (56,), "none"),
        ((224,), (28,), "strong"),
        ((112,), (56,), "weak"),
        ((18,), (20,), "strong"),
        ((87,), (56,), "strong"),
        ((56, 84), (56,), "strong"),
        ((56, 112), (56,), "weak"),
        ((), (56,), "unknown"),
        ((), (), "unknown"),
    ],
)
def test_warning_level(seed: tuple[int, ...], pollen: tuple[int, ...], level: WarningLevel) -> None:
    assert offspring_warning(seed, pollen) == level


@given(COUNT, COUNT)
def test_warning_and_prediction_do_not_depend_on_direction(seed: int, pollen: int) -> None:
    assert offspring_warning([seed], [pollen]) == offspring_warning([pollen], [seed])
    assert offspring_counts([seed], [pollen]) == offspring_counts([pollen], [seed])


@given(st.lists(COUNT, min_size=1, max_size=4), COUNT)
def test_a_list_of_counts_gets_the_worst_warning_of_its_members(counts: list[int], other: int) -> None:
    order = ["unknown", "none", "weak", "strong"]
    levels = [offspring_warning([count], [other]) for count in counts]
    assert offspring_warning(counts, [other]) == max(levels, key=order.index)


def test_counts_are_compared_only_when_each_parent_has_one() -> None:
    assert counts_differ([56], [84]) is True
    assert counts_differ([56], [56, 56]) is False
    assert counts_differ([56, 84], [56]) is None
    assert counts_differ([], [56]) is None


def test_counts_are_read_from_a_list_in_text() -> None:
    assert chromosome_counts("84; 56;84") == (56, 84)
    assert chromosome_counts(" ") == ()


@pytest.mark.parametrize("text", ["56 or 84", "c.56", "18-224", "-28"])
def test_text_that_is_no_list_of_counts_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"chromosome counts are .*; allowed: whole numbers"):
        chromosome_counts(text)


@pytest.mark.parametrize("count", [0, 1, 1001])
def test_a_count_out_of_range_is_refused(count: int) -> None:
    with pytest.raises(ValueError, match=f"chromosome_count is {count}; allowed: 2 to 1000"):
        ploidy(count)


def test_a_broken_count_is_refused() -> None:
    with pytest.raises(ValueError, match=r"seed_count is 56\.5; allowed: whole numbers"):
        offspring_warning([56.5], [56])  # type: ignore[list-item]
