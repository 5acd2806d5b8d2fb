"""One label as a picture for a page: the words of the paper one, as text that can be read out."""

from xml.sax.saxutils import escape, quoteattr

from django.utils.translation import gettext as _

from exchange.wording.label import LabelFacts, grouped_code, plain
from exchange.wording.label_font import text_width
from exchange.wording.label_layout import NARROW, PencilLine, Text, label_layout
from exchange.wording.label_symbol import MM, LabelSize, Symbol

FAMILY = "Bitstream Vera Sans, DejaVu Sans, Verdana, sans-serif"


def label_svg(facts: LabelFacts | None, size: LabelSize = NARROW) -> str:
    """A label as SVG of its real size, without script or reference; blank without facts.

    Raises
    ------
    InvalidInput
        If the address is too long for a symbol that a telephone reads.
    """
    layout = label_layout(facts, size, for_paper=False)
    title = _("Blank label") if facts is None else f"{grouped_code(facts.code)} {plain(facts.plant)}"
    paper = f'<rect width="{_n(layout.width)}" height="{_n(layout.height)}" fill="#fff"/>'
    parts = [f"<title>{escape(title)}</title>", paper]
    parts += [_text(text) for text in layout.texts]
    parts += [_line(line) for line in layout.lines]
    if layout.symbol is not None:
        parts.append(_symbol(layout.symbol))
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label={quoteattr(title)}'
        f' width="{_n(layout.width / MM)}mm" height="{_n(layout.height / MM)}mm"'
        f' viewBox="0 0 {_n(layout.width)} {_n(layout.height)}" font-family="{FAMILY}">'
    )
    return "\n".join([head, *parts, "</svg>"])


def _text(text: Text) -> str:
    """A line of text, held to the width reckoned for it, whatever font the screen has."""
    weight = ' font-weight="bold"' if text.bold else ""
    width = text_width(text.text, text.size, bold=text.bold)
    return (
        f'<text x="{_n(text.x)}" y="{_n(text.y)}" font-size="{_n(text.size)}"{weight}'
        f' textLength="{_n(width)}" lengthAdjust="spacingAndGlyphs">{escape(text.text)}</text>'
    )


def _line(line: PencilLine) -> str:
    y = _n(line.y)
    return f'<path d="M{_n(line.start)} {y}H{_n(line.end)}" stroke="#000" stroke-width="0.4"/>'


def _symbol(symbol: Symbol) -> str:
    """The symbol as one path in whole modules."""
    path = "".join(f"M{column} {row}h{length}v1h-{length}z" for column, row, length in symbol.dark)
    place = f"translate({_n(symbol.x)} {_n(symbol.y)}) scale({symbol.module:.6g})"
    return f'<path transform="{place}" d="{path}" shape-rendering="crispEdges"/>'


def _n(length: float) -> str:
    """A length in points, to a hundredth."""
    return f"{length:.2f}".rstrip("0").rstrip(".")
