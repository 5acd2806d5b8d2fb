"""The label with the postal address: a paper of its own, which says nothing of what is inside."""

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _

from exchange.wording.label import plain
from exchange.wording.label_font import printable, text_width
from exchange.wording.label_layout import ASCENT, Text
from exchange.wording.label_pdf import draw_text, pdf_bytes
from exchange.wording.label_symbol import MM
from growers.errors import FieldProblem, InvalidInput

WIDTH_MM = 100.0
HEIGHT_MM = 62.0
MARGIN_MM = 5.0
MOST_LINES = 8
LARGEST_POINTS = 12.0
LINE_HEIGHT = 1.25


def address_pdf(lines: Sequence[str], country: str) -> bytes:
    """One page, 100 mm × 62 mm, with a postal address and under it the country in capitals.

    With a line too wide for the page, all of it is printed smaller.

    Raises
    ------
    InvalidInput
        If there are no lines, or more than 8.
    """
    written = [text for line in lines if (text := printable(plain(line)))]
    if not 1 <= len(written) <= MOST_LINES:
        raise _wrong_count(len(written))
    texts = _placed([*written, printable(plain(country.upper()))])

    def draw(canvas: Any) -> None:
        for text in texts:
            draw_text(canvas, text, HEIGHT_MM * MM)

    return pdf_bytes(WIDTH_MM, HEIGHT_MM, _("Address label"), draw)


def _placed(lines: Sequence[str]) -> list[Text]:
    """Lines from the upper left, evenly apart, all of the size at which the widest fits."""
    margin = MARGIN_MM * MM
    widest = max(text_width(line, 1.0, bold=False) for line in lines)
    points = min(LARGEST_POINTS, (WIDTH_MM - 2.0 * MARGIN_MM) * MM / widest)
    first, step = margin + ASCENT * points, LINE_HEIGHT * points
    return [Text(margin, first + number * step, points, False, line) for number, line in enumerate(lines)]


def _wrong_count(count: int) -> InvalidInput:
    detail = _("The address has {count} lines; allowed: 1 to {most}.").format(count=count, most=MOST_LINES)
    problem = FieldProblem("/lines", "out_of_range", detail, value=str(count), allowed=f"1 to {MOST_LINES}")
    return InvalidInput(detail, problems=(problem,))
