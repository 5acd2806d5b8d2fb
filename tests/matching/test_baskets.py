"""Two packets for one seed parent: what they have in common must not be forgotten."""

import numpy as np
import pytest

from exchange.matching.baskets import Basket, two_baskets
from exchange.matching.capsule import any_capsule_chance
from exchange.matching.several import DRAWS, Arrival
from exchange.science.arrays import FloatArray

DAYS = 12
RATE: FloatArray = np.full((8, DAYS), 0.4)


def arrival(success: FloatArray | float, *, usable_day: int = 0, chance: float = 1.0) -> Arrival:
    table = np.zeros((DRAWS, DAYS))
    table[:, usable_day:] = np.broadcast_to(np.asarray(success, dtype=np.float64).reshape(-1, 1), (DRAWS, 1))
    return Arrival(chance, usable_day, table)


def test_two_doses_in_two_baskets_alike_are_two_doses_in_one() -> None:
    way = arrival(0.3)
    found = two_baskets(Basket(1, [way]), Basket(1, [way]), RATE)
    one_packet = any_capsule_chance(way.success, np.full((DRAWS, DAYS), 0.4), 2)
    assert found.together == pytest.approx(float(one_packet.mean()), abs=1e-12)


def test_what_both_share_makes_independence_overstate() -> None:
    """Half of the draws never take: the second basket cannot help there."""
    shared = np.repeat([0.9, 0.0], DRAWS // 2)
    found = two_baskets(Basket(2, [arrival(shared)]), Basket(2, [arrival(shared)]), RATE)
    assert found.together < 0.5
    assert found.independent > found.together + 0.2


def test_flowers_are_shared_too() -> None:
    """With pollen that always takes, one basket does all that the flowers allow."""
    found = two_baskets(Basket(1, [arrival(1.0)]), Basket(1, [arrival(1.0)]), RATE)
    any_flower = 1.0 - np.exp(-0.4 * DAYS)
    assert found.together == pytest.approx(any_flower, abs=1e-12)
    assert found.independent > found.together


def test_a_second_basket_insures_against_the_loss_of_the_first() -> None:
    first, second = (Basket(1, [arrival(1.0, chance=0.8)]) for _ in range(2))
    found = two_baskets(first, second, RATE)
    any_flower = 1.0 - np.exp(-0.4 * DAYS)
    assert found.together == pytest.approx((1.0 - 0.2**2) * any_flower, abs=1e-12)


def test_a_basket_that_arrives_after_the_last_flower_adds_nothing() -> None:
    late = Basket(1, [arrival(1.0, usable_day=DAYS)])
    early = Basket(1, [arrival(0.5)])
    alone = any_capsule_chance(arrival(0.5).success, np.full((DRAWS, DAYS), 0.4), 1)
    assert two_baskets(early, late, RATE).together == pytest.approx(float(alone.mean()), abs=1e-12)


def test_simulated_flowers_agree() -> None:
    """Packets of 2 and 1 doses, the second usable from day 5; each flower takes from the fuller one."""
    rng = np.random.default_rng(7)
    hits, seasons = 0, 40_000
    for _ in range(seasons):
        left = [2, 1]
        taken = False
        for day in range(DAYS):
            for _ in range(rng.poisson(0.4)):
                present = [p for p in (0, 1) if left[p] and (p == 0 or day >= 5)]
                if present:
                    packet = max(present, key=lambda p: left[p])
                    left[packet] -= 1
                    taken = taken or rng.random() < (0.2 if packet == 0 else 0.6)
        hits += taken
    found = two_baskets(Basket(2, [arrival(0.2)]), Basket(1, [arrival(0.6, usable_day=5)]), RATE)
    assert found.together == pytest.approx(hits / seasons, abs=0.01)


@pytest.mark.parametrize(("one", "other"), [(0, 1), (1, 0), (7, 6)])
def test_doses_out_of_range_are_refused(one: int, other: int) -> None:
    with pytest.raises(ValueError, match=f"doses are {one} and {other}; allowed: 1 or more each"):
        two_baskets(Basket(one, [arrival(0.5)]), Basket(other, [arrival(0.5)]), RATE)
