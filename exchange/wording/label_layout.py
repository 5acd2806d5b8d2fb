"""Where everything stands on a label: one reckoning for paper and screen.

Lengths are in points from the upper left corner; a text's place is the left end of its baseline.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from django.utils.translation import gettext as _

from exchange.wording.label import LabelFacts, LabelItem, blank_names, grouped_code, label_items, plain
from exchange.wording.label_font import NOT_IN_FONT, printable, text_width
from exchange.wording.label_symbol import MM, LabelSize, Symbol, qr_symbol

ELLIPSIS = "…"
LINE_HEIGHT = 1.2
TIGHT_LINE_HEIGHT = 1.1
ASCENT = 0.8
DESCENT = 0.25
SCALES = (1.0, 0.95, 0.9, 0.85, 0.8, 0.75, 0.7, 0.65, 0.6)
LEAST_SCALE = 0.75
"""The plant's name may shrink further than the code and the items; then lines stand closer too."""

GIVES_WAY = ("page", "replaced")
"""What a full label leaves out first: the symbol holds the address, the signs are seen."""

BLANK_POINTS = 5.0
NARROW = LabelSize(62.0, 29.0, 1.6, 15.0, 8.0, 6.0)


@dataclass(frozen=True)
class Text:
    """A piece of text on one line."""

    x: float
    y: float
    size: float
    bold: bool
    text: str


@dataclass(frozen=True)
class PencilLine:
    """A line to write on."""

    start: float
    end: float
    y: float


@dataclass
class Layout:
    """A label laid out."""

    width: float
    height: float
    texts: list[Text] = field(default_factory=list)
    lines: list[PencilLine] = field(default_factory=list)
    symbol: Symbol | None = None


@dataclass(frozen=True)
class Words:
    """What is laid out, and how many lines each kind may take at most."""

    code: str
    plant: str
    items: tuple[LabelItem, ...]
    most_lines: dict[str, int] = field(default_factory=dict)


def label_layout(facts: LabelFacts | None, size: LabelSize, *, for_paper: bool = True) -> Layout:
    """A label of a size; without facts, one with lines for a pencil.

    On paper, what the fonts lack is replaced by a sign; a screen finds its own fonts.

    Raises
    ------
    InvalidInput
        If the address is too long for a symbol that a telephone reads.
    """
    if facts is None:
        return _blank(size)
    symbol = qr_symbol(facts.url, size)
    words = _words(facts)
    return _fitted(_on_paper(words) if for_paper else words, size, symbol)


def _words(facts: LabelFacts) -> Words:
    return Words(grouped_code(facts.code), plain(facts.plant), tuple(label_items(facts)))


def _on_paper(words: Words) -> Words:
    """What the fonts lack replaced, and that told on a line of its own."""
    items = [replace(item, name=printable(item.name), value=printable(item.value)) for item in words.items]
    changed = Words(printable(words.code), printable(words.plant), tuple(items))
    if changed == words:
        return words
    told = LabelItem("replaced", NOT_IN_FONT, _("a letter that could not be printed; see the page"))
    return replace(changed, items=(*changed.items, told))


def _fitted(words: Words, size: LabelSize, symbol: Symbol) -> Layout:
    """The largest letters with which all fits; if none do, the smallest, and a line less until it does."""
    for scale in SCALES:
        placing = _Placing(words, size, symbol, scale)
        if placing.fits:
            return placing.layout
    while not placing.fits and (shorter := placing.shorter()) is not None:
        placing = _Placing(shorter, size, symbol, SCALES[-1])
    return placing.layout


class _Placing:
    """One try: words placed from top to bottom beside and under the symbol."""

    def __init__(self, words: Words, size: LabelSize, symbol: Symbol, scale: float) -> None:
        self.words, self.symbol = words, symbol
        self.margin = size.margin_mm * MM
        self.layout = Layout(size.width_mm * MM, size.height_mm * MM, symbol=symbol)
        self.line_count: dict[str, int] = {}
        self.top = self.margin
        small = max(scale, LEAST_SCALE)
        self.line_height = LINE_HEIGHT if scale >= LEAST_SCALE else TIGHT_LINE_HEIGHT
        self._put("code", words.code, self.margin, size.code_points * small, bold=True)
        self._put("plant", words.plant, self.margin, size.plant_points * scale, bold=True)
        self.top += 0.3 * size.item_points * scale
        self._put_items(size.item_points * small)

    @property
    def fits(self) -> bool:
        """Whether nothing stands below the lower margin."""
        return self.top <= self.layout.height - self.margin

    def shorter(self) -> Words | None:
        """The words with a line less: what gives way, then causes of doubt, the plant, the others."""
        items, most = self.words.items, self.words.most_lines
        for kind in GIVES_WAY:
            if kind in self.line_count:
                return replace(self.words, items=tuple(item for item in items if item.kind != kind))
        for kind in ("doubtful", "plant", *(item.kind for item in items)):
            if (lines := self.line_count.get(kind, 0)) > 1:
                return replace(self.words, most_lines={**most, kind: lines - 1})
        return None

    def _put_items(self, points: float) -> None:
        names = [text_width(item.name, points, bold=False) for item in self.words.items]
        left = self.margin + max(names) + 0.7 * points
        for item in self.words.items:
            name_at = Text(self.margin, self.top + ASCENT * points, points, False, item.name)
            self.layout.texts.append(name_at)
            self._put(item.kind, item.value, left, points, bold=False)

    def _put(self, kind: str, text: str, left: float, points: float, *, bold: bool) -> None:
        """Lines of one text, each as wide as there is room beside the symbol."""

        def room(line: int) -> float:
            return self._right(self.top + line * self.line_height * points) - left

        lines = wrapped(text, room, points, bold=bold)
        most = self.words.most_lines.get(kind, len(lines))
        if most < len(lines):
            lines = [*lines[: most - 1], shortened(lines[most - 1], room(most - 1), points, bold=bold)]
        self.line_count[kind] = len(lines)
        for number, line in enumerate(lines):
            baseline = self.top + (number * self.line_height + ASCENT) * points
            self.layout.texts.append(Text(left, baseline, points, bold, line))
        self.top += len(lines) * self.line_height * points

    def _right(self, top: float) -> float:
        """How far to the right a line may go that begins at a height."""
        if top < self.symbol.y + self.symbol.side:
            return self.symbol.x
        return self.layout.width - self.margin


def wrapped(text: str, room: Callable[[int], float], points: float, *, bold: bool) -> list[str]:
    """The text in lines, broken between words, or within one that is wider than a line."""
    lines = [""]
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}" if lines[-1] else word
        if text_width(longer, points, bold=bold) <= room(len(lines) - 1):
            lines[-1] = longer
            continue
        if lines[-1]:
            lines.append("")
        for sign in word:
            if text_width(lines[-1] + sign, points, bold=bold) > room(len(lines) - 1) and lines[-1]:
                lines.append("")
            lines[-1] += sign
    return lines


def shortened(line: str, room: float, points: float, *, bold: bool) -> str:
    """The line with an ellipsis at its end, which tells that more follows elsewhere."""
    kept = line
    while kept and text_width(kept + ELLIPSIS, points, bold=bold) > room:
        kept = kept[:-1]
    return kept.rstrip() + ELLIPSIS


def _blank(size: LabelSize) -> Layout:
    """Names with a line each: the first and last over the whole width, the others two and two."""
    first, *others, last = blank_names()
    margin, width, height = (length * MM for length in (size.margin_mm, size.width_mm, size.height_mm))
    half = width / 2.0
    layout = Layout(width, height)
    row_height = (height - 2.0 * margin) / (2 + (len(others) + 1) // 2)
    _pencil(layout, first, (margin, width - margin), margin + row_height)
    for number, name in enumerate(others):
        span = (half + margin / 2.0, width - margin) if number % 2 else (margin, half - margin / 2.0)
        _pencil(layout, name, span, margin + (2 + number // 2) * row_height)
    _pencil(layout, last, (margin, width - margin), height - margin)
    return layout


def _pencil(layout: Layout, name: str, span: tuple[float, float], bottom: float) -> None:
    """A name and the line behind it."""
    baseline = bottom - DESCENT * BLANK_POINTS
    start = span[0] + text_width(name, BLANK_POINTS, bold=False) + 0.5 * BLANK_POINTS
    layout.texts.append(Text(span[0], baseline, BLANK_POINTS, False, name))
    layout.lines.append(PencilLine(start, span[1], baseline))
