"""The change of least effort that helps, and no figure that was not reckoned."""

from dataclasses import replace

import pytest

from exchange.matching.chance import Estimate
from exchange.matching.plan import PairPlan, plan_pair
from exchange.matching.reason import Reason
from exchange.matching.smallest_change import (
    Alternative,
    needs_change,
    second_donor_helps,
    smallest_change,
)
from tests.matching.instance import Instance, random_pair


def alternative(code: str, effort: int, chance: float) -> Alternative:
    return Alternative(code, effort, lambda: chance)


@pytest.fixture(scope="module")
def plan() -> PairPlan:
    pair: Instance = random_pair(0)
    found = plan_pair(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)
    assert not isinstance(found, Reason)
    return found


def shown(plan: PairPlan, chance: float, best: float) -> PairPlan:
    return replace(
        plan,
        each_flower=Estimate(chance, chance, chance),
        compatibility=Estimate(best, best, best),
    )


def test_the_least_effort_wins_even_over_a_better_chance(plan: PairPlan) -> None:
    choices = [alternative("dear", 2, 0.9), alternative("cheap", 1, 0.3)]
    found = smallest_change(shown(plan, 0.1, 0.95), choices, 0.01)
    assert found is not None
    assert (found.code, found.chance, found.instead_of) == ("cheap", 0.3, 0.1)


def test_among_equal_efforts_the_best_chance_wins(plan: PairPlan) -> None:
    choices = [alternative("a", 1, 0.3), alternative("b", 1, 0.4), alternative("c", 1, 0.35)]
    found = smallest_change(shown(plan, 0.1, 0.95), choices, 0.01)
    assert found is not None
    assert found.code == "b"


def test_a_change_that_gains_under_a_quarter_is_not_told(plan: PairPlan) -> None:
    assert smallest_change(shown(plan, 0.2, 0.9), [alternative("a", 1, 0.249)], 0.01) is None


def test_a_change_must_reach_what_was_asked_for(plan: PairPlan) -> None:
    assert smallest_change(shown(plan, 0.02, 0.9), [alternative("a", 1, 0.04)], 0.05) is None
    assert smallest_change(None, [alternative("a", 1, 0.0)], 0.0) is None


def test_a_refusal_counts_as_no_chance_at_all() -> None:
    found = smallest_change(None, [alternative("a", 1, 0.06)], 0.05)
    assert found is not None
    assert found.reason() == Reason("change_a", {"chance": 0.06, "instead_of": 0.0})


@pytest.mark.parametrize(
    ("chance", "best", "least", "expected"),
    [
        (0.30, 0.80, 0.01, True),  # under half of what the plants could give
        (0.50, 0.80, 0.01, False),
        (0.50, 0.80, 0.60, True),  # under what was asked for
        (0.019, 0.020, 0.05, False),  # weak, but no change can help two plants that hardly take
    ],
)
def test_a_change_is_looked_for_only_where_one_could_help(
    plan: PairPlan, chance: float, best: float, least: float, expected: bool
) -> None:
    assert needs_change(shown(plan, chance, best), least) is expected
    assert needs_change(None, least)


@pytest.mark.parametrize(
    ("together", "alone", "least", "expected"),
    [
        (0.10, 0.04, 0.05, True),
        (0.05, 0.04, 0.05, True),  # the least chance itself, and just a quarter more
        (0.05, 0.041, 0.05, False),  # gains less than a quarter
        (0.049, 0.02, 0.05, False),  # falls short of what was asked for
        (0.20, 0.05, 0.05, False),  # one donor is enough
    ],
)
def test_a_second_donor_is_told_only_where_it_takes_both(
    together: float, alone: float, least: float, expected: bool
) -> None:
    assert second_donor_helps(together, alone, least) is expected
