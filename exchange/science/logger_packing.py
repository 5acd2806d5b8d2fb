"""Readings as bytes and back, bit by bit."""

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.logger_text import LoggerFileError

TemperatureArray = NDArray[np.float32] | NDArray[np.float64]

VERSION = 1
HEAD = struct.Struct("<BBI")
TIME_TYPE = np.dtype("<f8")
TEMPERATURE_TYPES: dict[int, np.dtype[np.floating]] = {4: np.dtype("<f4"), 8: np.dtype("<f8")}
MOST_READINGS = int(constants.LOGGER_ROWS.value)


def pack_readings(epoch_seconds: FloatArray, temperature_c: TemperatureArray) -> bytes:
    """Pack readings exactly.

    Parameters
    ----------
    epoch_seconds : FloatArray
        Shape (k,), at most 500,000.
    temperature_c : array of float32 or float64
        Shape (k,).

    Returns
    -------
    bytes
        Version, bytes of a temperature, number of readings; then, by zlib, all first bytes of the times,
        all second bytes …, and the temperatures likewise: equal bytes beside each other pack small.

    Raises
    ------
    ValueError
        If shapes differ, there are too many, or the type is another.
    """
    kind = TEMPERATURE_TYPES.get(temperature_c.dtype.itemsize)
    if epoch_seconds.ndim != 1 or epoch_seconds.shape != temperature_c.shape:
        raise ValueError(f"epoch_seconds has shape {epoch_seconds.shape}; allowed: one a temperature.")
    if kind is None or temperature_c.dtype.kind != "f" or epoch_seconds.dtype != np.float64:
        raise ValueError(f"temperature_c is of {temperature_c.dtype}; allowed: float32, float64.")
    if len(epoch_seconds) > MOST_READINGS:
        raise ValueError(f"epoch_seconds has {len(epoch_seconds)}; allowed: {MOST_READINGS} at most.")
    body = _planes(epoch_seconds, TIME_TYPE) + _planes(temperature_c, kind)
    return HEAD.pack(VERSION, kind.itemsize, len(epoch_seconds)) + zlib.compress(body)


def unpack_readings(packed: bytes) -> tuple[FloatArray, TemperatureArray]:
    """Give back what was packed, each bit the same.

    Parameters
    ----------
    packed : bytes
        From ``pack_readings``.

    Returns
    -------
    tuple
        ``epoch_seconds`` and ``temperature_c`` in its own type, shape (k,) each.

    Raises
    ------
    LoggerFileError
        ``packed_unreadable`` if these are other bytes.
    """
    if len(packed) < HEAD.size:
        raise LoggerFileError("packed_unreadable")
    version, size, count = HEAD.unpack_from(packed)
    if version != VERSION or size not in TEMPERATURE_TYPES or count > MOST_READINGS:
        raise LoggerFileError("packed_unreadable", version=version)
    body = _unpacked(packed[HEAD.size :], count * (TIME_TYPE.itemsize + size))
    border = count * TIME_TYPE.itemsize
    times = _joined(body[:border], TIME_TYPE)
    return times.astype(np.float64), _joined(body[border:], TEMPERATURE_TYPES[size])


def _unpacked(content: bytes, length: int) -> bytes:
    reader = zlib.decompressobj()
    try:
        body = reader.decompress(content, length + 1)
    except zlib.error as error:
        raise LoggerFileError("packed_unreadable") from error
    if len(body) != length or not reader.eof or reader.unused_data:
        raise LoggerFileError("packed_unreadable")
    return body


def _planes(values: NDArray[np.floating], kind: np.dtype[np.floating]) -> bytes:
    rows = np.frombuffer(np.ascontiguousarray(values, dtype=kind).tobytes(), dtype=np.uint8)
    return rows.reshape(-1, kind.itemsize).T.tobytes()


def _joined(planes: bytes, kind: np.dtype[np.floating]) -> TemperatureArray:
    columns = np.frombuffer(planes, dtype=np.uint8).reshape(kind.itemsize, -1)
    joined: TemperatureArray = np.frombuffer(columns.T.tobytes(), dtype=kind)
    return joined
