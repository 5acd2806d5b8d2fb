import struct
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from exchange.science.arrays import FloatArray
from exchange.science.logger_packing import TemperatureArray, pack_readings, unpack_readings
from exchange.science.logger_text import LoggerFileError

PAIRS = st.integers(0, 40).flatmap(
    lambda size: st.tuples(
        arrays.arrays(np.float64, size),
        st.one_of(arrays.arrays(np.float32, size), arrays.arrays(np.float64, size)),
    )
)


@given(PAIRS)
def test_what_is_unpacked_is_what_was_packed_bit_by_bit(pair: tuple[FloatArray, TemperatureArray]) -> None:
    times, temperatures = unpack_readings(pack_readings(*pair))
    assert times.dtype == np.float64 and temperatures.dtype == pair[1].dtype
    assert times.tobytes() == pair[0].tobytes()
    assert temperatures.tobytes() == pair[1].tobytes()


def test_the_bytes_stay_what_they_are() -> None:
    """Rows stored by an older version are read by a newer one: the form may not move."""
    packed = pack_readings(np.array([0.0, 1.0]), np.array([4.5, -0.5], dtype=np.float32))
    times, degrees = struct.pack("<2d", 0.0, 1.0), struct.pack("<2f", 4.5, -0.5)
    planes = [times[each::8] for each in range(8)] + [degrees[each::4] for each in range(4)]
    assert packed[:6] == b"\x01\x04\x02\x00\x00\x00"
    assert zlib.decompress(packed[6:]) == b"".join(planes)


def test_a_regular_log_packs_small() -> None:
    seconds = np.arange(1.78e9, 1.78e9 + 600_000.0, 60.0)
    packed = pack_readings(seconds, np.full(10_000, 4.5, dtype=np.float32))
    assert len(packed) < 10_000


@given(st.binary(max_size=60))
def test_other_bytes_are_refused(content: bytes) -> None:
    with pytest.raises(LoggerFileError, match="packed_unreadable"):
        unpack_readings(content)


def test_a_packing_cut_short_or_of_another_version_is_refused() -> None:
    packed = pack_readings(np.arange(5.0), np.arange(5.0))
    bomb = packed[:6] + zlib.compress(b"\0" * 10_000_000)
    for wrong in (packed[:-1], packed + b"x", b"\x02" + packed[1:], packed[:2] + b"\x04" + packed[3:], bomb):
        with pytest.raises(LoggerFileError, match="packed_unreadable"):
            unpack_readings(wrong)


def test_arrays_of_another_shape_or_type_are_refused() -> None:
    with pytest.raises(ValueError, match="allowed: one a temperature"):
        pack_readings(np.arange(2.0), np.arange(3.0))
    with pytest.raises(ValueError, match="allowed: float32, float64"):
        pack_readings(np.arange(2.0), np.arange(2))  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="allowed: 500000 at most"):
        pack_readings(np.zeros(500_001), np.zeros(500_001))
