"""The QR symbol on a label, and the sizes that it must fit into."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import segno
from django.utils.translation import gettext as _

from growers.errors import FieldProblem, InvalidInput

MM = 72.0 / 25.4
QUIET_MODULES = 4
MODULE_MM = 0.5
LARGEST_SYMBOL_MM = 20.0
MOST_BYTES = 106
"""What the largest symbol whose modules are not too small holds at level M: version 6 (ISO/IEC 18004)."""


@dataclass(frozen=True)
class LabelSize:
    """A label's outside, its margin, and its three sizes of letters before they are shrunk."""

    width_mm: float
    height_mm: float
    margin_mm: float
    code_points: float
    plant_points: float
    item_points: float


@dataclass(frozen=True)
class Symbol:
    """A QR symbol: its corner, quiet zone included, the side of a module, and runs of dark ones."""

    x: float
    y: float
    module: float
    modules: int
    dark: tuple[tuple[int, int, int], ...]
    """(column, row, modules in a row)."""

    @property
    def side(self) -> float:
        """Side of the whole, quiet zone included."""
        return self.modules * self.module


def qr_symbol(url: str, size: LabelSize) -> Symbol:
    """The symbol of an address in the upper right corner, with 15 % of it to spare (level M)."""
    if len(url.encode()) > MOST_BYTES:
        raise _too_long(url)
    matrix = tuple(segno.make_qr(url, error="m", boost_error=False).matrix)
    modules = len(matrix) + 2 * QUIET_MODULES
    module_mm = min(MODULE_MM, LARGEST_SYMBOL_MM / modules)
    inset_mm = max(size.margin_mm - QUIET_MODULES * module_mm, 0.0)
    x_mm = size.width_mm - inset_mm - modules * module_mm
    return Symbol(x_mm * MM, inset_mm * MM, module_mm * MM, modules, tuple(_dark_runs(matrix)))


def _too_long(url: str) -> InvalidInput:
    allowed = _("at most {bytes} bytes").format(bytes=MOST_BYTES)
    detail = _("The address of the page is too long for a label; allowed: {allowed}.").format(allowed=allowed)
    problem = FieldProblem("/url", "too_long", detail, value=url, allowed=allowed)
    return InvalidInput(detail, problems=(problem,))


def _dark_runs(matrix: Sequence[bytearray]) -> Iterator[tuple[int, int, int]]:
    for row, modules in enumerate(matrix):
        column = 0
        while (start := modules.find(1, column)) >= 0:
            light = modules.find(0, start)
            column = light if light >= 0 else len(modules)
            yield start + QUIET_MODULES, row + QUIET_MODULES, column - start
