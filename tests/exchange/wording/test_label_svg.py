"""The label as a picture: well-formed whatever a name holds, without reach, and its symbol decodes."""

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

from hypothesis import example, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from exchange.wording.label import blank_names, label_lines, plain
from exchange.wording.label_svg import label_svg
from tests.exchange.wording.label_world import DOUBTFUL, FACTS, LONGEST_PLANT, TERMS, URL, symbols

SVG = "{http://www.w3.org/2000/svg}"
PIXELS_A_MODULE = 4
RUN = re.compile(r"M(\d+) (\d+)h(\d+)v1h-\d+z")


def drawn(svg: str) -> ET.Element:
    return ET.fromstring(svg)


def symbol_picture(svg: str) -> Image.Image:
    """The path of the symbol as pixels."""
    (path,) = [each for each in drawn(svg).iter(f"{SVG}path") if "transform" in each.attrib]
    runs = [tuple(map(int, run)) for run in RUN.findall(path.attrib["d"])]
    assert "".join(f"M{x} {y}h{n}v1h-{n}z" for x, y, n in runs) == path.attrib["d"]
    side = (max(y for _x, y, _n in runs) + 5) * PIXELS_A_MODULE
    picture = Image.new("L", (side, side), 255)
    for x, y, length in runs:
        corner = (x * PIXELS_A_MODULE, y * PIXELS_A_MODULE)
        end = ((x + length) * PIXELS_A_MODULE - 1, (y + 1) * PIXELS_A_MODULE - 1)
        ImageDraw.Draw(picture).rectangle((corner, end), fill=0)
    return picture


def test_the_picture_tells_the_words() -> None:
    words = " ".join(text.text or "" for text in drawn(label_svg(FACTS)).iter(f"{SVG}text"))
    assert words == " ".join(label_lines(FACTS))


def test_the_symbol_decodes() -> None:
    (symbol,) = symbols(symbol_picture(label_svg(FACTS)))
    assert (symbol.text, symbol.ec_level) == (URL, "M")


def test_it_is_named_for_those_who_listen() -> None:
    root = drawn(label_svg(FACTS))
    title = root.find(f"{SVG}title")
    assert title is not None and title.text == "7K3M-9QX4 Nymphaea 'Evening Example' × colorata"
    assert (root.attrib["role"], root.attrib["aria-label"]) == ("img", title.text)


def test_a_blank_picture_has_a_line_for_each_item() -> None:
    root = drawn(label_svg(None))
    assert [text.text for text in root.iter(f"{SVG}text")] == blank_names()
    assert len(list(root.iter(f"{SVG}path"))) == len(blank_names())


def test_every_text_ends_within_the_label() -> None:
    root = drawn(label_svg(replace(FACTS, plant=LONGEST_PLANT, doubtful=DOUBTFUL, terms=TERMS)))
    width, height = (float(length) for length in root.attrib["viewBox"].split()[2:])
    for text in root.iter(f"{SVG}text"):
        assert float(text.attrib["x"]) + float(text.attrib["textLength"]) <= width
        assert float(text.attrib["y"]) <= height


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=150))
@example("</text><script>alert(1)</script>")
@example('"><image href="https://elsewhere.example/x"/>')
@example("<!DOCTYPE x [<!ENTITY e SYSTEM 'file:///etc/passwd'>]>&e;")
@example("\x00\x0b\ufffe\ud800]]>")
@example("ดอกบัว 睡蓮 Νύμφη")
def test_any_name_is_text_and_reaches_nowhere(name: str) -> None:
    root = drawn(label_svg(replace(FACTS, plant=name)))
    assert {each.tag.removeprefix(SVG) for each in root.iter()} == {"svg", "title", "rect", "text", "path"}
    assert not [key for each in root.iter() for key in each.attrib if "href" in key or key.startswith("on")]
    title = root.find(f"{SVG}title")
    assert title is not None and title.text == f"7K3M-9QX4 {plain(name)}"
