"""Distances against published geodesics on four ellipsoids, and the great circle against them."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.science.distance import WGS84, Ellipsoid, Geodesic, geodesic, geodesic_km, haversine_km
from tests.published import Row, cases

LATITUDE = st.floats(-90.0, 90.0)
LONGITUDE = st.floats(-180.0, 180.0)
POINTS = ("latitude_1_deg", "longitude_1_deg", "latitude_2_deg", "longitude_2_deg")


def ellipsoid_of(inputs: dict[str, Any]) -> Ellipsoid:
    if "equatorial_radius_m" not in inputs:
        return WGS84
    return Ellipsoid(inputs["equatorial_radius_m"], 1.0 / inputs["inverse_flattening"], "row", "memory")


def line(row: Row) -> Geodesic:
    points = {name: row.inputs[name] for name in POINTS}
    return geodesic(**points, ellipsoid=ellipsoid_of(row.inputs))


@pytest.mark.parametrize("row", cases("distance", "distance"))
def test_geodesic_has_the_published_length(row: Row) -> None:
    row.check(line(row).distance_m)


@pytest.mark.parametrize("row", cases("distance", "azimuth"))
def test_geodesic_leaves_in_the_published_direction(row: Row) -> None:
    row.check(line(row).azimuth_deg)


@pytest.mark.parametrize("row", cases("distance", "arrival_azimuth"))
def test_geodesic_arrives_in_the_published_direction(row: Row) -> None:
    row.check(line(row).arrival_azimuth_deg)


@pytest.mark.parametrize("row", cases("distance", "mean_radius"))
def test_sphere_has_the_mean_radius_of_the_earth(row: Row) -> None:
    row.check(WGS84.mean_radius_km)


def test_geodesic_in_kilometres_is_that_of_wgs84() -> None:
    points = (40.6, -73.8, 49.01666667, 2.55)
    assert geodesic_km(*points) == pytest.approx(geodesic(*points).distance_m / 1000.0, rel=1e-15)
    assert geodesic_km(*points) == pytest.approx(5853.226, abs=1e-3)


def test_a_quarter_of_the_sphere_is_a_quarter_of_its_circumference() -> None:
    quarter = WGS84.mean_radius_km * np.pi / 2.0
    found = haversine_km([0.0, 0.0, 90.0], [0.0, 0.0, 10.0], [0.0, 90.0, 0.0], [90.0, 77.0, -33.0])
    assert found == pytest.approx([quarter] * 3, rel=1e-12)


def test_great_circles_broadcast_over_arrays() -> None:
    found = haversine_km(np.zeros((2, 1)), np.zeros((2, 1)), np.zeros(3), np.array([1.0, 2.0, 3.0]))
    assert found.shape == (2, 3)
    assert found[0] == pytest.approx(found[1])


@given(LATITUDE, LONGITUDE, LATITUDE, LONGITUDE)
def test_great_circle_is_close_enough_for_ranking(
    first: float, one: float, second: float, other: float
) -> None:
    exact = geodesic_km(first, one, second, other)
    assert abs(float(haversine_km(first, one, second, other)) - exact) <= 0.006 * exact + 1e-6


@given(LATITUDE, LONGITUDE, LATITUDE, LONGITUDE)
def test_distance_is_the_same_both_ways(first: float, one: float, second: float, other: float) -> None:
    there, back = geodesic_km(first, one, second, other), geodesic_km(second, other, first, one)
    assert there == pytest.approx(back, abs=1e-6)
    assert 0.0 <= there <= 20_004.0


@given(LATITUDE, LONGITUDE)
def test_antipodes_have_a_great_circle_of_half_the_circumference(latitude: float, longitude: float) -> None:
    found = haversine_km(latitude, longitude, -latitude, longitude + 180.0)
    assert float(found) == pytest.approx(np.pi * WGS84.mean_radius_km, rel=1e-7)


@pytest.mark.parametrize(
    ("points", "sentence"),
    [
        ((95.0, 0.0, 0.0, 0.0), "latitude_1_deg is 95; allowed: -90 to 90."),
        ((0.0, 0.0, -91.0, 0.0), "latitude_2_deg is -91; allowed: -90 to 90."),
        ((0.0, 400.0, 0.0, 0.0), "longitude_1_deg is 400; allowed: -360 to 360."),
        ((0.0, 0.0, 0.0, float("nan")), "longitude_2_deg is nan; allowed: -360 to 360."),
    ],
)
def test_impossible_points_are_refused_by_name(
    points: tuple[float, float, float, float], sentence: str
) -> None:
    for function in (geodesic_km, haversine_km):
        with pytest.raises(ValueError) as refusal:
            function(*points)
        assert str(refusal.value) == sentence
