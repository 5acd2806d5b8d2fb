"""Two packets for one seed parent: what they have in common must not be forgotten."""

from dataclasses import replace

import numpy as np
import pytest

from exchange.matching.baskets import Basket, at_least_one
from exchange.matching.capsule import any_capsule_chance
from exchange.matching.second_packet import sender
from exchange.matching.several import DRAWS, Arrival
from exchange.science.arrays import FloatArray
from tests.matching.instance import random_pair

DAYS = 12
RATE: FloatArray = np.full((8, DAYS), 0.4)


def arrival(success: FloatArray | float, *, usable_day: int = 0, chance: float = 1.0) -> Arrival:
    table = np.zeros((DRAWS, DAYS))
    table[:, usable_day:] = np.broadcast_to(np.asarray(success, dtype=np.float64).reshape(-1, 1), (DRAWS, 1))
    return Arrival(chance, usable_day, table)


def together(first: Basket, second: Basket) -> float:
    return at_least_one([first, second], RATE)


def independent(first: Basket, second: Basket) -> float:
    """What they would give if they had nothing in common."""
    alone = [at_least_one([basket], RATE) for basket in (first, second)]
    return 1.0 - (1.0 - alone[0]) * (1.0 - alone[1])


def test_two_doses_in_two_baskets_alike_are_two_doses_in_one() -> None:
    way = arrival(0.3)
    one_packet = any_capsule_chance(way.success, np.full((DRAWS, DAYS), 0.4), 2)
    found = together(Basket(1, [way]), Basket(1, [way]))
    assert found == pytest.approx(float(one_packet.mean()), abs=1e-12)
    assert at_least_one([Basket(2, [way])], RATE) == pytest.approx(found, abs=1e-12)


def test_what_both_share_makes_independence_overstate() -> None:
    """Half of the draws never take: the second basket cannot help there."""
    shared = np.repeat([0.9, 0.0], DRAWS // 2)
    baskets = Basket(2, [arrival(shared)]), Basket(2, [arrival(shared)])
    assert together(*baskets) < 0.5
    assert independent(*baskets) > together(*baskets) + 0.2


def test_flowers_are_shared_too() -> None:
    """With pollen that always takes, one basket does all that the flowers allow."""
    baskets = Basket(1, [arrival(1.0)]), Basket(1, [arrival(1.0)])
    any_flower = 1.0 - np.exp(-0.4 * DAYS)
    assert together(*baskets) == pytest.approx(any_flower, abs=1e-12)
    assert independent(*baskets) > together(*baskets)


def test_a_second_basket_insures_against_the_loss_of_the_first() -> None:
    first, second = (Basket(1, [arrival(1.0, chance=0.8)]) for _ in range(2))
    any_flower = 1.0 - np.exp(-0.4 * DAYS)
    assert together(first, second) == pytest.approx((1.0 - 0.2**2) * any_flower, abs=1e-12)


def test_a_basket_that_arrives_after_the_last_flower_adds_nothing() -> None:
    late = Basket(1, [arrival(1.0, usable_day=DAYS)])
    early = Basket(1, [arrival(0.5)])
    alone = any_capsule_chance(arrival(0.5).success, np.full((DRAWS, DAYS), 0.4), 1)
    assert together(early, late) == pytest.approx(float(alone.mean()), abs=1e-12)


def test_of_one_dose_no_way_however_rare_is_lost() -> None:
    """Fifteen ways, most of them under 5 %, each with its own age: exactly the sum over them."""
    shares = np.array([0.01, 0.02, 0.3, 0.3, 0.1] + [0.02] * 10)
    ways = [
        arrival(0.9 / (1 + day), usable_day=min(day, DAYS - 1), chance=float(share))
        for day, share in enumerate(shares)
    ]
    rate = np.full((DRAWS, DAYS), 0.4)
    expected = sum(
        way.chance * any_capsule_chance(way.success[:, way.usable_day :], rate[:, way.usable_day :], 1).mean()
        for way in ways
    )
    assert at_least_one([Basket(1, ways)], RATE) == pytest.approx(expected, abs=1e-12)


def season(rng: np.random.Generator, *, usable: list[int], doses: list[int], takes: list[float]) -> bool:
    """One season flower by flower; each takes from the fuller packet that is there."""
    left, taken = list(doses), False
    for day in range(DAYS):
        for _ in range(rng.poisson(0.4)):
            present = [packet for packet in (0, 1) if left[packet] and day >= usable[packet]]
            if present:
                packet = max(present, key=lambda each: left[each])
                left[packet] -= 1
                taken = taken or rng.random() < takes[packet]
    return taken


def test_simulated_flowers_agree() -> None:
    """Packets of 2 and 1 doses, the second usable from day 5."""
    rng = np.random.default_rng(7)
    hits = sum(season(rng, usable=[0, 5], doses=[2, 1], takes=[0.2, 0.6]) for _ in range(40_000))
    found = together(Basket(2, [arrival(0.2)]), Basket(1, [arrival(0.6, usable_day=5)]))
    assert found == pytest.approx(hits / 40_000, abs=0.01)


def test_simulated_parcels_agree() -> None:
    """Each parcel may come on one of three days or never, and the later the older its pollen."""
    rng = np.random.default_rng(8)
    days, chances, takes = [1, 4, 8, DAYS], [0.5, 0.3, 0.15, 0.05], [0.5, 0.3, 0.1, 0.0]
    hits = 0
    for _ in range(40_000):
        came = rng.choice(4, size=2, p=chances)
        usable = [days[way] for way in came]
        hits += season(rng, usable=usable, doses=[2, 2], takes=[takes[way] for way in came])
    ways = [arrival(takes[way], usable_day=days[way], chance=chances[way]) for way in range(3)]
    found = together(Basket(2, ways), Basket(2, ways))
    assert found == pytest.approx(hits / 40_000, abs=0.01)


def way_by_way(first: Basket, second: Basket, rate: FloatArray) -> float:
    """The sum over all ways of both parcels, or that one or both are lost, each pair of ways by itself."""
    total = 0.0
    lost = [1.0 - sum(way.chance for way in basket.arrivals) for basket in (first, second)]
    for one in first.arrivals:
        total += one.chance * lost[1] * at_least_one([sure(first, one)], rate)
        for other in second.arrivals:
            together = at_least_one([sure(first, one), sure(second, other)], rate)
            total += one.chance * other.chance * together
    for other in second.arrivals:
        total += lost[0] * other.chance * at_least_one([sure(second, other)], rate)
    return total


def sure(basket: Basket, way: Arrival) -> Basket:
    return Basket(basket.doses, [replace(way, chance=1.0)])


def test_all_ways_at_once_are_the_sum_over_all_ways() -> None:
    """Nearly: what a flower meets is the mean over the ways, weighed by how likely each has a dose left.

    The more a late parcel's pollen differs, the further off; so much as here is usual.
    """
    ways = [
        arrival(0.50, usable_day=0, chance=0.5),
        arrival(0.47, usable_day=3, chance=0.3),
        arrival(0.42, usable_day=7, chance=0.1),
    ]
    for doses in ((1, 1), (2, 2), (3, 1)):
        baskets = Basket(doses[0], ways), Basket(doses[1], ways)
        assert together(*baskets) == pytest.approx(way_by_way(*baskets, RATE), abs=4e-3)


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "doses"), [(1, (2, 2)), (4, (2, 1))])
def test_real_parcels_are_the_sum_over_all_their_ways(seed: int, doses: tuple[int, int]) -> None:
    pair = random_pair(seed)
    assert pair.flowers is not None
    given = sender(pair.offer, pair.wanted, pair.lane, pair.today, pair.flowers)
    first = given.first_packet
    assert first is not None
    second = given.packet(first.day + 7)
    assert second is not None
    rate = given.course.flowers.rate
    baskets = Basket(doses[0], first.arrivals), Basket(doses[1], second.arrivals)
    assert at_least_one(baskets, rate) == pytest.approx(way_by_way(*baskets, rate), abs=1e-3)


@pytest.mark.parametrize("doses", [[], [0, 1], [1, 0], [7, 6], [1, 1, 1]])
def test_doses_out_of_range_are_refused(doses: list[int]) -> None:
    with pytest.raises(ValueError, match="allowed: one or two baskets of 1 or more, together at most 12"):
        at_least_one([Basket(count, [arrival(0.5)]) for count in doses], RATE)
