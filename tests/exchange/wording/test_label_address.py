"""The address label: the lines as given, the country, and nothing of what is inside."""

import pypdfium2
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from exchange.wording.address_label import address_pdf
from exchange.wording.label_symbol import MM
from growers.errors import InvalidInput
from tests.exchange.wording.label_world import page_boxes, page_picture, page_text, symbols

LINES = ["Example Gardens", "c/o Post Point 7", "12 Long Pond Lane", "AB1 2CD Exampleton"]


def test_the_address_and_nothing_else() -> None:
    pdf = address_pdf(LINES, "Côte d’Ivoire")
    assert page_text(pdf) == " ".join([*LINES, "CÔTE D’IVOIRE"])
    assert symbols(page_picture(pdf)) == []
    assert pypdfium2.PdfDocument(pdf).get_metadata_dict(skip_empty=True)["Title"] == "Address label"
    assert [round(side / MM, 3) for side in pypdfium2.PdfDocument(pdf)[0].get_size()] == [100.0, 62.0]
    assert address_pdf(LINES, "Côte d’Ivoire") == pdf


@pytest.mark.parametrize(("lines", "count"), [([], 0), (["", "  "], 0), (["line"] * 9, 9)])
def test_no_line_or_more_than_eight_are_refused(lines: list[str], count: int) -> None:
    with pytest.raises(InvalidInput) as refused:
        address_pdf(lines, "France")
    assert refused.value.detail == f"The address has {count} lines; allowed: 1 to 8."


@settings(max_examples=60, deadline=None)
@given(st.lists(st.text(max_size=200), min_size=1, max_size=7))
@example(["W" * 200] * 7)
@example(["<para><img src='file:///etc/passwd'/></para>"])
def test_every_address_stays_on_its_label(lines: list[str]) -> None:
    pdf = address_pdf(["first", *lines], "France")
    assert page_text(pdf).endswith("FRANCE")
    for left, bottom, right, top in page_boxes(pdf):
        assert 0 <= left <= right <= 100.0 * MM and 0 <= bottom <= top <= 62.0 * MM
