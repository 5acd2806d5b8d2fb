import numpy as np
import pytest

from exchange.science.kinetic_temperature import mean_kinetic_temperature
from exchange.science.logger_history import best_history, worst_history
from exchange.science.logger_summary import logger_summary, longest_hours_above


def test_a_cool_log_sums_up_to_itself() -> None:
    seconds = np.arange(0.0, 172_801.0, 600.0)
    summary = logger_summary(best_history(seconds, np.full(289, 5.0)))
    assert (summary.readings, summary.maximum_c, summary.minimum_c) == (289, 5.0, 5.0)
    assert (summary.hours_above_8_c, summary.longest_hours_above_8_c) == (0.0, 0.0)
    assert summary.mean_kinetic_c == pytest.approx(5.0, abs=1e-9)
    assert summary.worst_day_kinetic_c == pytest.approx(5.0, abs=1e-9)
    assert (summary.span_hours, summary.assumed_hours, summary.measured_hours) == (48.0, 0.0, 48.0)


def test_an_hour_at_25_degrees_in_a_day_is_that_of_the_table() -> None:
    """5 °C for 23 h and 25 °C for 1 h: 7.7564 °C, computed from the formula of USP chapter 1160."""
    edge = 1e-3
    seconds = np.array([0.0, 23 * 3600.0, 23 * 3600.0 + edge, 86_400.0])
    summary = logger_summary(
        best_history(seconds, np.array([5.0, 5.0, 25.0, 25.0]), interval_seconds=86_400.0)
    )
    assert summary.mean_kinetic_c == pytest.approx(7.7564, abs=1e-3)
    assert summary.mean_kinetic_c == pytest.approx(
        mean_kinetic_temperature(np.array([5.0, 25.0]), np.array([23.0, 1.0])), abs=1e-3
    )
    assert summary.hours_above_8_c == pytest.approx(1.0, abs=1e-6)


def test_assumed_hours_count_in_the_worst_case_and_not_as_readings() -> None:
    seconds = 600.0 * np.array([*range(7), *range(36, 43)])
    cool = np.full(14, 4.0)
    worst, best = (
        logger_summary(worst_history(seconds, cool, 25.0)),
        logger_summary(best_history(seconds, cool)),
    )
    assert (worst.readings, worst.maximum_c) == (14, 4.0)
    assert worst.hours_above_8_c == pytest.approx(5.0, abs=1e-3)
    assert worst.longest_hours_above_8_c == pytest.approx(worst.hours_above_8_c)
    assert worst.assumed_hours == pytest.approx(5.0)
    assert worst.measured_hours == pytest.approx(2.0)
    assert best.hours_above_8_c == 0.0
    assert best.mean_kinetic_c < worst.mean_kinetic_c


def test_the_longest_stretch_is_found_among_several() -> None:
    hours = np.array([0.0, 1.0, 2.0, 3.0, 6.0, 7.0, 8.0])
    degrees = np.array([6.0, 10.0, 6.0, 10.0, 10.0, 6.0, 10.0])
    assert longest_hours_above(hours, degrees, 8.0) == pytest.approx(0.5 + 3.0 + 0.5)
    assert longest_hours_above(hours, degrees, 10.0) == 0.0
    assert longest_hours_above(hours, degrees, 0.0) == 8.0
