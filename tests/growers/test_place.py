"""Cells, and what is said of them."""

import zoneinfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from growers import place
from growers.place import Cell, cell_at

ROWS = st.integers(-180, 179)
COLUMNS = st.integers(-360, 359)
WITHIN = st.floats(0.0, 0.5, exclude_max=True)


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "centre"),
    [
        (48.85, 2.35, Cell(48.75, 2.25)),
        (-33.9, 18.4, Cell(-33.75, 18.25)),
        (0.0, 0.0, Cell(0.25, 0.25)),
        (-0.0, -1e-300, Cell(0.25, -0.25)),
        (48.5, 2.5, Cell(48.75, 2.75)),
        (90.0, 180.0, Cell(89.75, -179.75)),
        (-90.0, -180.0, Cell(-89.75, -179.75)),
        (89.999, 179.999, Cell(89.75, 179.75)),
    ],
)
def test_a_point_lies_in_its_cell(latitude_deg: float, longitude_deg: float, centre: Cell) -> None:
    assert cell_at(latitude_deg, longitude_deg) == centre


@given(ROWS, COLUMNS, WITHIN, WITHIN)
def test_every_point_of_a_cell_gives_the_same_centre(row: int, column: int, up: float, right: float) -> None:
    south, west = row / 2, column / 2
    latitude_deg, longitude_deg = south + up, west + right
    if latitude_deg < south + 0.5 and longitude_deg < west + 0.5:  # a sum may round up to the next cell
        assert cell_at(latitude_deg, longitude_deg) == Cell(south + 0.25, west + 0.25)


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_a_centre_is_its_own_cell_and_no_further_than_its_edge(latitude: float, longitude: float) -> None:
    centre = cell_at(latitude, longitude)
    assert cell_at(centre.latitude_deg, centre.longitude_deg) == centre
    assert abs(centre.latitude_deg - latitude) <= 0.25
    assert abs(centre.longitude_deg - longitude) <= 0.25 or longitude == 180.0


@pytest.mark.parametrize(
    ("latitude", "longitude"), [(90.1, 0), (0, -180.1), (float("nan"), 0), (0, float("inf"))]
)
def test_a_point_off_the_earth_has_no_cell(latitude: float, longitude: float) -> None:
    with pytest.raises(ValueError, match="allowed: -90 to 90, -180 to 180"):
        cell_at(latitude, longitude)


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone", "country"),
    [
        (48.75, 2.25, "Europe/Paris", "FR"),
        (-33.75, 18.75, "Africa/Johannesburg", "ZA"),
        (13.75, 100.75, "Asia/Bangkok", "TH"),
        (30.25, -97.75, "America/Chicago", "US"),
        (-27.75, 152.75, "Australia/Brisbane", "AU"),
        (30.25, -40.25, "Etc/GMT+3", "PT"),  # at sea: the country declared
    ],
)
def test_zone_and_country_are_those_of_the_centre(
    latitude: float, longitude: float, zone: str, country: str
) -> None:
    assert place.cell_zone(Cell(latitude, longitude)) == zone
    assert place.zone_country(zone, declared="PT") == country


@given(ROWS, COLUMNS)
def test_every_cell_has_a_zone_that_the_clock_knows(row: int, column: int) -> None:
    zone = place.cell_zone(Cell(row / 2 + 0.25, column / 2 + 0.25))
    assert zone in place.zones()
    assert zoneinfo.ZoneInfo(zone).key == zone
    assert place.zone_country(zone, declared="FR") in place.countries()


def test_zones_and_countries_are_those_of_the_standards() -> None:
    assert "Europe/Paris" in place.zones()
    assert not {"Mars/Olympus", "Factory", "localtime", "posix/Europe/Paris"} & place.zones()
    assert len(place.countries()) == 249  # officially assigned alpha-2 codes, ISO 3166-1
    assert place.countries()["FR"] == "France"
    assert place.zone_countries()["Asia/Urumqi"] == "CN"


@pytest.mark.parametrize(
    ("zone", "country", "words"),
    [
        ("Europe/Paris", "FR", "Europe"),
        ("America/Bogota", "CO", "Americas"),
        ("Pacific/Honolulu", "US", "Oceania"),
        ("Indian/Mauritius", "MU", "Indian Ocean islands"),
        ("Etc/GMT+3", "PT", "Europe"),
        ("Etc/GMT", "BV", "at sea"),  # a country without a zone of its own
    ],
)
def test_a_zone_lies_in_a_part_of_the_world(zone: str, country: str, words: str) -> None:
    assert place.part_of_the_world(zone, country) == words


@pytest.mark.parametrize(
    ("latitude_deg", "words"),
    [
        (0.25, "tropical"),
        (-23.25, "tropical"),
        (23.75, "northern subtropical"),
        (-34.75, "southern subtropical"),
        (35.25, "northern temperate"),
        (-54.75, "southern temperate"),
        (55.25, "northern cool"),
    ],
)
def test_a_latitude_lies_in_a_band(latitude_deg: float, words: str) -> None:
    assert place.climate_band(latitude_deg) == words


@pytest.mark.parametrize(
    ("zone", "latitude_deg", "longitude_deg"),
    [
        ("Europe/Paris", 48.75, 2.25),  # zone.tab: +4852+00220
        ("America/New_York", 40.75, -74.25),  # +404251-0740023
        ("Australia/Sydney", -33.75, 151.25),  # -3352+15113
    ],
)
def test_a_zone_has_the_cell_of_its_principal_place(
    zone: str, latitude_deg: float, longitude_deg: float
) -> None:
    assert place.zone_cell(zone) == place.Cell(latitude_deg, longitude_deg)


def test_every_land_zone_has_a_cell_and_no_other() -> None:
    assert len({place.zone_cell(zone) for zone in place.zone_countries()}) > 300
    with pytest.raises(KeyError):
        place.zone_cell("Etc/GMT+2")
