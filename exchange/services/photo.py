"""Photos are kept as new pictures: what was drawn, without anything that was written into the file."""

import io
import warnings

from PIL import Image, ImageOps

from growers.errors import FieldProblem, InvalidInput

FORMATS = ("JPEG", "PNG", "WEBP")
MOST_BYTES = 10_000_000
MOST_PIXELS = 60_000_000
"""More than any telephone takes; opened, such a picture needs 180 MB (judgement)."""
LONGEST_SIDE = 2000
QUALITY = 85
MEDIA_TYPE = "image/jpeg"


def photo_drawn_anew(content: bytes) -> bytes:
    """The picture as a JPEG, upright, at most 2000 pixels long, without place, time, camera or comment.

    ``InvalidInput`` for what is no JPEG, PNG or WebP, is damaged, over 10 MB or over 60 million pixels.
    """
    if len(content) > MOST_BYTES:
        raise _refused("too_large", f"photo has {len(content)} bytes; allowed: {MOST_BYTES} at most.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            picture = Image.open(io.BytesIO(content), formats=FORMATS)
        if picture.width * picture.height > MOST_PIXELS:
            raise Image.DecompressionBombError
        return _jpeg(picture)
    except Image.DecompressionBombError as error:
        allowed = f"allowed: {MOST_PIXELS} at most."
        raise _refused("too_many_pixels", f"photo has too many pixels; {allowed}") from error
    except (OSError, ValueError, SyntaxError, EOFError, ArithmeticError, LookupError) as error:
        # What Pillow raises for a damaged file is of all these kinds.
        raise _refused("no_picture", "photo is no picture; allowed: JPEG, PNG, WebP.") from error


def _jpeg(picture: Image.Image) -> bytes:
    picture.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
    upright = ImageOps.exif_transpose(picture)
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    colours = upright.convert("RGBA") if "A" in upright.getbands() or "transparency" in upright.info else None
    drawn = Image.new("RGB", upright.size, "white")
    drawn.paste(upright.convert("RGB") if colours is None else colours, mask=colours)
    kept = io.BytesIO()
    drawn.save(kept, "JPEG", quality=QUALITY)
    return kept.getvalue()


def _refused(code: str, detail: str) -> InvalidInput:
    return InvalidInput(detail, problems=(FieldProblem("/photo", code, detail),))
