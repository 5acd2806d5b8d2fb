"""A packet of a dried lot on its way, and files of the logger that lay with it."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from exchange.models import Lot, Packet, Stay, TemperatureUpload
from exchange.science.logger_choice import LoggerChoices
from exchange.science.logger_layout import logger_layout
from exchange.science.logger_text import logger_text
from exchange.science.parcel import parcel_temperature_c
from exchange.selectors.packing import PACKINGS
from exchange.services.collection import offer_collect
from exchange.services.packet import packet_fill, packet_hand_over
from exchange.services.temperature import temperature_apply
from exchange.services.temperature_file import answers
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.bargain import agree, make_bargain
from tests.exchange.picture import picture_bytes
from tests.exchange.society import NOON, TODAY

HANDED_OVER = NOON + timedelta(days=2)
OPENED = HANDED_OVER + timedelta(hours=72)
MINUTES = 10
HEADING = "Time (UTC);Temperature (°C)"
UTC_CHOICES = LoggerChoices(zone="UTC")

FIELDS = {
    "delimiter": "semicolon",
    "decimal_mark": "point",
    "time_column": "Time (UTC)",
    "temperature_column": "Temperature (°C)",
    "unit": "C",
    "date_order": "year_first",
    "zone": "UTC",
    "clock": "stays",
}
"""The choices of these files as a form says them."""

Profile = Callable[[float], float]
"""Temperature, °C, so many hours after the packet was handed over."""


@dataclass(frozen=True)
class OnTheWay:
    """A lot collected at the society's noon; a packet of it, handed over two days later, 72 hours ago."""

    donor: Grower
    recipient: Grower
    lot: Lot
    packet: Packet
    stay: Stay

    def planned(self, hours: float) -> float:
        """What the parcel model reckons."""
        found = parcel_temperature_c(
            PACKINGS[self.stay.packing],  # type: ignore[index]
            self.stay.ambient_c or 0.0,
            np.array([hours]),
        )
        return float(found[0])


def on_the_way(donor: Grower, recipient: Grower, clock: MovableClock) -> OnTheWay:
    """The packet, and the clock at 72 hours after it was handed over."""
    clock.set(NOON)
    bargain = make_bargain(donor, recipient, doses=6)
    agreement = agree(bargain.pairing, doses=2)
    lot = offer_collect(actor=donor, offer=bargain.offer, doses=4, collected_on=TODAY, store="refrigerator")
    clock.set(HANDED_OVER - timedelta(hours=1))
    packet = packet_fill(actor=donor, lot=lot, doses=2, agreement=agreement)
    clock.set(HANDED_OVER)
    packet_hand_over(actor=donor, packet=packet)
    clock.set(OPENED)
    lot, packet = Lot.objects.get(pk=lot.pk), Packet.objects.get(pk=packet.pk)
    return OnTheWay(donor, recipient, lot, packet, Stay.objects.get(packet=packet, store=None))


def log_of(
    profile: Profile, *, first: datetime = HANDED_OVER, hours: float = 72.0, minutes: float = MINUTES
) -> bytes:
    """A file with a reading every ten minutes, to a hundredth of a degree."""
    count = round(hours * 60 / minutes) + 1
    hours_of = [place * minutes / 60.0 for place in range(count)]
    rows = (f"{first + timedelta(hours=each):%Y-%m-%d %H:%M:%S};{profile(each):.2f}" for each in hours_of)
    return "\n".join([HEADING, *rows]).encode()


def long_log(rows: int) -> bytes:
    """As many readings within the same 72 hours, between 5.0 and 5.6 °C."""
    step = 72 * 3600 / (rows - 1)
    instants = (HANDED_OVER + timedelta(seconds=round(place * step, 3)) for place in range(rows))
    lines = (f"{at:%Y-%m-%d %H:%M:%S.%f};5.{place % 7}" for place, at in enumerate(instants))
    return "\n".join([HEADING, *lines]).encode()


def make_temperature(actor: Grower, lot: Lot, *, last: datetime = NOON) -> TemperatureUpload:
    """Three hours of 5 °C before an instant at which the lot lay in its store, with a photo."""
    content = log_of(steady(5.0), first=last - timedelta(hours=3), hours=3.0)
    choices, photo = confirmed(content), picture_bytes()
    return temperature_apply(actor=actor, lot=lot, content=content, choices=choices, photo=photo)


def between(first: float, last: float, warm_c: float, other: Profile) -> Profile:
    """Another temperature from one hour to another."""
    return lambda hours: warm_c if first <= hours <= last else other(hours)


def steady(temperature_c: float) -> Profile:
    """One temperature all the way."""
    return lambda _: temperature_c


def confirmed(content: bytes, choices: LoggerChoices | None = None) -> LoggerChoices:
    """The way in which a file without open questions is read."""
    return answers(logger_layout(logger_text(content), choices or LoggerChoices()))


def instant(text: Any) -> datetime:
    """An instant as an event stores it."""
    return datetime.fromisoformat(text).astimezone(UTC)
