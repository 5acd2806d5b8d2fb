"""Photos are drawn anew: upright, small enough, and silent about place, time and camera."""

import io
import struct
import zlib

import pytest
from PIL import Image, PngImagePlugin

from exchange.services.photo import MOST_BYTES, photo_drawn_anew
from growers.errors import InvalidInput
from tests.exchange.picture import GPS_PART, picture_bytes


def opened(content: bytes) -> Image.Image:
    return Image.open(io.BytesIO(content))


@pytest.mark.parametrize("picture_format", ["JPEG", "PNG", "WEBP"])
def test_nothing_but_the_picture_is_kept(picture_format: str) -> None:
    sent = picture_bytes(picture_format)
    assert opened(sent).getexif().get_ifd(GPS_PART)[1] == "N" and b"Telephone" in sent
    kept = photo_drawn_anew(sent)
    picture = opened(kept)
    assert picture.format == "JPEG" and picture.size == (40, 20)
    assert dict(picture.getexif()) == {} and not picture.getexif().get_ifd(GPS_PART)
    assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert b"Telephone" not in kept and b"Exif" not in kept


def test_comments_profiles_and_text_go() -> None:
    text = PngImagePlugin.PngInfo()
    text.add_text("Author", "Somebody of the pond")
    for sent in (
        picture_bytes("JPEG", comment=b"Somebody of the pond", icc_profile=b"Somebody of the pond"),
        picture_bytes("PNG", pnginfo=text, icc_profile=b"Somebody of the pond"),
    ):
        kept = photo_drawn_anew(sent)
        assert b"Somebody" not in kept and "icc_profile" not in opened(kept).info


def test_it_is_turned_as_the_camera_was_held() -> None:
    upright = opened(photo_drawn_anew(picture_bytes(orientation=6)))
    assert upright.size == (20, 40)
    top, bottom = upright.getpixel((10, 5)), upright.getpixel((10, 35))
    assert isinstance(top, tuple) and isinstance(bottom, tuple)
    assert top[0] > 200 and bottom[2] > 200


@pytest.mark.parametrize(
    ("size", "kept"), [((4000, 3000), (2000, 1500)), ((300, 5000), (120, 2000)), ((9, 9), (9, 9))]
)
def test_it_is_at_most_2000_pixels_long(size: tuple[int, int], kept: tuple[int, int]) -> None:
    assert opened(photo_drawn_anew(picture_bytes(size=size))).size == kept


def test_what_is_clear_becomes_white() -> None:
    clear = io.BytesIO()
    Image.new("RGBA", (8, 8), (0, 0, 0, 0)).save(clear, "PNG")
    assert opened(photo_drawn_anew(clear.getvalue())).getpixel((4, 4)) == (255, 255, 255)


def bomb() -> bytes:
    """A PNG of some hundred bytes that says it has 100,000 by 100,000 pixels."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", 100_000, 100_000, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")
    )


def big() -> bytes:
    """A plain PNG of 61 million pixels."""
    content = io.BytesIO()
    Image.new("1", (61_000, 1_000)).save(content, "PNG")
    return content.getvalue()


def of_another_format(picture_format: str) -> bytes:
    content = io.BytesIO()
    Image.new("RGB", (8, 8)).save(content, picture_format)
    return content.getvalue()


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "no_picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no_picture"),
        (b"%PDF-1.7", "no_picture"),
        (of_another_format("GIF"), "no_picture"),
        (of_another_format("TIFF"), "no_picture"),
        (picture_bytes("JPEG")[:300], "no_picture"),
        (picture_bytes("PNG")[:120], "no_picture"),
        (bomb(), "too_many_pixels"),
        (big(), "too_many_pixels"),
        (b"\xff\xd8\xff" + b"x" * MOST_BYTES, "too_large"),
    ],
    ids=["empty", "svg", "pdf", "gif", "tiff", "half a jpeg", "half a png", "bomb", "61 MP", "over 10 MB"],
)
def test_what_is_no_picture_or_too_much_of_one_is_refused(content: bytes, code: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        photo_drawn_anew(content)
    assert [(problem.pointer, problem.code) for problem in caught.value.problems] == [("/photo", code)]
