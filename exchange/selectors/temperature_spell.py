"""Readings of a logger as stretches of time; gaps are assumed warm and say so."""

from collections.abc import Iterable, Iterator
from itertools import pairwise

import numpy as np

from exchange.models import Lot, Stay, TemperatureUpload
from exchange.science.arrays import FloatArray
from exchange.science.constants import SWITCHED_OFF_TEMPERATURE_C
from exchange.science.logger_history import (
    inside_interval,
    marked_gaps,
    usual_interval_seconds,
)
from exchange.science.logger_packing import unpack_readings
from exchange.science.logger_stamp import SECONDS_PER_HOUR
from exchange.science.lot_course import Spell, steady_spell
from exchange.selectors.lot_time import cut_at


def logger_spells(lot: Lot, upload: TemperatureUpload, ambient_c: float) -> Iterator[Spell]:
    """The stretches of one upload in hours since the cutting; the upload's packet is loaded.

    A marked gap is one steady stretch at the warmest that is plausible: ``ambient_c``, as of ``gap_c``, or
    a reading beside it if that is warmer.
    """
    seconds, temperature_c, interval = counted_readings(lot, upload)
    hours = (seconds - cut_at(lot).timestamp()) / SECONDS_PER_HOUR
    gaps = np.flatnonzero(marked_gaps(seconds, interval))
    for first, last in pairwise([-1, *gaps.tolist(), len(seconds) - 1]):
        if first >= 0:
            warmest = max(ambient_c, float(temperature_c[first : first + 2].max()))
            yield steady_spell(float(hours[first]), float(hours[first + 1]), warmest, "logger_gap")
        if last > first + 1:
            measured = slice(first + 1, last + 1)
            yield Spell(hours[measured], temperature_c[measured], "logger")


def gap_c(stays: Iterable[Stay]) -> float:
    """What is assumed where a logger was silent, °C: a room, or round a parcel on the way if warmer."""
    ambient = (stay.ambient_c for stay in stays if stay.ambient_c is not None)
    return max([SWITCHED_OFF_TEMPERATURE_C.value, *ambient])


def counted_readings(lot: Lot, upload: TemperatureUpload) -> tuple[FloatArray, FloatArray, float]:
    """Times in epoch seconds and temperatures, °C, that are this thing's own; the log's usual interval, s.

    Left out is what the logger read before the cutting, before the packet was filled, and outside the time
    for which it lay with the pollen.
    """
    seconds, temperature_c = unpack_readings(bytes(upload.readings or b""))
    first = max(cut_at(lot), upload.began_at)
    if upload.packet is not None:
        first = max(first, upload.packet.filled_at)
    inside = inside_interval(seconds, first, max(first, upload.ended_at))
    own = np.asarray(temperature_c[inside], dtype=np.float64)
    return seconds[inside], own, usual_interval_seconds(seconds)
