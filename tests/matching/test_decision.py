"""The donor's table, against every policy of a tiny pond and every history of its flowers."""

import math
from itertools import product

import numpy as np
import pytest

from exchange.matching.decision import Policy, States, decide, follow, states_of
from exchange.matching.readiness import DonorClock, PostingDays
from exchange.science.arrays import BoolArray, FloatArray

DAILY = PostingDays(np.ones(3, np.bool_), np.ones(3, np.int64))
WEEKEND = PostingDays(np.array([True, False, False, True, True]), np.array([1, 1, 2, 3, 1]))
ONE_DAY = DonorClock(lag_days=1, shedding_days=1, handling_days=0, rest_days=0)
TWO_DAYS = DonorClock(lag_days=2, shedding_days=2, handling_days=1, rest_days=0)


def state(history: tuple[bool, ...], kept: DonorClock, oldest: int) -> int:
    """The column of the table for flowers seen up to yesterday, last one last."""
    known = dict(enumerate(reversed(history), start=1))
    ages = [back - kept.lag_days for back, seen in known.items() if seen and back >= kept.lag_days]
    bits = sum(known.get(back, False) << (back - 1) for back in range(1, kept.lag_days))
    return min([*ages, oldest]) << (kept.lag_days - 1) | bits


def rest(history: tuple[bool, ...], kept: DonorClock, gap: int) -> int | None:
    """Days since the freshest pollen became ready, if that was after the last open day."""
    found = [
        back - kept.lag_days - later
        for back, seen in enumerate(reversed(history), start=1)
        for later in range(kept.shedding_days)
        if seen
    ]
    return min((days for days in found if 0 <= days < gap), default=None)


def worth_of(
    posts: BoolArray, value: FloatArray, chances: FloatArray, kept: DonorClock, days: PostingDays
) -> float:
    """Mean worth of what a table posts, over every history of flowers."""
    size, lead = days.is_open.size, chances.size - days.is_open.size
    oldest = kept.shedding_days - 1 + days.longest_gap
    total = 0.0
    for history in product((False, True), repeat=chances.size):
        weight = math.prod(
            chance if seen else 1.0 - chance for chance, seen in zip(chances, history, strict=True)
        )
        for day in range(size):
            known = history[: lead + day]
            freshest = rest(known, kept, int(days.gap_days[day])) if days.is_open[day] else None
            if freshest is not None and posts[day, state(known, kept, oldest)]:
                total += float(weight * value[day, freshest])
                break
    return total


def best_by_tree(
    history: tuple[bool, ...],
    day: int,
    value: FloatArray,
    chance: FloatArray,
    kept: DonorClock,
    days: PostingDays,
) -> float:
    """Worth of deciding best with the whole history in mind."""
    if day == days.is_open.size:
        return 0.0
    freshest = rest(history, kept, int(days.gap_days[day])) if days.is_open[day] else None
    seen, unseen = (
        best_by_tree((*history, new), day + 1, value, chance, kept, days) for new in (True, False)
    )
    wait = float(chance[day] * seen + (1.0 - chance[day]) * unseen)
    return max(wait, 0.0 if freshest is None else float(value[day, freshest]))


def followed(
    value: FloatArray, chances: FloatArray, kept: DonorClock, days: PostingDays
) -> tuple[Policy, States]:
    states = states_of(kept, days)
    lead = chances.size - days.is_open.size
    table = decide(value, chances[lead:], states, days)
    return follow(table, value, chances[None, :], lead, states), states


@pytest.mark.parametrize("seed", range(4))
def test_no_policy_beats_the_table(seed: int) -> None:
    rng = np.random.default_rng(seed)
    value, chances = rng.uniform(0.0, 1.0, (3, 1)), rng.uniform(0.2, 0.8, 4)
    every = (np.array(bits, dtype=np.bool_).reshape(3, 2) for bits in product((False, True), repeat=6))
    best = max(worth_of(posts, value, chances, ONE_DAY, DAILY) for posts in every)
    policy, states = followed(value, chances, ONE_DAY, DAILY)
    assert states.rest_days.size == 2
    assert policy.value == pytest.approx(best, abs=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_the_table_is_as_good_as_remembering_everything(seed: int) -> None:
    rng = np.random.default_rng(seed)
    value, chance = rng.uniform(0.0, 1.0, (5, 3)), rng.uniform(0.1, 0.7, 5)
    policy, _ = followed(value, np.concatenate([np.zeros(6), chance]), TWO_DAYS, WEEKEND)
    assert policy.value == pytest.approx(best_by_tree((), 0, value, chance, TWO_DAYS, WEEKEND), abs=1e-12)


@pytest.mark.parametrize("seed", range(3))
def test_following_is_the_sum_over_all_histories_of_flowers(seed: int) -> None:
    rng = np.random.default_rng(seed)
    value, chances = rng.uniform(0.0, 1.0, (5, 3)), rng.uniform(0.0, 1.0, (2, 11))
    states = states_of(TWO_DAYS, WEEKEND)
    table = decide(value, chances.mean(axis=0)[6:], states, WEEKEND)
    policy = follow(table, value, chances, 6, states)
    expected = [worth_of(table, value, row, TWO_DAYS, WEEKEND) for row in chances]
    assert policy.value == pytest.approx(sum(expected) / 2.0, abs=1e-12)
    assert policy.posts is table


def test_a_donor_cannot_know_which_season_it_is() -> None:
    # One season has pollen on the first day only, the other on the second only; the second day pays best.
    days = PostingDays(np.ones(2, np.bool_), np.ones(2, np.int64))
    value, chances = np.array([[0.6], [1.0]]), np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    states = states_of(ONE_DAY, days)
    table = decide(value, chances.mean(axis=0)[1:], states, days)
    policy = follow(table, value, chances, 1, states)
    # With even chances tomorrow is worth 0.5, so 0.6 is taken today where it can be.
    assert policy.value == pytest.approx((0.6 + 1.0) / 2.0)
    assert policy.posted[:, 0] == pytest.approx([0.5, 0.5])


def test_waiting_is_forced_on_closed_days_and_without_pollen() -> None:
    states = states_of(TWO_DAYS, WEEKEND)
    table = decide(np.ones((5, 3)), np.full(5, 0.5), states, WEEKEND)
    assert not table[1:3].any()
    assert not table[:, states.rest_days < 0].any()
    assert table[3, states.rest_days >= 0].all()


def test_nothing_worthless_is_posted() -> None:
    table = decide(np.zeros((3, 1)), np.full(3, 0.5), states_of(ONE_DAY, DAILY), DAILY)
    assert not table.any()


def test_what_was_refused_on_an_open_day_is_gone() -> None:
    states = states_of(TWO_DAYS, WEEKEND)
    table = decide(np.ones((5, 3)), np.full(5, 0.5), states, WEEKEND)
    assert not table[0, states.rest_days == 1].any()
    assert not table[4, states.rest_days == 1].any()


def test_states_forget_what_is_too_old() -> None:
    states = states_of(TWO_DAYS, WEEKEND)
    column = states.nothing_seen
    assert states.after_none[column] == column
    column = int(states.after_some[column])
    rests = []
    for _ in range(7):
        rests.append(int(states.rest_days[column]))
        column = int(states.after_none[column])
    # Opened a day ago; ready two days after opening, shedding for two days, then up to two days old.
    assert rests == [-1, 0, 0, 1, 2, -1, -1]
    assert column == states.nothing_seen
