"""Courses of lots: laid over, cut, aged as the exact integral of each draw says."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.science.lot_course import (
    Course,
    Spell,
    ages_at,
    course_coldest_c,
    course_hours_above,
    cut,
    laid_over,
    steady_spell,
    until,
)
from exchange.science.q10_node import q10_nodes
from exchange.science.thermal_age import constant_temperature_age, logged_age
from exchange.science.viability import prior_draws

Q10 = prior_draws("dried").q10
numbers = st.floats(-30.0, 55.0)


def logged(first: float, *temperatures: float, step: float = 1.0) -> Spell:
    hours = first + step * np.arange(len(temperatures), dtype=np.float64)
    return Spell(hours, np.array(temperatures), "logger")


def told(course: Course) -> list[tuple[float, float, str]]:
    return [(spell.begins, spell.ends, spell.source) for spell in course]


def test_what_is_known_takes_the_place_of_what_was_assumed() -> None:
    store = steady_spell(0.0, 10.0, 4.0, "refrigerator")
    course = laid_over([store], logged(3.0, 8.0, 9.0, 8.0))
    assert told(course) == [(0.0, 3.0, "refrigerator"), (3.0, 5.0, "logger"), (5.0, 10.0, "refrigerator")]


def test_it_counts_only_where_there_is_a_course() -> None:
    store = steady_spell(2.0, 6.0, 4.0, "refrigerator")
    course = laid_over([store], steady_spell(0.0, 3.0, 20.0, "incident"))
    assert told(course) == [(2.0, 3.0, "incident"), (3.0, 6.0, "refrigerator")]
    assert told(laid_over([store], steady_spell(7.0, 9.0, 20.0, "incident"))) == [(2.0, 6.0, "refrigerator")]


def test_a_stretch_over_several_is_cut_at_their_borders() -> None:
    parts = [steady_spell(0.0, 2.0, 4.0, "refrigerator"), steady_spell(2.0, 4.0, -18.0, "freezer")]
    course = laid_over(parts, logged(1.0, 10.0, 12.0, 14.0))
    assert told(course) == [
        (0.0, 1.0, "refrigerator"),
        (1.0, 2.0, "logger"),
        (2.0, 3.0, "logger"),
        (3.0, 4.0, "freezer"),
    ]
    assert course[2].temperature_c.tolist() == [12.0, 14.0]


def test_a_cut_keeps_the_line_between_readings() -> None:
    part = cut(logged(0.0, 0.0, 10.0, 0.0), 0.5, 1.5)
    assert part is not None
    assert (part.hours.tolist(), part.temperature_c.tolist()) == ([0.5, 1.0, 1.5], [5.0, 10.0, 5.0])
    assert cut(logged(0.0, 0.0, 10.0), 1.0, 5.0) is None


def test_the_ages_of_all_draws_are_those_of_each() -> None:
    spell = logged(0.0, 4.0, 21.0, 35.0, 34.0, 2.0, -8.0, 5.0, step=7.0)
    exact = logged_age(spell.hours, spell.temperature_c, Q10)
    assert ages_at([spell], np.array([spell.ends]))[:, 0] == pytest.approx(exact, rel=1e-12)


@given(st.lists(numbers, min_size=2, max_size=12), st.floats(0.01, 30.0))
def test_the_nodes_meet_the_integral_for_any_history(temperatures: list[float], step: float) -> None:
    spell = logged(0.0, *temperatures, step=step)
    exact = logged_age(spell.hours, spell.temperature_c, Q10)
    assert ages_at([spell], np.array([spell.ends]))[:, 0] == pytest.approx(exact, rel=1e-11)


@given(numbers, st.floats(0.1, 5000.0))
def test_a_steady_stretch_is_the_constant_temperature(temperature_c: float, hours: float) -> None:
    spell = steady_spell(0.0, hours, temperature_c, "store")
    exact = constant_temperature_age(hours / 24.0, temperature_c, Q10)[:, 0]
    assert ages_at([spell], np.array([hours]))[:, 0] == pytest.approx(exact, rel=1e-11)


def test_frozen_days_count_once_the_lot_was_tested_after_freezing() -> None:
    spell = steady_spell(0.0, 240.0, -18.0, "freezer")
    now = np.array([240.0])
    credited = ages_at([spell], now, credit_below_freezing=True)[:, 0]
    assert credited == pytest.approx(
        constant_temperature_age(10.0, -18.0, Q10, credit_below_freezing=True)[:, 0]
    )
    # A draw in a thousand has a Q10 below 1, for which cold is no help.
    assert (credited < ages_at([spell], now)[:, 0]).mean() > 0.998


def test_ages_before_within_and_beyond_a_course() -> None:
    spell = steady_spell(10.0, 34.0, 4.0, "refrigerator")
    ages = ages_at([spell], np.array([0.0, 10.0, 22.0, 34.0, 100.0]))
    assert ages[0] == pytest.approx([0.0, 0.0, 0.5, 1.0, 1.0])


def test_splitting_a_stretch_changes_nothing() -> None:
    whole = logged(0.0, 4.0, 20.0, 30.0, 10.0)
    parts = [part for part in (cut(whole, 0.0, 1.3), cut(whole, 1.3, 3.0)) if part is not None]
    now = np.array([3.0])
    assert ages_at(parts, now) == pytest.approx(ages_at([whole], now), rel=1e-12)


def test_hours_of_heat_and_the_coldest_of_a_course() -> None:
    course = (logged(0.0, 30.0, 40.0, 30.0), steady_spell(2.0, 5.0, 36.0, "incident"))
    assert course_hours_above(course) == pytest.approx(1.0 + 3.0)
    assert course_coldest_c(course) == 30.0
    assert course_coldest_c(()) == np.inf


def test_a_course_up_to_an_instant() -> None:
    course = (steady_spell(0.0, 2.0, 4.0, "a"), steady_spell(2.0, 4.0, 4.0, "b"))
    assert told(until(course, 3.0)) == [(0.0, 2.0, "a"), (2.0, 3.0, "b")]
    assert until(course, 0.0) == ()


def test_a_course_out_of_range_is_refused() -> None:
    with pytest.raises(ValueError, match="temperature_c is 70"):
        steady_spell(0.0, 1.0, 70.0, "incident")
    with pytest.raises(ValueError, match="hours is 0 after 1"):
        steady_spell(1.0, 0.0, 4.0, "incident")
    with pytest.raises(ValueError, match="hours"):
        ages_at([], np.array([-1.0]))


def test_the_nodes_are_few_and_read_only() -> None:
    nodes, spread = q10_nodes()
    assert (nodes.shape, spread.shape) == ((24,), (4000, 24))
    assert not nodes.flags.writeable and not spread.flags.writeable
    assert spread.sum(axis=1) == pytest.approx(1.0)
