"""The donor's table "post today or wait", and what following it is worth.

The table is made from mean chances alone, because that is all the donor can know; stopping inside a
scenario would let the donor see the future. It is then followed, unchanged, through every scenario.
"""

from dataclasses import dataclass

import numpy as np

from exchange.matching.readiness import DonorClock, PostingDays
from exchange.science.arrays import BoolArray, FloatArray, IntegerArray


@dataclass(frozen=True)
class States:
    """What a donor can have seen of the own flowers.

    A state says how many days ago the last flower opened that is old enough to have given ready pollen,
    and whether each later day brought a new one.
    Arrays over states: ``rest_days`` of the freshest ready pollen (−1: none worth packing) and the state
    that follows a day without (``after_none``) or with (``after_some``) a new flower.
    """

    rest_days: IntegerArray
    after_none: IntegerArray
    after_some: IntegerArray
    nothing_seen: int


@dataclass(frozen=True)
class Policy:
    """What following the table gives: ``value`` of a packet, and on which day, at which rest, it is posted.

    ``posted`` is an array (days, longest gap) of chances; ``posts`` the table itself, (days, states).
    """

    value: float
    posted: FloatArray
    posts: BoolArray


def states_of(clock: DonorClock, days: PostingDays) -> States:
    """All states of a donor's clock."""
    recent = clock.lag_days - 1
    oldest = clock.shedding_days - 1 + days.longest_gap
    age, bits = np.divmod(np.arange((oldest + 1) << recent), 1 << recent)
    rest = np.where(age < oldest, np.maximum(age - (clock.shedding_days - 1), 0), -1)
    none, some = (_follow(age, bits, recent, oldest, seen) for seen in (0, 1))
    return States(rest, none, some, nothing_seen=oldest << recent)


def _follow(age: IntegerArray, bits: IntegerArray, recent: int, oldest: int, seen: int) -> IntegerArray:
    shifted = (bits << 1) | seen
    leaving = (shifted >> recent) & 1
    older = np.where(leaving == 1, 0, np.minimum(age + 1, oldest))
    following: IntegerArray = (older << recent) | (shifted & ((1 << recent) - 1))
    return following


def decide(value: FloatArray, opening_chance: FloatArray, states: States, days: PostingDays) -> BoolArray:
    """The table: for each day and state, whether posting today is worth at least as much as waiting.

    Parameters
    ----------
    value : array (days, longest gap)
        What a packet posted on a day after so many days of rest is worth.
    opening_chance : array (days,)
        Mean chance of a new flower on each day.

    Returns
    -------
    bool array (days, states)
    """
    table = np.zeros((value.shape[0], states.rest_days.size), dtype=np.bool_)
    ahead = np.zeros(states.rest_days.size)
    for day in range(value.shape[0] - 1, -1, -1):
        chance = opening_chance[day]
        wait = (1.0 - chance) * ahead[states.after_none] + chance * ahead[states.after_some]
        post = np.where(_ready(states, days, day), value[day, states.rest_days], 0.0)
        table[day] = (post > 0.0) & (post >= wait)
        ahead = np.where(table[day], post, wait)
    return table


def _ready(states: States, days: PostingDays, day: int) -> BoolArray:
    if not days.is_open[day]:
        return np.zeros(states.rest_days.size, dtype=np.bool_)
    ready: BoolArray = (states.rest_days >= 0) & (states.rest_days < days.gap_days[day])
    return ready


def follow(
    table: BoolArray, value: FloatArray, opening_chance: FloatArray, lead_days: int, states: States
) -> Policy:
    """Follow the table through every scenario of the donor's bloom.

    Parameters
    ----------
    opening_chance : array (scenarios, lead_days + days)
        Chance of a new flower on each day in each scenario, beginning before the first posting day so
        that pollen of flowers already open counts.
    """
    scenarios = opening_chance.shape[0]
    present = np.zeros((scenarios, states.rest_days.size))
    present[:, states.nothing_seen] = 1.0
    identity = np.eye(states.rest_days.size)
    steps = identity[states.after_none], identity[states.after_some]
    posted = np.zeros(value.shape)
    for day in range(-lead_days, value.shape[0]):
        if day >= 0:
            leaving = present * table[day]
            np.add.at(posted[day], states.rest_days[table[day]], leaving.mean(axis=0)[table[day]])
            present = present - leaving
        chance = opening_chance[:, lead_days + day, None]
        present = (present * (1.0 - chance)) @ steps[0] + (present * chance) @ steps[1]
    return Policy(float((posted * value).sum()), posted, table)
