"""The letters that labels are printed with.

The library that writes the PDF brings one family, for the languages of western Europe. What it lacks is
taken from families that many machines have, if this one does; without them a sign stands in its place, so
that nothing is dropped unseen. Nothing is shaped or turned round: Arabic and Indic letters stand apart.
"""

from collections.abc import Iterator
from functools import cache
from itertools import groupby
from threading import Lock
from typing import Any

from reportlab.pdfbase.pdfmetrics import registerFont
from reportlab.pdfbase.ttfonts import TTFError, TTFont

OWN_FAMILY = ("Vera.ttf", "VeraBd.ttf")
MORE_FAMILIES = (
    ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf"),
    ("NotoSansThai-Regular.ttf", "NotoSansThai-Bold.ttf"),
    ("DroidSansFallbackFull.ttf", "DroidSansFallbackFull.ttf"),
)
NOT_IN_FONT = "\N{LOZENGE}"
BASIC_PLANE = 0xFFFF
"""The last character that can be read back from a PDF of this library."""

WRITING = Lock()
"""Held while a PDF is written: fonts are shared, and can be written to one file at a time only."""


def runs(text: str, *, bold: bool) -> list[tuple[str, str]]:
    """The text in pieces of one font each: (name of the font, piece)."""

    def font_name(sign: str) -> str:
        return str(_font_of(sign, bold).fontName)

    return [(name, "".join(signs)) for name, signs in groupby(text, key=font_name)]


def text_width(text: str, size: float, *, bold: bool) -> float:
    """Width of a text at a size, both in points; a character that no font has counts as a wide one."""
    return sum(_sign_width(sign, bold) for sign in text) * size


def printable(text: str) -> str:
    """The text with a sign for each character that no font here has."""
    return "".join(sign if _has(sign) else NOT_IN_FONT for sign in text)


@cache
def _sign_width(sign: str, bold: bool) -> float:
    width: float = _font_of(sign, bold).stringWidth(sign, 1.0) if _has(sign) else 1.0
    return width


def _has(sign: str) -> bool:
    return ord(sign) in _font_of(sign, bold=True).face.charToGlyph


def _font_of(sign: str, bold: bool) -> Any:
    """The first font that has the character in both weights, else our own."""
    for family in _families():
        if _in_family(sign, family):
            return _font(family[bold])
    return _font(OWN_FAMILY[bold])


def _in_family(sign: str, family: tuple[str, str]) -> bool:
    fonts = [_font(file) for file in family]
    return ord(sign) <= BASIC_PLANE and all(font and ord(sign) in font.face.charToGlyph for font in fonts)


def _families() -> Iterator[tuple[str, str]]:
    yield OWN_FAMILY
    yield from MORE_FAMILIES


@cache
def _font(file: str) -> Any:
    """The font of a file, or None if this machine does not have it."""
    try:
        font = TTFont(file.removesuffix(".ttf"), file)
    except TTFError:
        return None
    registerFont(font)
    return font
