"""Pictures as telephones make them, with all that they write into the file."""

import io
from typing import Any

from PIL import Image

GPS = {1: "N", 2: (48.0, 51.0, 24.0), 3: "E", 4: (2.0, 21.0, 3.0)}
ORIENTATION, CAMERA, GPS_PART = 0x0112, 0x0110, 0x8825


def picture_bytes(
    picture_format: str = "JPEG",
    *,
    size: tuple[int, int] = (40, 20),
    orientation: int = 1,
    mode: str = "RGB",
    **saved: Any,
) -> bytes:
    """A picture, red on its left half and blue on its right, with place and camera in its EXIF."""
    picture = Image.new(mode, size, "blue")
    picture.paste("red", (0, 0, size[0] // 2, size[1]))
    exif = Image.Exif()
    exif[ORIENTATION], exif[CAMERA] = orientation, "Telephone of the pond"
    exif.get_ifd(GPS_PART).update(GPS)
    content = io.BytesIO()
    picture.save(content, picture_format, exif=exif, **saved)
    return content.getvalue()
