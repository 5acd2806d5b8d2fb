"""Climate of cells: file values, cells at the edges of the map, the daily curve, the packing."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.science import climate
from exchange.science.data import build_climate
from tests.published import Row, cases

LATITUDES = st.floats(-90.0, 90.0)
LONGITUDES = st.floats(-180.0, 180.0)
PROJECT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    "row", cases("climate", "point_monthly_mean", "city_monthly_mean", "cell_monthly_mean")
)
def test_published_monthly_means(row: Row) -> None:
    place = climate.climate_of(row.inputs["latitude_deg"], row.inputs["longitude_deg"])
    row.check(place.monthly_mean_c[row.inputs["month"] - 1])


@pytest.mark.parametrize("row", cases("climate", "daily_air"))
def test_published_daily_curve(row: Row) -> None:
    air_c = climate.daily_air_temperature(np.array(row.inputs["monthly_mean_c"]))
    row.check(air_c[row.inputs["day_of_year"] - 1])


@pytest.mark.parametrize("row", cases("climate", "worst_month"))
def test_published_fit_of_months(row: Row) -> None:
    monthly_c = np.array(row.inputs["monthly_mean_c"])
    fitted_c = climate.monthly_mean(climate.daily_air_temperature(monthly_c))
    row.check(np.abs(fitted_c - monthly_c).max())


@given(LATITUDES, LONGITUDES)
def test_a_cell_contains_its_places_and_its_centre_gives_itself(latitude: float, longitude: float) -> None:
    centre = climate.cell_centre(latitude, longitude)
    assert abs(centre[0] - latitude) <= 0.25
    assert min(abs(centre[1] - longitude), 360.0 - abs(centre[1] - longitude)) <= 0.25
    assert climate.cell_centre(*centre) == centre
    assert abs(centre[0]) <= 89.75
    assert abs(centre[1]) <= 179.75


@given(LATITUDES, LONGITUDES, st.floats(0.0, 0.499), st.floats(0.0, 0.499))
def test_every_place_in_a_cell_gives_the_same_answer(
    latitude: float, longitude: float, north: float, east: float
) -> None:
    centre = climate.cell_centre(latitude, longitude)
    place = climate.climate_of(centre[0] - 0.25 + north, centre[1] - 0.25 + east)
    assert (place.latitude_deg, place.longitude_deg) == centre
    assert place.monthly_mean_c.tolist() == climate.climate_of(latitude, longitude).monthly_mean_c.tolist()


@pytest.mark.parametrize(
    ("latitude", "longitude", "centre"),
    [
        (0.0, 0.0, (0.25, 0.25)),
        (-1e-300, -1e-300, (-0.25, -0.25)),
        (49.5, 1.5, (49.75, 1.75)),
        (10.0, 180.0, (10.25, -179.75)),
        (10.0, -180.0, (10.25, -179.75)),
        (90.0, 12.0, (89.75, 12.25)),
        (-90.0, 12.0, (-89.75, 12.25)),
    ],
)
def test_edges_of_cells_and_of_the_map(
    latitude: float, longitude: float, centre: tuple[float, float]
) -> None:
    assert climate.cell_centre(latitude, longitude) == centre
    place = climate.climate_of(latitude, longitude)
    assert (place.latitude_deg, place.longitude_deg) == centre


def test_seasons_and_poles_are_the_right_way_round() -> None:
    north, south = climate.climate_of(48.0, 2.0), climate.climate_of(-34.0, 151.0)
    assert north.monthly_mean_c.argmax() == 6
    assert south.monthly_mean_c.argmax() in (0, 1)
    assert climate.climate_of(-80.0, 100.0).monthly_mean_c.mean() < -45.0
    assert climate.climate_of(0.0, -60.0).monthly_mean_c.min() > 24.0


def test_a_looked_up_climate_cannot_be_changed_by_its_user() -> None:
    with pytest.raises(ValueError, match=r"read-only"):
        climate.climate_of(48.0, 2.0).monthly_mean_c[0] = 0.0


def test_lookup_does_not_depend_on_the_working_directory(tmp_path: Path) -> None:
    program = "from exchange.science.climate import climate_of; print(climate_of(48, 2).monthly_mean_c[6])"
    printed = subprocess.run(
        [sys.executable, "-c", program],
        cwd=tmp_path,
        env={"PYTHONPATH": str(PROJECT), "OMP_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert float(printed) == climate.climate_of(48.0, 2.0).monthly_mean_c[6]


@given(st.floats(-60.0, 40.0))
def test_a_place_without_seasons_has_the_same_temperature_every_day(mean_c: float) -> None:
    air_c = climate.daily_air_temperature(np.full(12, mean_c))
    assert air_c == pytest.approx(np.full(365, mean_c), abs=1e-9)


@given(st.floats(-10.0, 25.0), st.lists(st.floats(-5.0, 5.0), min_size=6, max_size=6))
def test_a_year_of_three_waves_is_recovered_from_its_month_means(mean_c: float, sizes: list[float]) -> None:
    angle = 2.0 * np.pi * np.arange(365) / 365.0
    waves = [wave(order * angle) for order in (1, 2, 3) for wave in (np.cos, np.sin)]
    year_c = mean_c + sum(size * wave for size, wave in zip(sizes, waves, strict=True))
    monthly_c = climate.monthly_mean(year_c)
    assert climate.daily_air_temperature(monthly_c) == pytest.approx(year_c, abs=1e-6)


def test_packing_is_undone_exactly() -> None:
    shape = (12, climate.ROWS, climate.COLUMNS)
    tenths = np.random.default_rng(7).integers(-900, 600, shape, dtype=np.int16)
    assert np.array_equal(climate.unpack_tenths(build_climate.pack_tenths(tenths)), tenths)


def test_cell_mean_leans_to_no_edge() -> None:
    rows, columns = np.arange(5.0), np.arange(7.0)
    plane = (3.0 * rows[:, None] - 2.0 * columns[None, :])[None]
    centres = 3.0 * np.array([1.0, 3.0])[:, None] - 2.0 * np.array([1.0, 3.0, 5.0])[None, :]
    assert build_climate.cell_mean(plane) == pytest.approx(centres[None], abs=1e-12)


def test_cell_mean_weighs_the_middle_point_by_its_area() -> None:
    peak = np.zeros((1, 3, 3))
    peak[0, 1, 1] = 1.0
    assert build_climate.cell_mean(peak).item() == 0.25


def test_the_data_file_stays_small() -> None:
    assert build_climate.TARGET.stat().st_size < 1_100_000


def test_bad_input_is_refused_with_a_sentence() -> None:
    with pytest.raises(ValueError, match=r"^latitude_deg is 95; allowed: -90 to 90.$"):
        climate.climate_of(95.0, 0.0)
    with pytest.raises(ValueError, match=r"^longitude_deg is 180.5; allowed: -180 to 180.$"):
        climate.cell_centre(0.0, 180.5)
    with pytest.raises(ValueError, match=r"^latitude_deg is nan; allowed: -90 to 90.$"):
        climate.cell_centre(float("nan"), 0.0)
    with pytest.raises(ValueError, match=r"^monthly_mean_c has shape \(11,\); allowed: \(12,\).$"):
        climate.daily_air_temperature(np.zeros(11))
    with pytest.raises(ValueError, match=r"^monthly_mean_c is 288; allowed: -90 to 60.$"):
        climate.daily_air_temperature(np.full(12, 288.0))
    with pytest.raises(ValueError, match=r"^daily has 364 days; allowed: 365.$"):
        climate.monthly_mean(np.zeros(364))
    with pytest.raises(ValueError, match=r"^raw has 3 bytes; allowed: 6220800.$"):
        climate.unpack_tenths(b"abc")
