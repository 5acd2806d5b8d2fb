"""Degree days: tables of Zalom, McMaster & Wilhelm, numerical integration, limits."""

import re
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from exchange.science import degree_day
from exchange.science.degree_day import Cutoff, Shape
from tests.published import Row, cases


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def in_fahrenheit(method: Callable[..., Any], **fixed: Any) -> Callable[..., float]:
    """Run a method on °F inputs through °C, and give °F d."""

    def run(**inputs: float) -> float:
        in_celsius = {key.removesuffix("_f") + "_c": celsius(value) for key, value in inputs.items()}
        return 1.8 * float(method(**in_celsius, **fixed))

    return run


METHODS: dict[str, Callable[..., Any]] = {
    "single": degree_day.degree_days,
    "double": degree_day.double_degree_days,
    "average": degree_day.average_degree_days,
    "substituted_average": degree_day.substituted_average_degree_days,
    "expected": degree_day.expected_degree_days,
    "single_sine_fahrenheit": in_fahrenheit(degree_day.degree_days, shape="sine"),
    "single_triangle_fahrenheit": in_fahrenheit(degree_day.degree_days, shape="triangle"),
    "double_sine_fahrenheit": in_fahrenheit(degree_day.double_degree_days, shape="sine"),
    "double_triangle_fahrenheit": in_fahrenheit(degree_day.double_degree_days, shape="triangle"),
    "average_fahrenheit": in_fahrenheit(degree_day.average_degree_days),
}


@pytest.mark.parametrize("row", cases("degree_day"))
def test_published_degree_days(row: Row) -> None:
    row.check(METHODS[row.quantity](**row.inputs))


def rate(temperature_c: float, lower_c: float, upper_c: float, cutoff: Cutoff) -> float:
    """Development rate at an instant, straight from the words of the three cut-offs."""
    if temperature_c <= lower_c:
        return 0.0
    if temperature_c <= upper_c:
        return temperature_c - lower_c
    falling = max(0.0, (upper_c - lower_c) - (temperature_c - upper_c))
    return {"horizontal": upper_c - lower_c, "intermediate": falling, "vertical": 0.0}[cutoff]


def temperature_at(phase: float, minimum_c: float, maximum_c: float, shape: Shape) -> float:
    """Temperature in the rising half of a day, phase 0 (minimum) to 1 (maximum)."""
    wave = (1.0 - np.cos(np.pi * phase)) / 2.0 if shape == "sine" else phase
    return float(minimum_c + (maximum_c - minimum_c) * wave)


def crossing_phase(level_c: float, minimum_c: float, maximum_c: float, shape: Shape) -> float:
    share = min(1.0, max(0.0, (level_c - minimum_c) / (maximum_c - minimum_c)))
    return float(np.arccos(1.0 - 2.0 * share) / np.pi) if shape == "sine" else share


@settings(max_examples=40, deadline=None)
@given(
    minimum_c=st.floats(-20.0, 45.0),
    range_c=st.floats(0.5, 25.0).filter(lambda width: width > 0.5),
    lower_c=st.floats(0.0, 20.0),
    width_c=st.floats(2.0, 25.0),
    shape=st.sampled_from(("sine", "triangle")),
    cutoff=st.sampled_from(("horizontal", "intermediate", "vertical")),
)
def test_closed_forms_equal_numerical_integration(
    minimum_c: float, range_c: float, lower_c: float, width_c: float, shape: Shape, cutoff: Cutoff
) -> None:
    maximum_c, upper_c = min(minimum_c + range_c, 60.0), lower_c + width_c
    levels = (lower_c, upper_c, 2.0 * upper_c - lower_c)
    kinks = sorted({0.0, 1.0, *(crossing_phase(level, minimum_c, maximum_c, shape) for level in levels)})
    integral = sum(
        quad(lambda x: rate(temperature_at(x, minimum_c, maximum_c, shape), lower_c, upper_c, cutoff), a, b)[
            0
        ]
        for a, b in pairwise(kinks)
    )
    result = degree_day.degree_days(minimum_c, maximum_c, lower_c, upper_c, shape=shape, cutoff=cutoff)
    assert float(result) == pytest.approx(integral, abs=1e-4)


@given(mean_c=st.floats(-20.0, 35.0), sd_c=st.floats(0.5, 8.0), lower_c=st.floats(0.0, 20.0))
def test_expected_degree_days_equal_the_truncated_mean_of_a_normal(
    mean_c: float, sd_c: float, lower_c: float
) -> None:
    truth = norm(mean_c, sd_c).expect(lambda x: x - lower_c, lb=lower_c)
    assert float(degree_day.expected_degree_days(mean_c, sd_c, lower_c)) == pytest.approx(truth, abs=1e-6)


@pytest.mark.parametrize("shape", ["sine", "triangle"])
@pytest.mark.parametrize("cutoff", ["horizontal", "intermediate", "vertical"])
@pytest.mark.parametrize(("temperature_c", "expected"), [(5.0, 0.0), (12.0, 0.0), (20.0, 8.0), (33.0, 21.0)])
def test_a_day_without_swing_does_not_divide_by_zero(
    temperature_c: float, expected: float, shape: Shape, cutoff: Cutoff
) -> None:
    with np.errstate(all="raise"):
        result = degree_day.degree_days(temperature_c, temperature_c, 12.0, 33.0, shape=shape, cutoff=cutoff)
    assert float(result) == expected


@given(
    minimum_c=st.floats(-30.0, 40.0),
    range_c=st.floats(0.0, 20.0),
    warmer_c=st.floats(0.0, 5.0),
    shape=st.sampled_from(("sine", "triangle")),
)
def test_horizontal_degree_days_never_fall_when_warmer_and_stay_between_the_limits(
    minimum_c: float, range_c: float, warmer_c: float, shape: Shape
) -> None:
    maximum_c = min(minimum_c + range_c, 55.0)
    days = np.array([0.0, warmer_c])
    cool, warm = degree_day.degree_days(minimum_c + days, maximum_c + days, 12.0, 33.0, shape=shape)
    assert -1e-9 <= cool <= warm + 1e-9
    assert warm <= 21.0 + 1e-9


@given(
    minimum_c=st.floats(-30.0, 40.0),
    range_c=st.floats(0.0, 20.0),
    shape=st.sampled_from(("sine", "triangle")),
)
def test_the_stricter_the_cutoff_the_fewer_degree_days(
    minimum_c: float, range_c: float, shape: Shape
) -> None:
    maximum_c = min(minimum_c + range_c, 60.0)
    horizontal, intermediate, vertical = (
        float(degree_day.degree_days(minimum_c, maximum_c, 12.0, 33.0, shape=shape, cutoff=cutoff))
        for cutoff in ("horizontal", "intermediate", "vertical")
    )
    assert -1e-9 <= vertical <= intermediate + 1e-9
    assert intermediate <= horizontal + 1e-9


def test_second_half_rises_when_the_next_minimum_is_above_todays_maximum() -> None:
    result = degree_day.double_degree_days(5.0, 12.0, 16.0, 10.0)
    halves = degree_day.degree_days([5.0, 12.0], [12.0, 16.0], 10.0)
    assert float(result) == pytest.approx(float(halves.mean()), abs=1e-12)


def test_substituted_average_clips_both_ends_like_the_corn_rule() -> None:
    result = degree_day.substituted_average_degree_days(celsius(45), celsius(95), celsius(50), celsius(86))
    assert 1.8 * float(result) == pytest.approx((50 + 86) / 2 - 50, abs=1e-9)


def test_water_degree_days_take_the_daily_mean() -> None:
    assert degree_day.water_degree_days([8.0, 10.0, 15.5], 10.0).tolist() == [0.0, 0.0, 5.5]


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: degree_day.degree_days(20.0, 10.0, 5.0), "minimum_c is 20; allowed: -90 to maximum_c, 10."),
        (lambda: degree_day.degree_days(1.0, 99.0, 5.0), "maximum_c is 99; allowed: -90 to 60."),
        (lambda: degree_day.degree_days(float("nan"), 9.0, 5.0), "minimum_c is nan; allowed: -90 to 60."),
        (
            lambda: degree_day.degree_days(1.0, 9.0, 5.0, 5.0),
            "upper_c is 5; allowed: above lower_c, 5, to 60.",
        ),
        (lambda: degree_day.expected_degree_days(1.0, 0.0, 5.0), "sd_c is 0; allowed: above 0."),
        (lambda: degree_day.water_degree_days(-1.0, 5.0), "water_c is -1; allowed: 0 to 60."),
        (
            lambda: degree_day.double_degree_days(1.0, 9.0, 70.0, 5.0),
            "next_minimum_c is 70; allowed: -90 to 60.",
        ),
    ],
)
def test_bad_input_is_refused_with_a_sentence(call: Callable[[], Any], sentence: str) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(sentence)}$"):
        call()


def test_an_unknown_shape_is_refused() -> None:
    with pytest.raises(ValueError, match=r"shape is 'square'; allowed: sine, triangle."):
        degree_day.degree_days(1.0, 9.0, 5.0, shape="square")  # type: ignore[arg-type]
