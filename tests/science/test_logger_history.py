from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.science.arrays import FloatArray
from exchange.science.logger_history import (
    best_history,
    gaps,
    inside_interval,
    marked_gaps,
    usual_interval_seconds,
    worst_history,
)
from exchange.science.thermal_age import logged_age

# Every ten minutes for an hour, five hours unknown, another hour.
SECONDS = 600.0 * np.array([*range(7), *range(36, 43)])
COOL = np.full(14, 4.0)


def test_a_long_gap_is_filled_with_what_is_assumed() -> None:
    history = worst_history(SECONDS, COOL, 25.0)
    assert history.temperature_c.tolist() == [4.0] * 7 + [25.0] * 2 + [4.0] * 7
    assert history.assumed.tolist() == [False] * 7 + [True] * 2 + [False] * 7
    assert history.hours[7:9].tolist() == pytest.approx([1.0 + 1 / 3600, 6.0 - 1 / 3600])
    assert history.assumed_hours == pytest.approx(5.0)


def test_the_best_case_joins_the_neighbours() -> None:
    warm = np.where(SECONDS > 5000.0, 14.0, 4.0)
    history = best_history(SECONDS, warm)
    assert history.temperature_c[7:9].tolist() == pytest.approx([4.0 + 10 / 18000, 14.0 - 10 / 18000])
    assert history.assumed_hours == pytest.approx(5.0)


def test_a_reading_warmer_than_assumed_is_taken_instead() -> None:
    warm = np.where(SECONDS > 5000.0, 30.0, 4.0)
    assert worst_history(SECONDS, warm, 25.0).temperature_c[7:9].tolist() == [30.0, 30.0]


def test_short_gaps_are_shown_and_not_filled() -> None:
    seconds = np.array([0.0, 600.0, 1200.0, 4800.0, 5400.0])
    interval = usual_interval_seconds(seconds)
    assert interval == 600.0
    assert gaps(seconds, interval).tolist() == [False, False, True, False]
    assert marked_gaps(seconds, interval).tolist() == [False] * 4
    later = np.array([0.0, 600.0, 1200.0, 4801.0, 5401.0])
    assert marked_gaps(later, 600.0).tolist() == [False, False, True, False]


def test_a_slow_logger_may_miss_two_readings() -> None:
    hourly = 3600.0 * np.array([0, 1, 2, 5, 6, 10])
    assert marked_gaps(hourly, 3600.0).tolist() == [False, False, False, False, True]


def test_the_age_comes_as_a_range_that_widens_with_the_assumption() -> None:
    q10 = np.array([2.2])
    best, mild, worst = (
        logged_age(history.hours, history.temperature_c, q10)[0]
        for history in (
            best_history(SECONDS, COOL),
            worst_history(SECONDS, COOL, 15.0),
            worst_history(SECONDS, COOL, 34.0),
        )
    )
    assert best == pytest.approx(7.0 / 24.0)
    assert best < mild < worst
    # Five hours at 34 °C less the second at each edge, by the formula for constant temperature.
    assert worst == pytest.approx(2.0 / 24.0 + 5.0 / 24.0 * 2.2**3.0, rel=1e-3)


LOGS = st.lists(st.tuples(st.integers(1, 50_000), st.floats(-90, 60)), min_size=2, max_size=30).map(
    lambda rows: (np.cumsum([float(step) for step, _ in rows]), np.array([each for _, each in rows]))
)


@given(LOGS, st.floats(-90, 60))
def test_the_worst_is_nowhere_below_the_best(log: tuple[FloatArray, FloatArray], assumed_c: float) -> None:
    worst, best = worst_history(*log, assumed_c), best_history(*log)
    assert (worst.hours == best.hours).all()
    assert (worst.temperature_c >= best.temperature_c - 1e-9).all()
    assert (worst.temperature_c[~worst.assumed] == log[1]).all()
    assert worst.assumed_hours == best.assumed_hours <= worst.hours[-1]


def test_readings_outside_the_interval_are_marked() -> None:
    seconds = datetime(2026, 6, 20, 12, tzinfo=UTC).timestamp() + np.arange(0.0, 18_000.0, 3600.0)
    packed, opened = datetime(2026, 6, 20, 13, tzinfo=UTC), datetime(2026, 6, 20, 15, 30, tzinfo=UTC)
    assert inside_interval(seconds, packed, opened).tolist() == [False, True, True, True, False]
    assert inside_interval(seconds, packed).tolist() == [False, True, True, True, True]
    assert inside_interval(seconds).all()


def test_impossible_input_is_refused() -> None:
    noon = datetime(2026, 6, 20, 12, tzinfo=UTC)
    with pytest.raises(ValueError, match="allowed: a time with its zone"):
        inside_interval(SECONDS, noon.replace(tzinfo=None))
    with pytest.raises(ValueError, match="allowed: not before first"):
        inside_interval(SECONDS, noon, noon.replace(hour=11))
    with pytest.raises(ValueError, match="temperature_c is 61"):
        worst_history(SECONDS, COOL, 61.0)
    with pytest.raises(ValueError, match="two or more readings"):
        best_history(SECONDS[:1], COOL[:1])
