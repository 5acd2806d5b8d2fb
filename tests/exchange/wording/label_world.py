"""Labels to print in tests, and how a printed one is read back: as text, as places, as a symbol."""

from datetime import date
from typing import Any

import pypdfium2
import zxingcpp
from PIL import Image

from exchange.wording.label import LabelFacts

DPI = 150
POINTS = 72
URL = "https://pollen.example.org/l/7K3M9QX4"
LONGEST_PLANT = (
    "Nymphaea 'Madame de la Rivière Blanche et du Lac' × (Nymphaea capensis var. zanzibariensis"
    " × Nymphaea 'Große Königin')"
).ljust(120, "x")

FACTS = LabelFacts(
    plant="Nymphaea 'Evening Example' × colorata",
    code="7K3M9QX4",
    packet=2,
    doses=3,
    collected_on=date(2027, 7, 12),
    collected_hour=9,
    zone="Europe/Paris",
    treatment="dried",
    store="refrigerator",
    best_before=date(2027, 8, 1),
    worth_trying_until=date(2027, 9, 3),
    doubtful=(),
    terms=("Do not pass the pollen on.",),
    url=URL,
)
DOUBTFUL = ("It stood above 35 °C for two hours.", "It was thawed and frozen again.")
TERMS = ("Tell me what became of it, failures too.", "Do not pass the pollen on.")


def page_text(pdf: bytes, page: int = 0) -> str:
    """Words of a page as a reader gets them, lines joined by a space."""
    return " ".join(pypdfium2.PdfDocument(pdf)[page].get_textpage().get_text_range().split())


def page_boxes(pdf: bytes, page: int = 0) -> list[tuple[float, float, float, float]]:
    """Left, bottom, right and top of everything drawn on a page, in points."""
    return [drawn.get_bounds() for drawn in pypdfium2.PdfDocument(pdf)[page].get_objects()]


def page_picture(pdf: bytes, page: int = 0) -> Image.Image:
    """The page as a printer of 150 dpi shows it."""
    picture: Image.Image = pypdfium2.PdfDocument(pdf)[page].render(scale=DPI / POINTS).to_pil()
    return picture


def symbols(picture: Image.Image) -> list[Any]:
    """QR symbols in a picture."""
    return list(
        zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode))
    )
