"""Labels on paper: sheets of them, and one narrow label a page.

Everything is drawn letter by letter; no markup is read and nothing is fetched, whatever a name holds.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from django.utils.translation import get_language
from django.utils.translation import gettext as _
from reportlab.pdfgen.canvas import Canvas

from exchange.wording.label import LabelFacts
from exchange.wording.label_font import WRITING, runs
from exchange.wording.label_layout import NARROW, Layout, Text, label_layout
from exchange.wording.label_symbol import MM, LabelSize, Symbol
from growers.errors import FieldProblem, InvalidInput

HAIRLINE = 0.4
CUT_LINE = 0.2


@dataclass(frozen=True)
class Sheet:
    """A sheet of labels as stationers sell it: common practice, no source."""

    width_mm: float
    height_mm: float
    columns: int
    rows: int
    left_mm: float
    top_mm: float
    column_step_mm: float
    label: LabelSize

    @property
    def places(self) -> int:
        """Labels on one sheet."""
        return self.columns * self.rows

    def corner(self, place: int) -> tuple[float, float]:
        """Left and bottom of a place, counted from 0 along the rows, in points from the lower left."""
        row, column = divmod(place, self.columns)
        return (
            (self.left_mm + column * self.column_step_mm) * MM,
            (self.height_mm - self.top_mm - (row + 1) * self.label.height_mm) * MM,
        )


A4 = Sheet(210.0, 297.0, 3, 7, 7.2, 15.15, 66.05, LabelSize(63.5, 38.1, 2.2, 16.0, 9.0, 6.0))
LETTER = Sheet(215.9, 279.4, 2, 7, 3.95, 21.15, 106.4, LabelSize(101.6, 33.87, 2.5, 18.0, 10.0, 7.0))


def sheet_pdf(
    labels: Sequence[LabelFacts | None], sheet: Sheet = A4, *, start: int = 1, cut_lines: bool = False
) -> bytes:
    """Labels on sheets, along the rows; None is a blank one, to be written on in pencil.

    Parameters
    ----------
    labels
        At least one.
    sheet
        A4 or LETTER.
    start
        Place of the first label on the first sheet, counted from 1, so that a half-used sheet serves.
    cut_lines
        Whether thin lines show where plain paper is cut.

    Raises
    ------
    InvalidInput
        If there is no label, the sheet has no such place, or an address is too long.
    """
    _check(labels)
    if not 1 <= start <= sheet.places:
        detail = _("start is {start}; allowed: 1 to {places}.").format(start=start, places=sheet.places)
        raise _invalid("/start", "out_of_range", detail, str(start), f"1 to {sheet.places}")
    layouts = [label_layout(facts, sheet.label) for facts in labels]

    def draw(canvas: Any) -> None:
        for number, layout in enumerate(layouts, start - 1):
            if number > start - 1 and number % sheet.places == 0:
                canvas.showPage()
            _draw_at(canvas, layout, sheet.corner(number % sheet.places), cut_line=cut_lines)

    return pdf_bytes(sheet.width_mm, sheet.height_mm, _("Pollen labels"), draw)


def narrow_pdf(labels: Sequence[LabelFacts | None], size: LabelSize = NARROW) -> bytes:
    """One label a page, for a label printer; None is a blank one.

    Raises
    ------
    InvalidInput
        If there is no label, or an address is too long.
    """
    _check(labels)
    layouts = [label_layout(facts, size) for facts in labels]

    def draw(canvas: Any) -> None:
        for number, layout in enumerate(layouts):
            if number:
                canvas.showPage()
            _draw_at(canvas, layout, (0.0, 0.0), cut_line=False)

    return pdf_bytes(size.width_mm, size.height_mm, _("Pollen labels"), draw)


def pdf_bytes(width_mm: float, height_mm: float, title: str, draw: Callable[[Any], None]) -> bytes:
    """A PDF of what is drawn: the same bytes for the same drawing, and no word on who made it or when."""
    out = BytesIO()
    with WRITING:
        page = (width_mm * MM, height_mm * MM)
        canvas = Canvas(out, pagesize=page, invariant=1, pageCompression=1, lang=get_language())
        canvas.setTitle(title)
        for tell_nothing in (canvas.setAuthor, canvas.setCreator, canvas.setProducer, canvas.setSubject):
            tell_nothing("")
        draw(canvas)
        canvas.save()
    return out.getvalue()


def draw_text(canvas: Any, text: Text, height: float) -> None:
    """One line of text, in as many fonts as it needs; ``height`` is that of the page in points."""
    x = text.x
    for font, piece in runs(text.text, bold=text.bold):
        canvas.setFont(font, text.size)
        canvas.drawString(x, height - text.y, piece)
        x += canvas.stringWidth(piece, font, text.size)


def _draw_at(canvas: Any, layout: Layout, corner: tuple[float, float], *, cut_line: bool) -> None:
    """One label with its lower left at a corner."""
    canvas.saveState()
    canvas.translate(*corner)
    if cut_line:
        canvas.setLineWidth(CUT_LINE)
        canvas.rect(0.0, 0.0, layout.width, layout.height)
    for text in layout.texts:
        draw_text(canvas, text, layout.height)
    canvas.setLineWidth(HAIRLINE)
    for line in layout.lines:
        canvas.line(line.start, layout.height - line.y, line.end, layout.height - line.y)
    if layout.symbol is not None:
        _draw_symbol(canvas, layout.symbol, layout.height)
    canvas.restoreState()


def _draw_symbol(canvas: Any, symbol: Symbol, height: float) -> None:
    """The symbol as one path, so that no seam shows between its modules."""
    path, side = canvas.beginPath(), symbol.module
    for column, row, length in symbol.dark:
        top = symbol.y + row * side
        path.rect(symbol.x + column * side, height - top - side, length * side, side)
    canvas.drawPath(path, stroke=0, fill=1)


def _check(labels: Sequence[LabelFacts | None]) -> None:
    if not labels:
        raise _invalid("/labels", "too_few", _("There is no label to print; allowed: at least 1."), "0", "1")


def _invalid(pointer: str, code: str, detail: str, value: str, allowed: str) -> InvalidInput:
    problem = FieldProblem(pointer, code, detail, value=value, allowed=allowed)
    return InvalidInput(detail, problems=(problem,))
