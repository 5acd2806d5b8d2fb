import numpy as np
import pytest

from exchange.science.temperature_history import (
    accepted_readings,
    doubt_causes,
    hours_above,
    with_crossings,
)

HOURS = np.array([0.0, 10.0, 12.0, 20.0])


def test_hours_above_a_level_follow_the_straight_lines() -> None:
    degrees = np.array([5.0, 25.0, 25.0, 5.0])
    assert hours_above(HOURS, degrees, 15.0) == pytest.approx(5.0 + 2.0 + 4.0)
    assert hours_above(HOURS, degrees, 25.0) == 0.0
    assert hours_above(HOURS, degrees, 4.0) == pytest.approx(20.0)


def test_crossings_leave_the_history_as_it_is() -> None:
    hours, degrees = with_crossings(HOURS, np.array([-10.0, 10.0, 10.0, -30.0]), 0.0)
    assert hours.tolist() == [0.0, 5.0, 10.0, 12.0, 14.0, 20.0]
    assert degrees.tolist() == [-10.0, 0.0, 10.0, 10.0, 0.0, -30.0]


def test_two_hours_at_38_degrees_make_a_lot_doubtful_and_half_an_hour_does_not() -> None:
    degrees = np.array([38.0, 38.0])
    assert doubt_causes("dried", np.array([0.0, 2.0]), degrees) == ["heat"]
    assert doubt_causes("dried", np.array([0.0, 0.5]), degrees) == []
    assert doubt_causes("dried", np.array([0.0, 1.0]), degrees) == []


def test_separate_hot_spells_are_added() -> None:
    hours = np.array([0.0, 0.6, 0.7, 5.0, 5.1, 5.7])
    assert doubt_causes("dried", hours, np.array([37.0, 37.0, 5.0, 5.0, 37.0, 37.0])) == ["heat"]


def test_frost_spoils_only_undried_pollen() -> None:
    hours, degrees = np.array([0.0, 24.0]), np.array([4.0, -0.5])
    assert doubt_causes("fresh", hours, degrees) == ["frozen_undried"]
    assert doubt_causes("dried", hours, degrees) == []
    assert doubt_causes("frozen", hours, degrees) == []
    assert doubt_causes("fresh", hours, np.array([4.0, 0.0])) == []


def test_wet_pollen_is_outside_the_curve_whatever_the_temperature() -> None:
    hours, degrees = np.array([0.0, 24.0]), np.array([4.0, 4.0])
    assert doubt_causes("dried", hours, degrees, wetted=True, in_fluid=True) == ["wetted", "in_fluid"]


def test_readings_are_ordered_averaged_and_impossible_ones_listed() -> None:
    hours = np.array([3.0, 1.0, 2.0, 1.0, 4.0, np.nan, 5.0])
    degrees = np.array([8.0, 4.0, 99.0, 6.0, np.nan, 4.0, -90.0])
    when, accepted, rejected = accepted_readings(hours, degrees)
    assert when.tolist() == [1.0, 3.0, 5.0]
    assert accepted.tolist() == [5.0, 8.0, -90.0]
    assert rejected == [2, 4, 5]


def test_a_log_without_one_possible_reading_gives_none() -> None:
    when, accepted, rejected = accepted_readings(np.array([0.0]), np.array([1000.0]))
    assert len(when) == len(accepted) == 0
    assert rejected == [0]


def test_impossible_input_is_refused() -> None:
    with pytest.raises(ValueError, match="treatment is 'wet'; allowed: fresh, dried, frozen"):
        doubt_causes("wet", HOURS, np.zeros(4))  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="temperature_c is 61; allowed: -90 to 60"):
        hours_above(HOURS, np.full(4, 61.0), 8.0)
    with pytest.raises(ValueError, match="hours has shape"):
        accepted_readings(HOURS, np.zeros(3))
