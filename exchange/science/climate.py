"""Normal monthly air temperature of half-degree cells, and the daily curve through it.

The data are monthly means 2000-2025 of ERA5, see ``data/climate_source.md`` for the credit line.
"""

import lzma
import math
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.check import check_range

MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
DAYS_IN_YEAR = 365
CELLS_PER_DEGREE = 2
ROWS, COLUMNS = 180 * CELLS_PER_DEGREE, 360 * CELLS_PER_DEGREE
DATA_FILE = "climate.bin.xz"


@dataclass(frozen=True, eq=False)
class CellClimate:
    """Normal monthly mean air temperature of one half-degree cell.

    Attributes
    ----------
    latitude_deg, longitude_deg : float
        Centre of the cell, degrees.
    monthly_mean_c : FloatArray, shape (12,)
        January to December, °C, read-only.
    """

    latitude_deg: float
    longitude_deg: float
    monthly_mean_c: FloatArray


def cell_centre(latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
    """Give the centre of the half-degree cell that contains a place.

    Parameters
    ----------
    latitude_deg : float
        Latitude, degrees north, -90 to 90.
    longitude_deg : float
        Longitude, degrees east, -180 to 180.

    Returns
    -------
    tuple of float
        Latitude and longitude of the centre, degrees.

    Raises
    ------
    ValueError
        If a coordinate is out of range or not a number.

    Notes
    -----
    A cell holds its south and its west edge; the last row also holds the north pole, and longitude
    180 is -180.
    """
    row, column = _cell_index(latitude_deg, longitude_deg)
    return _centre(row, column)


def climate_of(latitude_deg: float, longitude_deg: float) -> CellClimate:
    """Look up the normal monthly mean air temperature of the half-degree cell of a place.

    Parameters
    ----------
    latitude_deg : float
        Latitude, degrees north, -90 to 90.
    longitude_deg : float
        Longitude, degrees east, -180 to 180.

    Returns
    -------
    CellClimate
        Centre of the cell and twelve means, °C, 2 m above ground at the cell's mean height.

    Raises
    ------
    ValueError
        If a coordinate is out of range or not a number.

    References
    ----------
    Copernicus Climate Change Service, ERA5, monthly means 2000-2025.
    """
    return _climate_of_cell(*_cell_index(latitude_deg, longitude_deg))


def daily_air_temperature(monthly_mean_c: FloatArray) -> FloatArray:
    """Draw a smooth normal year through twelve monthly means.

    Parameters
    ----------
    monthly_mean_c : FloatArray, shape (12,)
        Mean air temperature of January to December, °C, -90 to 60.

    Returns
    -------
    FloatArray, shape (365,)
        Daily mean air temperature from 1 January, °C.

    Raises
    ------
    ValueError
        If there are not twelve means, or one is out of range or not a number.

    Notes
    -----
    Three annual harmonics, least squares. The fit is to means over each month's days, not to values
    at mid-month, which would flatten summer and winter.
    """
    monthly = np.asarray(monthly_mean_c, dtype=np.float64)
    if monthly.shape != (len(MONTH_DAYS),):
        raise ValueError(f"monthly_mean_c has shape {monthly.shape}; allowed: ({len(MONTH_DAYS)},).")
    check_range("monthly_mean_c", monthly, -90.0, 60.0)
    return _daily_from_monthly() @ monthly


def monthly_mean(daily: FloatArray) -> FloatArray:
    """Average a daily year by calendar month.

    Parameters
    ----------
    daily : FloatArray, shape (365, ...)
        One value, or one row of values, for each day from 1 January.

    Returns
    -------
    FloatArray, shape (12, ...)
        Means of January to December, unit of ``daily``.

    Raises
    ------
    ValueError
        If there are not 365 days.
    """
    if daily.shape[:1] != (DAYS_IN_YEAR,):
        raise ValueError(f"daily has {daily.shape[0] if daily.ndim else 0} days; allowed: {DAYS_IN_YEAR}.")
    edges = np.cumsum(MONTH_DAYS)[:-1]
    return np.array([part.mean(axis=0) for part in np.split(daily, edges)], dtype=np.float64)


def _cell_index(latitude_deg: float, longitude_deg: float) -> tuple[int, int]:
    check_range("latitude_deg", latitude_deg, -90.0, 90.0)
    check_range("longitude_deg", longitude_deg, -180.0, 180.0)
    row = min(int(np.floor(latitude_deg * CELLS_PER_DEGREE)) + ROWS // 2, ROWS - 1)
    column = (int(np.floor(longitude_deg * CELLS_PER_DEGREE)) + COLUMNS // 2) % COLUMNS
    return row, column


def _centre(row: int, column: int) -> tuple[float, float]:
    return (row + 0.5) / CELLS_PER_DEGREE - 90.0, (column + 0.5) / CELLS_PER_DEGREE - 180.0


@lru_cache(maxsize=4096)
def _climate_of_cell(row: int, column: int) -> CellClimate:
    monthly: FloatArray = _tenths()[:, row, column].astype(np.float64) / 10.0
    monthly.flags.writeable = False
    return CellClimate(*_centre(row, column), monthly)


@cache
def _tenths() -> NDArray[np.int16]:
    packed = resources.files("exchange.science").joinpath("data", DATA_FILE).read_bytes()
    return unpack_tenths(lzma.decompress(packed))


def unpack_tenths(raw: bytes) -> NDArray[np.int16]:
    """Undo the packing of ``data/build_climate.py``.

    Parameters
    ----------
    raw : bytes, 2 x 12 x 360 x 720
        Low bytes, then high bytes, of zigzag-coded differences from month to month and from west to
        east.

    Returns
    -------
    NDArray[np.int16], shape (12, 360, 720)
        Tenths of °C; month, cell row from the south, cell column from 180 degrees west.

    Raises
    ------
    ValueError
        If the length is wrong.
    """
    shape = (2, len(MONTH_DAYS), ROWS, COLUMNS)
    if len(raw) != math.prod(shape):
        raise ValueError(f"raw has {len(raw)} bytes; allowed: {math.prod(shape)}.")
    low, high = np.frombuffer(raw, dtype=np.uint8).reshape(shape).astype(np.uint16)
    zigzag = low | (high << np.uint16(8))
    steps = (zigzag >> np.uint16(1)).astype(np.int16) ^ -(zigzag & np.uint16(1)).astype(np.int16)
    by_month = np.cumsum(steps, axis=0, dtype=np.int16)
    return np.cumsum(by_month, axis=2, dtype=np.int16)


@cache
def _daily_from_monthly() -> FloatArray:
    angle = 2.0 * np.pi * np.arange(DAYS_IN_YEAR) / DAYS_IN_YEAR
    orders = np.arange(1, int(constants.CLIMATE_HARMONICS.value) + 1)
    waves = [wave(order * angle) for order in orders for wave in (np.cos, np.sin)]
    daily_design = np.column_stack([np.ones(DAYS_IN_YEAR), *waves])
    inverse = np.linalg.pinv(monthly_mean(daily_design)).astype(np.float64)
    return daily_design @ inverse
