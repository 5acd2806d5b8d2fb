"""Labels to print: of a lot, of its packets, and the one with the address of an agreement."""

from typing import cast

from django.db.models import QuerySet
from django.urls import reverse
from rest_framework import serializers

from exchange.api.file import File
from exchange.api.operation import Call, document
from exchange.api.resource import Resource
from exchange.api.strict import StrictSerializer
from exchange.api.table import FormFlag
from exchange.api.v1.agreement import OVER, OfAgreement
from exchange.models import Lot
from exchange.selectors.label import label_of, lots_printable
from exchange.selectors.label_paper import (
    MOST_COPIES,
    MOST_LABELS,
    NARROW,
    SHEETS,
    LabelOrder,
    labels_on_paper,
)
from exchange.services.agreement_address import address_read
from exchange.wording.address_label import address_pdf
from exchange.wording.label_svg import label_svg
from growers import place

PDF = "application/pdf"
SVG = "image/svg+xml"
MOST_PLACES = max(sheet.places for sheet in SHEETS.values())


class LabelSvgQuery(StrictSerializer):
    """Which label."""

    packet = serializers.UUIDField(required=False, help_text="Of this packet, instead of the whole lot.")


class LabelQuery(LabelSvgQuery):
    """Which labels, and on what paper."""

    packets = FormFlag(default=False, help_text="Of all its packets; for a holder, of those they hold.")
    blank = FormFlag(default=False, help_text="Only lines to write on in pencil.")
    sheet = serializers.ChoiceField(
        [*SHEETS, NARROW],
        default="a4",
        help_text="`a4`: 3 by 7 labels; `letter`: 2 by 7; `narrow`: one a page, 62 mm by 29 mm.",
    )
    start = serializers.IntegerField(
        min_value=1, max_value=MOST_PLACES, default=1, help_text="Place of the first label on its sheet."
    )
    copies = serializers.IntegerField(
        min_value=1, max_value=MOST_COPIES, default=1, help_text=f"Of each; at most {MOST_LABELS} in all."
    )


class OfPrinter(Resource):
    """Lots whose labels the viewer may print."""

    tag = "lots"

    def rows(self, call: Call) -> QuerySet[Lot]:
        """Own lots, and those of which one holds a packet."""
        return lots_printable(call.grower)


class LotLabel(OfPrinter):
    """Labels on paper."""

    @document(
        "lot_label",
        "Labels to print",
        media_type=PDF,
        example="%PDF-1.4 …",
        query=LabelQuery,
        problems=("not_found", "invalid_input"),
    )
    def get(self, call: Call) -> File:
        """Of a lot, for its grower; of a packet, for its holder too; or blank.

        A label names no grower and no site. Its symbol is the address of the lot's public page.
        """
        order = cast(LabelOrder, call.query)
        drawn = labels_on_paper(call.grower, call.row, order, address_of_page=_page(call))
        return File(f"label-{call.row.code}.pdf", drawn)


class LotLabelSvg(OfPrinter):
    """One label on a screen."""

    @document(
        "lot_label_svg",
        "A label as a picture",
        media_type=SVG,
        example='<svg xmlns="http://www.w3.org/2000/svg">…</svg>',
        query=LabelSvgQuery,
        problems=("not_found", "invalid_input"),
    )
    def get(self, call: Call) -> File:
        """Of a lot, for its grower; of a packet, for its holder too."""
        facts = label_of(call.grower, call.row, call.query.get("packet"), address_of_page=_page(call))
        return File(f"label-{call.row.code}.svg", label_svg(facts).encode())


class AgreementAddressLabel(OfAgreement):
    """Where the parcel goes, on paper."""

    @document(
        "agreement_address_label",
        "Print where to send the parcel",
        media_type=PDF,
        example="%PDF-1.4 …",
        scope="write",
        problems=OVER,
        secret=True,
    )
    def get(self, call: Call) -> File:
        """By the donor, under the rules of `agreements/{id}/address`: its owner sees each call.

        It says nothing of what is in the parcel. As it tells an address, a token needs the scope `write`.
        """
        address = address_read(actor=call.grower, agreement=call.row)
        town = f"{address.postal_code} {address.town}".strip()
        country = place.countries().get(address.country, address.country)
        return File("address.pdf", address_pdf([address.name, *address.lines, town], country))


def _page(call: Call) -> str:
    """The address of the lot's public page, on the host that was asked."""
    path = reverse("lot_page", kwargs={"code": call.row.code})
    return call.request.build_absolute_uri(path)
