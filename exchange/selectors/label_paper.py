"""Labels of a lot as a file to print."""

from typing import TypedDict
from uuid import UUID

from django.utils.translation import gettext as _

from exchange.models import Lot
from exchange.selectors.label import label_of, labels_of_packets
from exchange.wording.label import LabelFacts
from exchange.wording.label_pdf import A4, LETTER, narrow_pdf, sheet_pdf
from growers.models import Grower
from growers.services.problem import Problems

SHEETS = {"a4": A4, "letter": LETTER}
NARROW = "narrow"
MOST_COPIES = 100
MOST_LABELS = 500
"""In one file (judgement): a small machine draws them within seconds."""

WHAT = ("packet", "packets", "blank")
"""Ways to say which labels, of which one may be stated; without any it is that of the lot."""


class LabelOrder(TypedDict, total=False):
    """Which labels on what paper; ``start`` is a place on the first sheet, counted from 1."""

    packet: UUID
    packets: bool
    blank: bool
    sheet: str
    start: int
    copies: int


def labels_on_paper(viewer: Grower, lot: Lot, order: LabelOrder, *, address_of_page: str) -> bytes:
    """A PDF of labels of a loaded lot, on the sheet that was asked for.

    Raises ``NotFound`` for a label that is not the viewer's to print, ``InvalidInput`` for orders that do not
    fit together, and for more than 500 labels.
    """
    _order_check(order)
    labels = _labels(viewer, lot, order, address_of_page)
    copies = order.get("copies", 1)
    _count_check(len(labels), copies)
    wanted = [label for label in labels for _copy in range(copies)]
    sheet = order.get("sheet", "a4")
    if sheet == NARROW:
        return narrow_pdf(wanted)
    return sheet_pdf(wanted, SHEETS[sheet], start=order.get("start", 1))


def _labels(viewer: Grower, lot: Lot, order: LabelOrder, page: str) -> list[LabelFacts | None]:
    if order.get("blank"):
        return [None]
    if order.get("packets"):
        return list(labels_of_packets(viewer, lot, address_of_page=page))
    return [label_of(viewer, lot, order.get("packet"), address_of_page=page)]


def _order_check(order: LabelOrder) -> None:
    problems = Problems()
    stated = [(name, value) for name, value in order.items() if name in WHAT and value]
    if len(stated) > 1:
        problems.add(*stated[-1], _("one of packet, packets and blank"))
    if order.get("sheet") == NARROW and order.get("start", 1) > 1:
        problems.add("start", order["start"], _("1, where each label has a page of its own"))
    problems.refuse_if_any()


def _count_check(labels: int, copies: int) -> None:
    problems = Problems()
    if labels * copies > MOST_LABELS:
        problems.add("copies", copies, f"1 to {MOST_LABELS // labels}")
    problems.refuse_if_any()
