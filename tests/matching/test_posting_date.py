"""Post on, not later than, and what decides it: small rows of days by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.matching.posting_date import Decider, GoodDays, PostingDates, good_days, posting_dates
from exchange.science.arrays import FloatArray

SIX = np.ones(6, np.bool_)
rows = st.lists(st.floats(0.0, 1.0), min_size=8, max_size=8).map(np.array)
flags = st.lists(st.booleans(), min_size=8, max_size=8).map(lambda row: np.array(row, dtype=np.bool_))


def cases(
    central: list[float],
    viability: list[float] | None = None,
    recipient_end: list[float] | None = None,
    transit: list[float] | None = None,
) -> dict[Decider, FloatArray]:
    every: dict[Decider, list[float]] = {
        "central": central,
        "viability": viability or central,
        "recipient_end": recipient_end or central,
        "transit": transit or central,
    }
    return {name: np.array(row) for name, row in every.items()}


def test_the_run_holds_four_fifths_of_the_best() -> None:
    value = np.array([0.79, 0.80, 1.0, 0.81, 0.79, 0.9])
    assert good_days(value, SIX, SIX) == GoodDays(best=2, first=1, last=3, reaches_horizon=False)


def test_closed_days_do_not_break_the_run() -> None:
    is_open = np.array([True, True, False, False, True, True])
    value = np.array([0.9, 1.0, 0.0, 0.0, 0.9, 0.1])
    assert good_days(value, is_open, is_open) == GoodDays(1, 0, 4, reaches_horizon=False)


def test_an_open_day_without_pollen_breaks_the_run() -> None:
    candidate = np.array([True, True, False, True, True, True])
    assert good_days(np.ones(6), candidate, SIX) == GoodDays(0, 0, 1, reaches_horizon=False)


def test_a_run_to_the_last_open_day_reaches_the_horizon() -> None:
    is_open = np.array([True, True, True, True, True, False])
    assert good_days(np.ones(6), is_open, is_open) == GoodDays(0, 0, 4, reaches_horizon=True)


def test_of_equal_days_the_first_is_best_whatever_the_last_digits() -> None:
    value = np.array([0.5, 0.7, 0.5, 0.7 + 1e-12, 0.5, 0.7])
    found = good_days(value, SIX, SIX)
    assert found is not None and found.best == 1


def test_nothing_worth_posting_gives_no_day() -> None:
    assert good_days(np.zeros(6), SIX, SIX) is None
    assert good_days(np.ones(6), np.zeros(6, np.bool_), SIX) is None
    assert posting_dates(cases([0.0] * 6), SIX, SIX) is None


DECIDERS: dict[Decider, dict[Decider, FloatArray]] = {
    "central": cases([1, 1, 1, 0.1, 0, 0]),
    "viability": cases([1, 1, 1, 1, 0.1, 0], viability=[1, 1, 0.1, 0.1, 0, 0]),
    "recipient_end": cases([1, 1, 1, 1, 0.1, 0], recipient_end=[1, 0.1, 0, 0, 0, 0]),
    "transit": cases([1, 1, 1, 1, 0.1, 0], viability=[1, 1, 1, 0.1, 0, 0], transit=[1, 1, 0.1, 0, 0, 0]),
}
LAST = {"central": 2, "viability": 1, "recipient_end": 0, "transit": 1}


@pytest.mark.parametrize("decider", DECIDERS)
def test_the_case_that_ends_first_decides(decider: Decider) -> None:
    found = posting_dates(DECIDERS[decider], SIX, SIX)
    assert found is not None
    assert (found.not_later_than, found.decided_by, found.send_at_once) == (LAST[decider], decider, False)


def test_each_case_is_held_against_its_own_best_day() -> None:
    found = posting_dates(cases([0.9, 1, 0.9, 0, 0, 0], viability=[0.2, 0.2, 0.2, 0, 0, 0]), SIX, SIX)
    assert found is not None and (found.not_later_than, found.decided_by) == (2, "central")


def test_the_best_day_is_never_after_the_last_good_one() -> None:
    found = posting_dates(cases([0.5, 0.6, 0.7, 1, 0.9, 0], recipient_end=[0.9, 1, 0.3, 0, 0, 0]), SIX, SIX)
    assert found == PostingDates(
        post_on=1,
        not_later_than=1,
        decided_by="recipient_end",
        send_at_once=False,
        good=GoodDays(best=3, first=3, last=4, reaches_horizon=False),
    )


def test_a_case_without_a_good_day_says_send_at_once() -> None:
    candidate = np.array([False, True, True, True, True, True])
    found = posting_dates(cases([1, 1, 1, 1, 0, 0], viability=[0] * 6), candidate, SIX)
    assert found is not None
    assert (found.post_on, found.not_later_than, found.decided_by, found.send_at_once) == (
        1,
        1,
        "viability",
        True,
    )


def test_where_every_case_reaches_the_horizon_there_is_no_deadline() -> None:
    found = posting_dates(cases([1.0] * 6), SIX, SIX)
    assert found is not None
    assert (found.post_on, found.not_later_than, found.send_at_once) == (0, None, False)


def test_a_case_that_ends_is_a_deadline_though_others_reach_the_horizon() -> None:
    found = posting_dates(cases([1.0] * 6, transit=[1, 1, 0.1, 0.1, 0.1, 0.1]), SIX, SIX)
    assert found is not None and (found.not_later_than, found.decided_by) == (1, "transit")


def test_a_case_that_ends_before_the_central_one_begins_names_its_own_last_day() -> None:
    open_days = np.array([False, False, True, False, True, True])
    worth = cases([0, 0, 0, 0, 1, 0], transit=[0, 0, 1, 0, 0, 0])
    found = posting_dates(worth, open_days, open_days)
    assert found is not None and (found.post_on, found.not_later_than, found.decided_by) == (2, 2, "transit")


@given(rows, rows, flags, flags)
def test_dates_are_days_that_may_be_chosen(
    central: FloatArray, other: FloatArray, is_open: np.ndarray, likely: np.ndarray
) -> None:
    candidate = is_open & likely
    found = posting_dates(
        {"central": central, "viability": other, "recipient_end": central, "transit": other},
        candidate,
        is_open,
    )
    if found is None:
        assert not (central[candidate] > 0.0).any()
        return
    assert candidate[found.post_on]
    if found.not_later_than is not None:
        assert candidate[found.not_later_than]
        assert found.post_on <= found.not_later_than
    assert found.good.first <= found.good.best <= found.good.last


@given(rows)
def test_a_run_is_the_longest_unbroken_one(value: FloatArray) -> None:
    every = np.ones(8, np.bool_)
    run = good_days(value, every, every)
    if run is None:
        return
    least = 0.8 * value[run.best]
    assert (value[run.first : run.last + 1] >= least).all()
    assert run.first == 0 or value[run.first - 1] < least
    assert run.last == 7 or value[run.last + 1] < least
