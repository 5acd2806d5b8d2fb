"""Parcel temperatures and what they cost, against published rows, quadrature and monotony."""

from dataclasses import replace
from itertools import pairwise
from math import exp, inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from exchange.science.parcel import (
    DEFAULT_PACKING,
    UNCOOLED_PACKING,
    Packing,
    ambient_temperature_c,
    heat_class_c,
    hours_below,
    hours_cold,
    parcel_temperature_c,
    thermal_age_in_parcel_days,
    warm_up_time_constant_hours,
)
from tests.published import Row, cases

WARM_COOLANT = replace(DEFAULT_PACKING, coolant_melting_c=5.0)
COLD_COOLANT = replace(DEFAULT_PACKING, coolant_melting_c=-20.0)
COLD, WARM, Q10 = -40.0, 60.0, 2.2


def packing_of(row: Row) -> Packing:
    return Packing(
        inside_cm=tuple(row.inputs["inside_cm"]),
        wall_cm=row.inputs["wall_cm"],
        conductivity_w_m_k=row.inputs["conductivity_w_m_k"],
        ice_kg=row.inputs["ice_kg"],
        payload_kg=row.inputs["payload_kg"],
        payload_heat_j_kg_k=row.inputs["payload_heat_j_kg_k"],
    )


def age(packing: Packing, ambient_c: float, hours: float, q10: float = Q10) -> float:
    return float(thermal_age_in_parcel_days(packing, ambient_c, np.array([hours]), np.array([q10]))[0, 0])


@pytest.mark.parametrize("row", cases("parcel", "hours_cold"))
def test_melting_takes_the_published_hours(row: Row) -> None:
    row.check(hours_cold(packing_of(row), row.inputs["ambient_c"]))


@pytest.mark.parametrize("row", cases("parcel", "time_constant"))
def test_warm_up_has_the_published_time_constant(row: Row) -> None:
    row.check(warm_up_time_constant_hours(packing_of(row)))


@pytest.mark.parametrize("row", cases("parcel", "hours_below"))
def test_parcel_stays_below_a_limit_for_the_published_hours(row: Row) -> None:
    row.check(hours_below(packing_of(row), row.inputs["ambient_c"], row.inputs["limit_c"]))


@pytest.mark.parametrize("row", cases("parcel", "warm_up_to"))
def test_warm_up_reaches_a_limit_after_the_published_hours(row: Row) -> None:
    packing, ambient = packing_of(row), row.inputs["ambient_c"]
    row.check(hours_below(packing, ambient, row.inputs["limit_c"]) - hours_cold(packing, ambient))


@pytest.mark.parametrize("row", cases("parcel", "hours_at_5c"))
def test_warm_hours_count_as_more_hours_at_five_degrees(row: Row) -> None:
    q10 = row.inputs["q10"]
    warm = age(UNCOOLED_PACKING, row.inputs["ambient_c"], row.inputs["hours"], q10)
    row.check(warm / age(UNCOOLED_PACKING, 5.0, 1.0, q10))


@pytest.mark.parametrize("row", cases("parcel", "ambient"))
def test_ambient_is_warmer_than_the_month_within_the_range(row: Row) -> None:
    row.check(ambient_temperature_c(row.inputs["monthly_mean_c"]))


def test_temperature_is_flat_while_ice_melts_then_continuous_and_rising() -> None:
    melted = hours_cold(DEFAULT_PACKING, 25.0)
    tau = warm_up_time_constant_hours(DEFAULT_PACKING)
    hours = np.array([0.0, melted, melted + tau, 1000.0])
    expected = [0.0, 0.0, 25.0 * (1.0 - exp(-1.0)), 25.0]
    assert parcel_temperature_c(DEFAULT_PACKING, 25.0, hours) == pytest.approx(expected, abs=1e-9)


def test_temperature_at_the_hours_below_a_limit_is_that_limit() -> None:
    hours = hours_below(DEFAULT_PACKING, 25.0, 8.0)
    assert parcel_temperature_c(DEFAULT_PACKING, 25.0, np.array([hours]))[0] == pytest.approx(8.0, abs=1e-12)


def test_frost_cools_a_frozen_parcel_and_melts_nothing() -> None:
    assert hours_cold(DEFAULT_PACKING, -10.0) == inf
    assert hours_cold(DEFAULT_PACKING, 5e-324) == inf
    assert hours_below(DEFAULT_PACKING, -10.0, 8.0) == inf
    tau = warm_up_time_constant_hours(DEFAULT_PACKING, coolant_frozen=True)
    assert tau < warm_up_time_constant_hours(DEFAULT_PACKING)
    temperature = parcel_temperature_c(DEFAULT_PACKING, -10.0, np.array([0.0, tau]))
    assert temperature == pytest.approx([0.0, -10.0 * (1.0 - exp(-1.0))], abs=1e-12)


def test_hours_below_are_none_when_the_parcel_starts_warmer() -> None:
    assert hours_below(WARM_COOLANT, 25.0, 4.0) == 0.0
    assert hours_below(UNCOOLED_PACKING, 25.0, 8.0) == 0.0
    assert hours_below(UNCOOLED_PACKING, 5.0, 8.0) == inf


def test_envelope_has_the_ambient_temperature_at_once() -> None:
    hours = np.array([0.0, 1.0, 72.0])
    assert hours_cold(UNCOOLED_PACKING, 25.0) == 0.0
    assert parcel_temperature_c(UNCOOLED_PACKING, 25.0, hours).tolist() == [25.0, 25.0, 25.0]
    expected = hours / 24.0 * Q10**2.1
    ages = thermal_age_in_parcel_days(UNCOOLED_PACKING, 25.0, hours, np.array([Q10]))
    assert ages[0] == pytest.approx(expected, rel=1e-12, abs=1e-15)


@pytest.mark.parametrize("packing", [DEFAULT_PACKING, WARM_COOLANT, COLD_COOLANT])
@pytest.mark.parametrize("ambient_c", [-40.0, -5.0, 0.0, 1e-9, 3.0, 5.0, 25.0, 60.0])
@pytest.mark.parametrize("hours", [1.0, 30.0, 360.0])
@pytest.mark.parametrize("q10", [0.8, 1.0, 2.2, 6.0])
def test_age_is_the_quadrature_of_the_rate_along_the_temperature(
    packing: Packing, ambient_c: float, hours: float, q10: float
) -> None:
    def rate(hour: float) -> float:
        temperature = parcel_temperature_c(packing, ambient_c, np.array([hour]))[0]
        return float(q10 ** ((max(temperature, 0.0) - 4.0) / 10.0))

    kinks = {hours_cold(packing, ambient_c), hours_below(packing, ambient_c, 0.0)}
    if ambient_c < 0.0 < packing.coolant_melting_c:
        tau = warm_up_time_constant_hours(packing, coolant_frozen=True)
        kinks.add(tau * np.log((packing.coolant_melting_c - ambient_c) / -ambient_c))
    edges = [0.0, *sorted(kink for kink in kinks if 0.0 < kink < hours), hours]
    expected = sum(quad(rate, *pair, epsrel=1e-10, limit=200)[0] for pair in pairwise(edges))
    assert age(packing, ambient_c, hours, q10) == pytest.approx(expected / 24.0, rel=1e-8)


def test_draws_are_rows_and_hours_are_columns() -> None:
    ages = thermal_age_in_parcel_days(
        DEFAULT_PACKING, 25.0, np.array([24.0, 48.0, 72.0]), np.array([1.5, 2.2])
    )
    assert ages.shape == (2, 3)
    assert ages[1, 2] == pytest.approx(age(DEFAULT_PACKING, 25.0, 72.0, 2.2), rel=1e-12)
    assert ages[0, 2] < ages[1, 2]


def test_frost_earns_no_credit_beyond_freezing_point() -> None:
    expected = 2.0 * Q10**-0.4
    assert age(DEFAULT_PACKING, -30.0, 48.0) == pytest.approx(expected, rel=1e-12)
    assert age(UNCOOLED_PACKING, -30.0, 48.0) == pytest.approx(expected, rel=1e-12)


@given(first=st.floats(0.0, 400.0), later=st.floats(0.0, 400.0), ambient_c=st.floats(COLD, WARM))
def test_age_never_falls_with_time(first: float, later: float, ambient_c: float) -> None:
    early, late = sorted((first, later))
    assert age(DEFAULT_PACKING, ambient_c, early) <= age(DEFAULT_PACKING, ambient_c, late) + 1e-12


@given(one=st.floats(COLD, WARM), other=st.floats(COLD, WARM), hours=st.floats(0.0, 400.0))
@pytest.mark.parametrize("packing", [DEFAULT_PACKING, WARM_COOLANT, COLD_COOLANT, UNCOOLED_PACKING])
def test_age_and_temperature_never_fall_with_ambient(
    packing: Packing, one: float, other: float, hours: float
) -> None:
    cool, hot = sorted((one, other))
    when = np.array([hours])
    assert age(packing, cool, hours) <= age(packing, hot, hours) + 1e-9
    assert parcel_temperature_c(packing, cool, when)[0] <= parcel_temperature_c(packing, hot, when)[0] + 1e-9


@given(less=st.floats(0.01, 0.6), more=st.floats(0.01, 0.6), hours=st.floats(0.0, 400.0))
def test_more_ice_never_ages_more(less: float, more: float, hours: float) -> None:
    small, large = sorted((less, more))
    with_small = age(replace(DEFAULT_PACKING, ice_kg=small), 25.0, hours)
    assert age(replace(DEFAULT_PACKING, ice_kg=large), 25.0, hours) <= with_small + 1e-12


@given(ambient_c=st.floats(-90.0, 60.0, allow_subnormal=False))
def test_heat_class_is_the_next_step_of_two_and_a_half_degrees(ambient_c: float) -> None:
    assert 0.0 <= heat_class_c(ambient_c) - ambient_c <= 2.5
    assert heat_class_c(ambient_c) % 2.5 == 0.0


@pytest.mark.parametrize(
    ("ambient_c", "sentence"),
    [(95.0, "ambient_c is 95; allowed: -90 to 60."), (float("nan"), "ambient_c is nan; allowed: -90 to 60.")],
)
def test_ambient_out_of_range_is_refused_with_its_range(ambient_c: float, sentence: str) -> None:
    for call in (
        lambda: hours_cold(DEFAULT_PACKING, ambient_c),
        lambda: parcel_temperature_c(DEFAULT_PACKING, ambient_c, np.array([1.0])),
        lambda: age(DEFAULT_PACKING, ambient_c, 1.0),
        lambda: heat_class_c(ambient_c),
    ):
        with pytest.raises(ValueError) as refusal:
            call()
        assert str(refusal.value) == sentence


def test_other_input_out_of_range_is_refused() -> None:
    with pytest.raises(ValueError, match="hours is -1; allowed"):
        age(DEFAULT_PACKING, 25.0, -1.0)
    with pytest.raises(ValueError, match="q10 is 0; allowed"):
        age(DEFAULT_PACKING, 25.0, 1.0, 0.0)
    with pytest.raises(ValueError, match="limit_c is 70; allowed"):
        hours_below(DEFAULT_PACKING, 25.0, 70.0)
    with pytest.raises(ValueError, match="warmer_monthly_mean_c is 61; allowed"):
        ambient_temperature_c(61.0)
