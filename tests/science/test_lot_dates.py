"""Dates of lots on their course: to the hour what the quantile and the mean of the draws say."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.science.arrays import FloatArray
from exchange.science.live_effect import (
    best_before_days,
    days_left,
    live_effect,
    live_effect_rates,
    worth_trying_until_days,
)
from exchange.science.lot_course import Spell, ages_at, steady_spell
from exchange.science.lot_dates import LotDates, Outlook, lot_dates
from exchange.science.viability import prior_draws, remaining_fraction
from exchange.science.weighted import weighted_mean, weighted_quantile

RATE = live_effect_rates()
DRIED, FRESH = prior_draws("dried"), prior_draws("fresh")
HOUR = 1.0 / 24.0


def at_4_c(now_hours: float = 0.0) -> Outlook:
    course = [steady_spell(0.0, now_hours, 4.0, "refrigerator")] if now_hours else []
    return Outlook(course, now_hours, 4.0)


def test_at_4_c_the_dates_are_the_ages() -> None:
    """The prior alone gives 19.8 equivalent days dried and 3.3 fresh; recomputed here by other code."""
    found = lot_dates(at_4_c(), DRIED, RATE)
    best, median = best_before_days(DRIED, RATE)
    assert found.best_before / 24.0 == pytest.approx(best, abs=HOUR)
    assert found.best_before_median / 24.0 == pytest.approx(median, abs=HOUR)
    assert found.worth_trying_until / 24.0 == pytest.approx(worth_trying_until_days(DRIED, RATE), abs=HOUR)
    assert lot_dates(at_4_c(), FRESH, RATE).best_before / 24.0 == pytest.approx(3.3, abs=0.1)
    assert found.best_before / 24.0 == pytest.approx(19.8, abs=0.3)


def test_what_is_ahead_is_the_days_left_in_the_store() -> None:
    outlook = Outlook([steady_spell(0.0, 240.0, 12.0, "cellar")], 240.0, 6.0)
    ages = outlook.ages(DRIED, np.array([240.0]))[:, 0]
    left, left_median = days_left(DRIED, RATE, ages, 6.0)
    found = lot_dates(outlook, DRIED, RATE)
    assert (found.best_before - 240.0) / 24.0 == pytest.approx(left, abs=HOUR)
    assert (found.best_before_median - 240.0) / 24.0 == pytest.approx(left_median, abs=HOUR)


def test_a_date_that_has_passed_is_where_it_lay_on_the_course() -> None:
    later = lot_dates(at_4_c(24.0 * 500), DRIED, RATE)
    before = lot_dates(at_4_c(), DRIED, RATE)
    for name in LotDates.__annotations__:
        assert getattr(later, name) == pytest.approx(getattr(before, name), abs=1.0)


def test_at_a_date_the_draws_are_where_it_says() -> None:
    outlook = Outlook([steady_spell(0.0, 100.0, 22.0, "drying")], 100.0, 5.0)
    found = lot_dates(outlook, DRIED, RATE)

    def effect(hours: float) -> FloatArray:
        left = remaining_fraction(DRIED, outlook.ages(DRIED, np.array([hours])))[:, 0]
        return live_effect(left, RATE)

    for name, probability in (("best_before", 0.1), ("best_before_median", 0.5)):
        at = getattr(found, name)
        before, after = (
            weighted_quantile(effect(hours), DRIED.weight, probability) for hours in (at - 1.5, at + 1.5)
        )
        assert after < 0.5 < before
    until = found.worth_trying_until
    assert (
        weighted_mean(effect(until + 1.5), DRIED.weight)
        < 0.1
        < weighted_mean(effect(until - 1.5), DRIED.weight)
    )


@pytest.mark.parametrize("warmer_c", [6.0, 12.0, 25.0, 35.0])
def test_hotter_is_never_later(warmer_c: float) -> None:
    cool, warm = (lot_dates(Outlook([], 0.0, each), DRIED, RATE) for each in (4.0, warmer_c))
    for name in LotDates.__annotations__:
        assert getattr(warm, name) <= getattr(cool, name)


def test_a_wish_of_ones_own_moves_only_the_last_date() -> None:
    usual, choosy = lot_dates(at_4_c(), DRIED, RATE), lot_dates(at_4_c(), DRIED, RATE, least_effect=0.5)
    assert choosy.worth_trying_until < usual.worth_trying_until
    assert choosy.best_before == usual.best_before


@pytest.mark.parametrize("now_hours", [0.0, 48.0])
def test_who_wants_all_of_the_effect_wants_it_at_once(now_hours: float) -> None:
    assert lot_dates(at_4_c(now_hours), DRIED, RATE, least_effect=1.0).worth_trying_until < 0.01


def test_what_lies_beyond_twenty_years_is_not_named() -> None:
    deep = Outlook([], 0.0, -80.0, credit_below_freezing=True)
    assert lot_dates(deep, prior_draws("frozen"), RATE).worth_trying_until == np.inf


@st.composite
def any_course(draw: st.DrawFn) -> list[Spell]:
    """Steady stretches and logged ones, in any order, up to some weeks each."""
    course, begins = [], 0.0
    for _ in range(draw(st.integers(1, 4))):
        ends = begins + draw(st.floats(1.0, 600.0))
        readings = draw(st.lists(st.floats(-5.0, 30.0), min_size=1, max_size=5))
        if len(readings) == 1:
            course.append(steady_spell(begins, ends, readings[0], "store"))
        else:
            hours = np.linspace(begins, ends, len(readings))
            course.append(Spell(hours, np.array(readings), "logger"))
        begins = ends
    return course


def first_hour(passed: Callable[[float], bool]) -> float:
    """By halving alone: when something has happened that, once it has, stays so."""
    low, high = 0.0, 1_000_000.0
    while high - low > 0.1:
        middle = (low + high) / 2.0
        low, high = (low, middle) if passed(middle) else (middle, high)
    return high


@settings(max_examples=25, deadline=None)
@given(any_course(), st.sampled_from([2.0, 5.0, 22.0]), st.booleans())
def test_on_any_course_the_dates_are_those_of_a_search_by_halving(
    course: list[Spell], ahead_c: float, is_tested: bool
) -> None:
    """What is ahead is one stretch more; every instant is weighed anew by the plain functions."""
    weight = DRIED.initial / DRIED.initial.sum() if is_tested else DRIED.weight
    draws = replace(DRIED, weight=weight)
    now = course[-1].ends
    whole = [*course, steady_spell(now, 1_100_000.0, ahead_c, "ahead")]

    def effects(hours: float) -> FloatArray:
        left = remaining_fraction(draws, ages_at(whole, np.array([hours])))[:, 0]
        return live_effect(left, RATE)

    found = lot_dates(Outlook(course, now, ahead_c), draws, RATE)

    def half_gone(share: float) -> float:
        return first_hour(lambda hours: float(weight[effects(hours) <= 0.5].sum()) >= share)

    assert found.best_before == pytest.approx(half_gone(0.1), abs=1.0)
    assert found.best_before_median == pytest.approx(half_gone(0.5), abs=1.0)
    expected = first_hour(lambda hours: float(weighted_mean(effects(hours), weight)) < 0.1)
    assert found.worth_trying_until == pytest.approx(expected, abs=1.0)
