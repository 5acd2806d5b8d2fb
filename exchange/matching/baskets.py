"""Two baskets: the chance of at least one capsule from two packets that have much in common."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from exchange.matching.capsule import MOST_DOSES
from exchange.matching.several import DRAWS, Arrival, by_draw, some_scenarios
from exchange.science.arrays import FloatArray, IntegerArray

NEVER = 1e-7
"""A rarer number of flowers in one day counts as the number below: less than any figure shows."""


@dataclass(frozen=True)
class Basket:
    """One packet: its doses, and the ways it may arrive (what is missing to 1 is lost)."""

    doses: int
    arrivals: Sequence[Arrival]


def at_least_one(baskets: Sequence[Basket], receptive_rate: FloatArray) -> float:
    """Chance of at least one capsule from one or two packets for one seed parent.

    Two share the weather of one pond, what is not known of pollen, and the flowers themselves, so their
    chances must not be multiplied as if they had nothing in common. Each flower takes a dose of the fuller
    packet that is there.

    Parameters
    ----------
    baskets : sequence of Basket
        One or two.
    receptive_rate : array (scenarios, days)
        Expected new receptive flowers of the seed parent on each day ahead.

    Raises
    ------
    ValueError
        If there is no basket or a third one, one has no dose, or all together have more than 12.
    """
    doses = [basket.doses for basket in baskets]
    if not 1 <= len(doses) <= 2 or min(doses) < 1 or sum(doses) > MOST_DOSES:
        raise ValueError(
            f"doses are {doses}; allowed: one or two baskets of 1 or more, together at most {MOST_DOSES}."
        )
    rate = some_scenarios(receptive_rate)
    if len(baskets) == 1:
        return float(by_draw(baskets[0].arrivals, rate, baskets[0].doses).mean())
    return 1.0 - _none(baskets[0], baskets[1], rate)


@dataclass(frozen=True)
class _Packet:
    """What a flower meets on each day ahead.

    ``arrives`` is the chance that a packet which was not there arrives that morning, array (days,);
    ``failure`` that a pollination with it does not take, array (days, scenarios, DRAWS). The ways in which
    it may have come weigh as much as they are likely still to have a dose, which spares a sum over all
    pairs of ways.
    """

    arrives: FloatArray
    failure: FloatArray


def _packet(basket: Basket, rate: FloatArray) -> _Packet:
    scenarios, days = rate.shape
    usable = np.array([way.usable_day for way in basket.arrivals])
    chance = np.array([way.chance for way in basket.arrivals])
    opened = np.zeros((scenarios, days + 1))
    np.cumsum(rate, axis=1, out=opened[:, 1:])
    # Arrays (days, scenarios, ways) and (days, ways, draws).
    since = np.maximum(opened[:, :days, None] - opened[:, None, usable], 0.0).transpose(1, 0, 2)
    come = np.arange(days)[:, None, None] >= usable
    share = np.where(come, chance * special.gammaincc(basket.doses, since), 0.0)
    success = np.stack([way.success for way in basket.arrivals]).transpose(2, 0, 1)
    total = share.sum(axis=2, keepdims=True)
    taking = np.divide(share @ success, total, out=np.zeros((days, scenarios, DRAWS)), where=total > 0.0)
    on = np.bincount(usable, chance, minlength=days + 1)[:days]
    waiting = 1.0 - np.concatenate([[0.0], np.cumsum(on)[:-1]])
    arrives = np.divide(on, waiting, out=np.zeros(days), where=waiting > 0.0)
    return _Packet(np.minimum(arrives, 1.0), 1.0 - taking)


@dataclass(frozen=True)
class _States:
    """Doses left of both packets, or that one has not come: a state for each pair, in one row.

    ``after`` is the state after a flower, ``packet`` the one it takes its dose from: the fuller of those
    that are there, and 2 where there is none. ``awaited`` are, for each packet, the states in which it has
    not come, and ``came`` what they are once it has. The last state is that of both not there yet.
    """

    after: IntegerArray
    packet: IntegerArray
    awaited: tuple[IntegerArray, IntegerArray]
    came: tuple[IntegerArray, IntegerArray]


def _states(first: int, second: int) -> _States:
    """Number ``doses + 1`` of a packet stands for "not there yet"."""
    width = second + 2
    pairs = [(one, other) for one in range(first + 2) for other in range(width)]
    packet, after = [], []
    for one, other in pairs:
        left = one if one <= first else 0, other if other <= second else 0
        used = 2 if max(left) == 0 else 0 if left[0] >= left[1] else 1
        packet.append(used)
        after.append((one - (used == 0)) * width + other - (used == 1))
    awaited = (
        np.array([state for state, (one, _) in enumerate(pairs) if one > first]),
        np.array([state for state, (_, other) in enumerate(pairs) if other > second]),
    )
    return _States(np.array(after), np.array(packet), awaited, (awaited[0] - width, awaited[1] - 1))


def _none(first: Basket, second: Basket, rate: FloatArray) -> float:
    """Chance of no capsule, mean over draws and scenarios: day by day from the last flower back."""
    packets = [_packet(basket, rate) for basket in (first, second)]
    states = _states(first.doses, second.doses)
    doses = first.doses + second.doses
    none = np.ones((states.after.size, rate.shape[0], DRAWS))
    usable = [way.usable_day for basket in (first, second) for way in basket.arrivals]
    for day in range(rate.shape[1] - 1, min(usable, default=0) - 1, -1):
        if rate[:, day].any():
            none = _before_flowers(none, packets, day, rate[:, day], states, doses)
        for packet, awaited, came in zip(packets, states.awaited, states.came, strict=True):
            if (arrives := packet.arrives[day]) > 0.0:
                none[awaited] = arrives * none[came] + (1.0 - arrives) * none[awaited]
    return float(none[-1].mean())


def _before_flowers(
    none: FloatArray, packets: Sequence[_Packet], day: int, rate: FloatArray, states: _States, doses: int
) -> FloatArray:
    """Chance of no capsule before the flowers of a day open, from that of the evening."""
    fails = np.stack([*(packet.failure[day] for packet in packets), np.ones(none.shape[1:])])[states.packet]
    total = np.zeros_like(none)
    for chance in _flower_counts(rate, doses):
        total += chance[:, None] * none
        none = fails * none[states.after]
    return total


def _flower_counts(rate: FloatArray, most: int) -> Iterator[FloatArray]:
    """Chance of 0, 1, … flowers in each scenario; the last of so many or more."""
    chance, left = np.exp(-rate), np.ones_like(rate)
    for count in range(1, most + 1):
        yield chance
        left = left - chance
        chance = chance * rate / count
        if left.max() < NEVER:
            break
    yield left
