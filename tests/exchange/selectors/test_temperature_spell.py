"""An upload as stretches of time: measured ones, gaps, and nothing from before its pollen."""

from datetime import timedelta

import numpy as np
import pytest

from exchange.models import Packet, Stay, TemperatureUpload
from exchange.science.logger_packing import pack_readings
from exchange.selectors.lot_record import lots_loaded
from exchange.selectors.temperature_spell import gap_c, logger_spells
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.logger import HANDED_OVER, OnTheWay, on_the_way

pytestmark = pytest.mark.django_db

CUT_TO_HANDED_OVER = 53.0
"""Hours: collected at 9 on a July morning of Paris, which is 7 UTC, two days before noon UTC."""


@pytest.fixture
def parcel(donor: Grower, recipient: Grower, clock: MovableClock) -> OnTheWay:
    return on_the_way(donor, recipient, clock)


def spells(
    parcel: OnTheWay, hours: list[float], temperature_c: list[float], packet: Packet | None = None
) -> list[tuple[str, list[float], list[float]]]:
    """Source, hours after the packet was handed over, temperatures."""
    seconds = HANDED_OVER.timestamp() + np.array(hours) * 3600.0
    upload = TemperatureUpload(
        lot=parcel.lot,
        packet=packet,
        began_at=HANDED_OVER + timedelta(hours=hours[0]),
        ended_at=HANDED_OVER + timedelta(hours=hours[-1]),
        readings=pack_readings(seconds, np.array(temperature_c, dtype=np.float32)),
    )
    (lot,) = lots_loaded([parcel.lot])
    return [
        (
            each.source,
            [round(float(hour) - CUT_TO_HANDED_OVER, 6) for hour in each.hours],
            each.temperature_c.tolist(),
        )
        for each in logger_spells(lot, upload, 24.0)
    ]


def test_readings_without_a_gap_are_one_stretch(parcel: OnTheWay) -> None:
    assert spells(parcel, [0, 1, 2, 3], [5, 6, 7, 6]) == [("logger", [0, 1, 2, 3], [5, 6, 7, 6])]


def test_a_gap_is_as_warm_as_is_plausible_or_as_a_reading_beside_it(parcel: OnTheWay) -> None:
    assert spells(parcel, [0, 1, 2, 8, 9, 10, 20], [5, 5, 5, 6, 6, 30, 5]) == [
        ("logger", [0, 1, 2], [5, 5, 5]),
        ("logger_gap", [2, 8], [24, 24]),
        ("logger", [8, 9, 10], [6, 6, 30]),
        ("logger_gap", [10, 20], [30, 30]),
    ]


def test_a_single_reading_between_gaps_is_where_they_meet(parcel: OnTheWay) -> None:
    assert spells(parcel, [0, 1, 2, 3, 9, 15], [5, 5, 5, 5, 7, 5])[1:] == [
        ("logger_gap", [3, 9], [24, 24]),
        ("logger_gap", [9, 15], [24, 24]),
    ]


def test_nothing_counts_from_before_the_cutting(parcel: OnTheWay) -> None:
    hours = [-54.0, -53.5, -53.0, -52.5, -52.0]
    assert spells(parcel, hours, [40, 40, 5, 5, 5]) == [("logger", [-53.0, -52.5, -52.0], [5, 5, 5])]


def test_nothing_counts_from_before_a_packet_was_filled(parcel: OnTheWay) -> None:
    hours = [-3.0, -2.0, -1.0, 0.0, 1.0, 2.0]  # it was filled a moment after −1
    assert spells(parcel, hours, [40, 40, 40, 5, 5, 5], parcel.packet) == [
        ("logger", [0.0, 1.0, 2.0], [5, 5, 5])
    ]


def test_too_few_readings_are_no_stretch(parcel: OnTheWay) -> None:
    assert spells(parcel, [-3.0, -2.0, -1.0, 0.0], [5, 5, 5, 5], parcel.packet) == []


@pytest.mark.parametrize(("ambient_c", "expected"), [([], 22.0), ([18.0], 22.0), ([18.0, 27.5], 27.5)])
def test_a_gap_is_a_room_or_the_air_round_a_parcel_if_that_is_warmer(
    ambient_c: list[float], expected: float
) -> None:
    assert gap_c([Stay(), *[Stay(ambient_c=each) for each in ambient_c]]) == expected
