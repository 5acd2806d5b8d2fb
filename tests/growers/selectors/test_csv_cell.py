"""Cells that go out and come in again."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from growers.selectors.csv_cell import list_cell, list_parts, neutralised, restored, table_text

texts = st.text(st.sampled_from("'=+-@\t\r\n ＝a;,\"é×"), max_size=8)


@pytest.mark.parametrize(
    ("cell", "out"),
    [
        ('=HYPERLINK("x")', '\'=HYPERLINK("x")'),
        ("+33 1", "'+33 1"),
        ("-7", "'-7"),
        ("@home", "'@home"),
        ("\t=1", "'\t=1"),
        ("＝1", "'＝1"),
        ("'=1", "''=1"),
        ("'Dawn'", "'Dawn'"),
        ("N. × helvola", "N. × helvola"),
        ("a=b", "a=b"),
        ("", ""),
    ],
)
def test_no_cell_is_a_formula(cell: str, out: str) -> None:
    assert (neutralised(cell), restored(out)) == (out, cell)


@given(texts)
def test_every_cell_comes_back_as_it_was(cell: str) -> None:
    out = neutralised(cell)
    assert restored(out) == cell
    assert out.lstrip()[:1] not in {"=", "+", "-", "@", "＝"} and out[:1] not in {"\t", "\r", "\n"}


@given(st.lists(texts.map(lambda text: " ".join(text.split())).filter(bool), max_size=4))
def test_a_list_in_a_cell_comes_back_as_it_was(words: list[str]) -> None:
    assert list_parts(list_cell(words)) == words


def test_a_list_that_somebody_typed_is_read() -> None:
    assert list_parts('red; scented;;"a; b"\nlate') == ["red", "scented", "a; b", "late"]
    assert list_parts("") == []


def test_a_table_is_csv_with_every_cell_neutralised() -> None:
    text = table_text(["name", "note"], [["=1", None], ['a "b", c', 5]])
    assert text == 'name,note\r\n\'=1,\r\n"a ""b"", c",5\r\n'
    assert list(csv.reader(io.StringIO(text)))[2] == ['a "b", c', "5"]
