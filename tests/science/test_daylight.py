"""Day length and sun times: CBM table, ephemeris values, astral, dates at the edge of the day."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from astral import Observer
from astral.sun import dusk, sunrise, sunset
from hypothesis import given
from hypothesis import strategies as st

from exchange.science.daylight import day_length_hours, sun_times
from tests.published import Row, cases

# astral itself is up to 30 s off an ephemeris at sunset and 45 s at dusk.
SUN_TOLERANCE_SECONDS = {"sunrise": 30.0, "sunset": 30.0, "dusk": 45.0}


@pytest.mark.parametrize("row", cases("daylight", "day_length"))
def test_published_day_lengths(row: Row) -> None:
    row.check(day_length_hours(**row.inputs))


@pytest.mark.parametrize("row", cases("daylight", "sunrise", "sunset", "dusk"))
def test_published_sun_times(row: Row) -> None:
    place = row.inputs
    local_date = date.fromisoformat(place["local_date"])
    times = sun_times(place["latitude_deg"], place["longitude_deg"], local_date, ZoneInfo(place["zone"]))
    event = getattr(times, row.quantity)
    midnight = datetime(local_date.year, local_date.month, local_date.day, tzinfo=UTC)
    row.check((event - midnight) / timedelta(minutes=1))


@pytest.mark.parametrize("row", cases("daylight", "day_length_of_events"))
def test_sunrise_to_sunset_is_the_ephemeris_day_length(row: Row) -> None:
    place = row.inputs
    local_date = date.fromisoformat(place["local_date"])
    times = sun_times(place["latitude_deg"], place["longitude_deg"], local_date, ZoneInfo(place["zone"]))
    assert times.sunrise is not None
    assert times.sunset is not None
    row.check((times.sunset - times.sunrise) / timedelta(hours=1))


@pytest.mark.parametrize("day", range(0, 1461, 61))
@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "zone_name"),
    [
        (39.74, -104.98, "America/Denver"),
        (13.75, 100.52, "Asia/Bangkok"),
        (-33.87, 151.21, "Australia/Sydney"),
        (51.5, -0.13, "Europe/London"),
        (1.9, -157.4, "Pacific/Kiritimati"),
    ],
)
def test_sun_times_agree_with_astral_over_a_leap_cycle(
    latitude_deg: float, longitude_deg: float, zone_name: str, day: int
) -> None:
    zone, local_date = ZoneInfo(zone_name), date(2024, 1, 1) + timedelta(days=day)
    times = sun_times(latitude_deg, longitude_deg, local_date, zone)
    observer = Observer(latitude_deg, longitude_deg)
    for name, oracle in (("sunrise", sunrise), ("sunset", sunset), ("dusk", dusk)):
        event = getattr(times, name)
        difference = abs((event - oracle(observer, local_date, tzinfo=zone)).total_seconds())
        assert difference <= SUN_TOLERANCE_SECONDS[name], (name, event)
        assert event.date() == local_date


def test_denver_sunset_is_booked_under_the_local_date_not_the_utc_date() -> None:
    sunset_time = sun_times(39.74, -104.98, date(2025, 3, 20), ZoneInfo("America/Denver")).sunset
    assert sunset_time is not None
    assert abs(sunset_time - datetime(2025, 3, 21, 1, 12, tzinfo=UTC)) <= timedelta(seconds=60)
    assert (sunset_time.date(), sunset_time.hour, sunset_time.minute) == (date(2025, 3, 20), 19, 12)


def test_sydney_sunrise_is_booked_under_the_local_date_not_the_utc_date() -> None:
    sunrise_time = sun_times(-33.87, 151.21, date(2025, 6, 21), ZoneInfo("Australia/Sydney")).sunrise
    assert sunrise_time is not None
    assert sunrise_time.date() == date(2025, 6, 21)
    assert sunrise_time.astimezone(UTC).date() == date(2025, 6, 20)


def test_a_sunset_after_midnight_stays_with_its_evening() -> None:
    evening = sun_times(64.84, -147.72, date(2025, 6, 21), ZoneInfo("America/Anchorage"))
    assert evening.sunrise is not None
    assert evening.sunset is not None
    assert evening.sunset.date() == date(2025, 6, 22)
    assert timedelta(hours=21) < evening.sunset - evening.sunrise < timedelta(hours=24)
    assert evening.dusk is None


def test_polar_day_and_night_have_no_sunrise_or_sunset() -> None:
    zone = ZoneInfo("Europe/Oslo")
    summer = sun_times(69.65, 18.96, date(2025, 6, 21), zone)
    winter = sun_times(69.65, 18.96, date(2025, 12, 21), zone)
    assert (summer.sunrise, summer.sunset, summer.dusk) == (None, None, None)
    assert (winter.sunrise, winter.sunset) == (None, None)
    assert winter.dusk is not None


@pytest.mark.parametrize("latitude_deg", [90.0, -90.0])
def test_the_poles_have_whole_days_of_light_or_dark(latitude_deg: float) -> None:
    june, december = day_length_hours(latitude_deg, np.array([172.0, 355.0]))
    assert (june, december) == ((24.0, 0.0) if latitude_deg > 0.0 else (0.0, 24.0))
    times = sun_times(latitude_deg, 0.0, date(2025, 6, 21), UTC)
    assert (times.sunrise, times.sunset) == (None, None)


@given(st.floats(-90.0, 90.0), st.floats(1.0, 366.0))
def test_north_and_south_share_24_hours_when_the_centre_sets(latitude_deg: float, day: float) -> None:
    north = day_length_hours(latitude_deg, day, 0.0)
    south = day_length_hours(-latitude_deg, day, 0.0)
    assert north + south == pytest.approx(24.0, abs=1e-6)


@given(st.floats(-90.0, 90.0), st.floats(1.0, 366.0), st.floats(0.0, 17.0), st.floats(0.0, 1.0))
def test_the_lower_the_sun_may_be_the_longer_the_day(
    latitude_deg: float, day: float, depression_deg: float, more_deg: float
) -> None:
    shorter = day_length_hours(latitude_deg, day, depression_deg)
    longer = day_length_hours(latitude_deg, day, depression_deg + more_deg)
    assert 0.0 <= shorter <= longer + 1e-9
    assert longer <= 24.0


@given(
    st.floats(-60.0, 60.0),
    st.floats(-180.0, 180.0),
    st.dates(date(2000, 1, 1), date(2050, 12, 31)),
)
def test_noon_of_the_events_is_the_noon_nearest_to_local_midday(
    latitude_deg: float, longitude_deg: float, local_date: date
) -> None:
    times = sun_times(latitude_deg, longitude_deg, local_date, UTC)
    assert times.sunrise is not None
    assert times.sunset is not None
    noon = times.sunrise + (times.sunset - times.sunrise) / 2
    midday = datetime(local_date.year, local_date.month, local_date.day, 12, tzinfo=UTC)
    assert abs(noon - midday) <= timedelta(hours=12, minutes=3)


def test_day_length_keeps_the_shape_of_the_days() -> None:
    days = np.arange(1.0, 7.0).reshape(2, 3)
    assert day_length_hours(40.0, days).shape == (2, 3)
    assert isinstance(day_length_hours(40.0, 1.0), float)


def test_bad_input_is_refused_with_a_sentence() -> None:
    with pytest.raises(ValueError, match=r"^latitude_deg is 95; allowed: -90 to 90.$"):
        day_length_hours(95.0, 1.0)
    with pytest.raises(ValueError, match=r"^day_of_year is 0; allowed: 1 to 366.$"):
        day_length_hours(40.0, 0.0)
    with pytest.raises(ValueError, match=r"^depression_deg is nan; allowed: 0 to 18.$"):
        day_length_hours(40.0, 1.0, float("nan"))
    with pytest.raises(ValueError, match=r"^longitude_deg is 181; allowed: -180 to 180.$"):
        sun_times(0.0, 181.0, date(2025, 1, 1), UTC)
    with pytest.raises(ValueError, match=r"year is 1800; allowed: 1901 to 2099.$"):
        sun_times(0.0, 0.0, date(1800, 1, 1), UTC)
