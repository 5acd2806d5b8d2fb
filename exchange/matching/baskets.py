"""Two baskets: what splitting the doses of a wanted cross over two packets adds."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from exchange.matching.several import DRAWS, Arrival, some_scenarios
from exchange.science.arrays import FloatArray

MOST_DOSES = 12
RARE = 1e-3
"""Two ways together that are rarer count as no capsule, on the safe side (judgement)."""


@dataclass(frozen=True)
class Basket:
    """One packet: its doses, and the ways it may arrive (what is missing to 1 is lost)."""

    doses: int
    arrivals: Sequence[Arrival]


@dataclass(frozen=True)
class TwoBaskets:
    """Chance of at least one capsule: from both together, and if they had nothing in common.

    ``independent`` multiplies the chances of each basket alone. It overstates: both share the weather of
    one pond, what is not known of pollen, and the flowers themselves.
    """

    together: float
    independent: float


def two_baskets(first: Basket, second: Basket, receptive_rate: FloatArray) -> TwoBaskets:
    """Reckon two packets for one seed parent over common draws and common flowers.

    Parameters
    ----------
    receptive_rate : array (scenarios, days)
        Expected new receptive flowers of the seed parent on each day ahead.

    Raises
    ------
    ValueError
        If a basket has no dose or both together more than 12.
    """
    if first.doses < 1 or second.doses < 1 or first.doses + second.doses > MOST_DOSES:
        raise ValueError(
            f"doses are {first.doses} and {second.doses};"
            f" allowed: 1 or more each, together at most {MOST_DOSES}."
        )
    rate = np.tile(some_scenarios(receptive_rate), (DRAWS, 1))
    empty = Basket(1, ())
    alone = [1.0 - _none(basket, empty, rate) for basket in (first, second)]
    together = 1.0 - _none(first, second, rate)
    return TwoBaskets(together, 1.0 - (1.0 - alone[0]) * (1.0 - alone[1]))


def _none(first: Basket, second: Basket, rate: FloatArray) -> float:
    """Chance of no capsule, mean over draws, scenarios and the ways of both parcels."""
    scenarios = rate.shape[0] // DRAWS
    total = 0.0
    for one_chance, one in _ways(first, rate.shape[1]):
        for other_chance, other in _ways(second, rate.shape[1]):
            weight = one_chance * other_chance
            if weight < RARE:
                total += weight
                continue
            successes = [np.repeat(way.success, scenarios, axis=0) for way in (one, other)]
            none = _no_capsule(successes, (one.usable_day, other.usable_day), rate, first.doses, second.doses)
            total += weight * float(none.mean())
    return total


def _ways(basket: Basket, days: int) -> list[tuple[float, Arrival]]:
    """The ways a basket may arrive, and that it does not."""
    never = Arrival(1.0, days, np.zeros((DRAWS, days)))
    missing = max(0.0, 1.0 - sum(arrival.chance for arrival in basket.arrivals))
    return [*((arrival.chance, arrival) for arrival in basket.arrivals), (missing, never)]


def _no_capsule(
    success: Sequence[FloatArray], usable: tuple[int, int], rate: FloatArray, one: int, other: int
) -> FloatArray:
    """Chance of no capsule for each case; each flower takes a dose of the fuller packet that has arrived."""
    none = np.ones((rate.shape[0], one + 1, other + 1))
    for day in range(rate.shape[1] - 1, min(usable) - 1, -1):
        has_arrived = (usable[0] <= day, usable[1] <= day)
        none = _before_day(none, (success[0][:, day], success[1][:, day]), has_arrived, rate[:, day])
    return none[:, one, other]


def _before_day(
    none: FloatArray, success: tuple[FloatArray, FloatArray], has_arrived: tuple[bool, bool], rate: FloatArray
) -> FloatArray:
    earlier = none.copy()
    for one in range(none.shape[1]):
        for other in range(none.shape[2]):
            earlier[:, one, other] = _morning(none, success, has_arrived, rate, (one, other))
    return earlier


def _morning(
    none: FloatArray,
    success: tuple[FloatArray, FloatArray],
    has_arrived: tuple[bool, bool],
    rate: FloatArray,
    doses: tuple[int, int],
) -> FloatArray:
    """Chance of no capsule from a morning on with so many doses left of each packet."""
    left, survived = list(doses), np.ones_like(rate)
    flowers = np.exp(-rate)
    seen, total = flowers.copy(), flowers * none[:, left[0], left[1]]
    opened = 0
    while (packet := _fuller(left, has_arrived)) is not None:
        opened += 1
        survived = survived * (1.0 - success[packet])
        left[packet] -= 1
        flowers = flowers * rate / opened
        seen += flowers
        total += flowers * survived * none[:, left[0], left[1]]
    return total + (1.0 - seen) * survived * none[:, left[0], left[1]]


def _fuller(left: Sequence[int], has_arrived: Sequence[bool]) -> int | None:
    present = [packet for packet in (0, 1) if has_arrived[packet] and left[packet] > 0]
    return max(present, key=lambda packet: left[packet]) if present else None
