"""Labels on paper, read back: the same words, symbols that decode, nothing outside its place."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import matplotlib as mpl
import pypdfium2
import pytest
import reportlab.rl_config
from hypothesis import example, given, settings
from hypothesis import strategies as st

from exchange.wording import label_font
from exchange.wording.label import LabelFacts, blank_names, label_lines
from exchange.wording.label_layout import NARROW
from exchange.wording.label_pdf import A4, LETTER, Sheet, narrow_pdf, sheet_pdf
from exchange.wording.label_symbol import MM
from growers.errors import InvalidInput
from tests.exchange.wording.label_world import (
    DOUBTFUL,
    FACTS,
    LONGEST_PLANT,
    TERMS,
    URL,
    page_boxes,
    page_picture,
    page_text,
    symbols,
)

Printing = Callable[[list[LabelFacts | None]], bytes]
FORMATS: dict[str, Printing] = {
    "A4": lambda labels: sheet_pdf(labels, A4),
    "Letter": lambda labels: sheet_pdf(labels, LETTER),
    "narrow": narrow_pdf,
}
SHEETS = {"A4": A4, "Letter": LETTER}
FULL = replace(FACTS, plant=LONGEST_PLANT, doubtful=DOUBTFUL, terms=TERMS)
WIDEST = replace(FULL, plant="W" * 120, doubtful=DOUBTFUL * 9, treatment="w " * 60, zone="W" * 90)
every_format = pytest.mark.parametrize("printed", FORMATS.values(), ids=FORMATS)
every_sheet = pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS)


@pytest.fixture
def own_letters_only(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """As on a machine without fonts of its own."""
    monkeypatch.setattr(label_font, "MORE_FAMILIES", ())
    label_font._sign_width.cache_clear()
    yield
    label_font._sign_width.cache_clear()


@pytest.fixture
def more_letters(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """As on a machine that has the family which the drawing library of the pictures brings."""
    folder = Path(mpl.get_data_path()) / "fonts" / "ttf"
    monkeypatch.setattr(
        reportlab.rl_config, "TTFSearchPath", (*reportlab.rl_config.TTFSearchPath, str(folder))
    )
    for cached in (label_font._font, label_font._sign_width):
        cached.cache_clear()
    yield
    for cached in (label_font._font, label_font._sign_width):
        cached.cache_clear()


@every_format
def test_the_paper_tells_the_words(printed: Printing) -> None:
    assert page_text(printed([FACTS])) == " ".join(label_lines(FACTS))


@every_format
def test_a_name_of_120_characters_stands_in_full_beside_everything_else(printed: Printing) -> None:
    assert len(LONGEST_PLANT) == 120
    text = page_text(printed([FULL]))
    assert text.startswith(f"7K3M-9QX4 {LONGEST_PLANT} collected 12 July 2027, 9 h, Europe/Paris treatment")
    assert "doubtful: It stood above 35 °C" in text
    assert "best before 1 August 2027; worth trying until about 3 September 2027" in text
    assert "terms: Tell me what became of it, failures too. More: see the page" in text


@every_format
def test_what_cannot_fit_ends_in_an_ellipsis(printed: Printing) -> None:
    text = page_text(printed([replace(FULL, plant="Nymphaea " + "Wide " * 200)]))
    plant = text.removeprefix("7K3M-9QX4 ").partition(" collected ")[0]
    assert plant.startswith("Nymphaea Wide Wide") and plant.endswith("…")


@every_format
def test_the_symbol_holds_the_address_and_nothing_else(printed: Printing) -> None:
    (symbol,) = symbols(page_picture(printed([FACTS])))
    assert (symbol.text, symbol.ec_level) == (URL, "M")


@every_sheet
def test_every_label_of_a_full_sheet_decodes(sheet: Sheet) -> None:
    labels = [replace(FULL, url=f"{URL[:-2]}{number:02}") for number in range(sheet.places)]
    pdf = sheet_pdf(labels, sheet)
    assert len(pypdfium2.PdfDocument(pdf)) == 1
    found = {symbol.text for symbol in symbols(page_picture(pdf))}
    assert found == {facts.url for facts in labels}


@pytest.mark.parametrize("facts", [FACTS, FULL, WIDEST, None], ids=["usual", "full", "widest", "blank"])
@every_sheet
def test_nothing_leaves_its_place_on_a_sheet(sheet: Sheet, facts: LabelFacts | None) -> None:
    for place in range(sheet.places):
        left, bottom = sheet.corner(place)
        width, height = sheet.label.width_mm * MM, sheet.label.height_mm * MM
        boxes = page_boxes(sheet_pdf([facts], sheet, start=place + 1))
        assert boxes
        assert all(left <= box[0] and box[2] <= left + width for box in boxes)
        assert all(bottom <= box[1] and box[3] <= bottom + height for box in boxes)


@pytest.mark.parametrize("facts", [FACTS, FULL, WIDEST, None], ids=["usual", "full", "widest", "blank"])
def test_nothing_leaves_a_narrow_label(facts: LabelFacts | None) -> None:
    for left, bottom, right, top in page_boxes(narrow_pdf([facts])):
        assert 0 <= left <= right <= NARROW.width_mm * MM
        assert 0 <= bottom <= top <= NARROW.height_mm * MM


@every_sheet
def test_places_stay_on_the_paper_and_apart(sheet: Sheet) -> None:
    right = sheet.left_mm + (sheet.columns - 1) * sheet.column_step_mm + sheet.label.width_mm
    assert right <= sheet.width_mm and sheet.label.width_mm <= sheet.column_step_mm
    assert sheet.top_mm + sheet.rows * sheet.label.height_mm <= sheet.height_mm


@every_format
def test_no_text_stands_in_the_quiet_zone(printed: Printing) -> None:
    """The symbol is the one drawing that is a path; four modules round it are free."""
    page = pypdfium2.PdfDocument(printed([FULL]))[0]
    drawn = list(page.get_objects())
    (symbol,) = [each.get_bounds() for each in drawn if each.type == pypdfium2.raw.FPDF_PAGEOBJ_PATH]
    quiet = 4 * (symbol[2] - symbol[0]) / 29
    for left, bottom, right, top in (
        each.get_bounds() for each in drawn if each.type == pypdfium2.raw.FPDF_PAGEOBJ_TEXT
    ):
        beside = right <= symbol[0] - quiet + 0.01 or left >= symbol[2] + quiet
        above_or_below = top <= symbol[1] - quiet + 0.01 or bottom >= symbol[3] + quiet
        assert beside or above_or_below


@every_format
def test_modules_are_at_least_four_tenths_of_a_millimetre(printed: Printing) -> None:
    """An address of 106 characters makes a symbol of 41 modules, the largest that is printed."""
    pdf = printed([replace(FACTS, url=URL.ljust(106, "7"))])
    drawn = pypdfium2.PdfDocument(pdf)[0].get_objects()
    (symbol,) = [each.get_bounds() for each in drawn if each.type == pypdfium2.raw.FPDF_PAGEOBJ_PATH]
    assert (symbol[2] - symbol[0]) / 41 / MM >= 0.4
    assert [found.text for found in symbols(page_picture(pdf))] == [URL.ljust(106, "7")]


@every_format
def test_an_address_too_long_for_a_symbol_is_refused(printed: Printing) -> None:
    with pytest.raises(InvalidInput) as refused:
        printed([replace(FACTS, url=URL.ljust(107, "7"))])
    assert [(problem.pointer, problem.code) for problem in refused.value.problems] == [("/url", "too_long")]
    sentence = "The address of the page is too long for a label; allowed: at most 106 bytes."
    assert refused.value.detail == sentence


@every_format
def test_a_blank_label_has_a_pencil_line_for_each_item(printed: Printing) -> None:
    pdf = printed([None])
    drawn = list(pypdfium2.PdfDocument(pdf)[0].get_objects())
    lines = [each for each in drawn if each.type == pypdfium2.raw.FPDF_PAGEOBJ_PATH]
    assert page_text(pdf) == " ".join(blank_names())
    assert len(lines) == len(blank_names()) == 12
    assert all(each.get_bounds()[2] - each.get_bounds()[0] >= 11 * MM for each in lines)
    assert symbols(page_picture(pdf)) == []


def test_a_half_used_sheet_is_used_from_its_next_place_and_goes_on_to_the_next_sheet() -> None:
    pdf = sheet_pdf([FACTS, None, FACTS], A4, start=20)
    pages = pypdfium2.PdfDocument(pdf)
    assert len(pages) == 2
    assert page_text(pdf, 0) == " ".join([*label_lines(FACTS), *blank_names()])
    assert page_text(pdf, 1) == " ".join(label_lines(FACTS))
    assert min(box[0] for box in page_boxes(pdf, 0)) >= A4.corner(19)[0]
    assert max(box[2] for box in page_boxes(pdf, 1)) <= A4.corner(1)[0]


@pytest.mark.parametrize("start", [0, 22, -1])
def test_a_place_that_the_sheet_does_not_have_is_refused(start: int) -> None:
    with pytest.raises(InvalidInput) as refused:
        sheet_pdf([FACTS], A4, start=start)
    assert refused.value.detail == f"start is {start}; allowed: 1 to 21."


@every_format
def test_no_label_is_refused(printed: Printing) -> None:
    with pytest.raises(InvalidInput, match=r"^There is no label to print; allowed: at least 1\.$"):
        printed([])


@every_format
def test_the_same_facts_give_the_same_bytes_which_tell_nothing_of_the_machine(printed: Printing) -> None:
    pdf = printed([FACTS, None])
    assert printed([FACTS, None]) == pdf
    told = pypdfium2.PdfDocument(pdf).get_metadata_dict(skip_empty=True)
    assert told == {
        "Title": "Pollen labels",
        "CreationDate": "D:20000101000000+00'00'",
        "ModDate": "D:20000101000000+00'00'",
    }
    assert str(Path.cwd()).encode() not in pdf and b"/home" not in pdf


def test_paper_for_cutting_has_thin_lines_round_each_label() -> None:
    extra = len(page_boxes(sheet_pdf([FACTS] * 2, cut_lines=True))) - len(page_boxes(sheet_pdf([FACTS] * 2)))
    assert extra == 2


@pytest.mark.parametrize("name", ['<img src="file:///etc/passwd">', "<b>x</b> &amp; (\\) %s {plant}", "=1+1"])
@every_format
def test_markup_in_a_name_is_printed_as_text(printed: Printing, name: str) -> None:
    pdf = printed([replace(FACTS, plant=name)])
    kinds = {each.type for each in pypdfium2.PdfDocument(pdf)[0].get_objects()}
    assert page_text(pdf).startswith(f"7K3M-9QX4 {name} collected")
    assert kinds == {pypdfium2.raw.FPDF_PAGEOBJ_TEXT, pypdfium2.raw.FPDF_PAGEOBJ_PATH}
    assert b"/URI" not in pdf and b"/JavaScript" not in pdf


@pytest.mark.usefixtures("own_letters_only")
def test_letters_that_the_font_lacks_are_shown_by_a_sign_that_is_explained() -> None:
    text = page_text(narrow_pdf([replace(FACTS, plant="Nymphaea ‘บัว’ Ελ ő")]))
    assert text.startswith("7K3M-9QX4 Nymphaea ‘◊◊◊’ ◊◊ ◊ collected")
    assert text.endswith("◊ a letter that could not be printed; see the page")


@pytest.mark.usefixtures("own_letters_only")
def test_the_letters_of_western_europe_need_no_other_font() -> None:
    name = "‘Crème brûlée’ × “Weiß” ÄÖÜ çñåøæ Œœ Šš Žž €"
    assert page_text(narrow_pdf([replace(FACTS, plant=name)])).startswith(f"7K3M-9QX4 {name} collected")


@pytest.mark.usefixtures("more_letters")
def test_a_family_that_the_machine_has_lends_its_letters() -> None:
    name = "Νύμφη ő Ł ł Żółta кувшинка"
    assert page_text(narrow_pdf([replace(FACTS, plant=name)])).startswith(f"7K3M-9QX4 {name} collected")


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=300))
@example("\x00\ud800\uffff\U0001f338")
@example("\N{RIGHT-TO-LEFT OVERRIDE}evil")
@example("")
@example("ก\N{THAI CHARACTER MAI THO}" * 60)
def test_any_name_is_printed_and_the_code_always_stands(name: str) -> None:
    pdf = narrow_pdf([replace(FACTS, plant=name)])
    text = page_text(pdf)
    assert text.startswith("7K3M-9QX4")
    assert "collected 12 July 2027" in text
    assert all(box[1] >= 0 and box[2] <= NARROW.width_mm * MM for box in page_boxes(pdf))
