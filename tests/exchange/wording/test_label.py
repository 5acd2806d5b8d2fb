"""The words of a label: each thing told once, what is unknown said so, terms whole or left to the page."""

from dataclasses import fields, replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.wording.label import LabelFacts, blank_names, brief_terms, grouped_code, label_lines, plain
from tests.exchange.wording.label_world import DOUBTFUL, FACTS, TERMS


def test_the_words_of_a_packet() -> None:
    assert label_lines(FACTS) == [
        "7K3M-9QX4",
        "Nymphaea 'Evening Example' × colorata",
        "collected 12 July 2027, 9 h, Europe/Paris",
        "treatment dried; store refrigerator",
        "packet 2; 3 doses",
        "best before 1 August 2027; worth trying until about 3 September 2027",
        "terms: Do not pass the pollen on.",
        "page https://pollen.example.org/l/7K3M9QX4",
    ]


def test_an_hour_that_was_not_stated_is_left_out_and_midnight_is_an_hour() -> None:
    assert label_lines(replace(FACTS, collected_hour=None))[2] == "collected 12 July 2027, Europe/Paris"
    assert label_lines(replace(FACTS, collected_hour=0))[2] == "collected 12 July 2027, 0 h, Europe/Paris"


@pytest.mark.parametrize(
    ("best_before", "until", "words"),
    [
        (None, None, "dates not known"),
        (date(2027, 8, 1), None, "best before 1 August 2027"),
        (None, date(2027, 9, 3), "worth trying until about 3 September 2027"),
    ],
)
def test_dates_as_far_as_they_are_known(best_before: date | None, until: date | None, words: str) -> None:
    assert label_lines(replace(FACTS, best_before=best_before, worth_trying_until=until))[5] == words


@pytest.mark.parametrize(
    ("packet", "doses", "words"),
    [
        (2, 1, ["packet 2; 1 dose"]),
        (2, None, ["packet 2"]),
        (None, 3, ["doses 3"]),
        (None, None, []),
    ],
)
def test_packet_and_doses_as_far_as_they_are_known(
    packet: int | None, doses: int | None, words: list[str]
) -> None:
    assert label_lines(replace(FACTS, packet=packet, doses=doses))[4:-3] == words


def test_causes_of_doubt_are_named() -> None:
    line = "doubtful: It stood above 35 °C for two hours. It was thawed and frozen again."
    assert label_lines(replace(FACTS, doubtful=DOUBTFUL))[6] == line


@pytest.mark.parametrize(
    ("terms", "words"),
    [
        ([], "none"),
        (["a" * 60], "a" * 60),
        (["a" * 61], "see the page"),
        (list(TERMS), "Tell me what became of it, failures too. More: see the page"),
        (["One.", "Two.", "b" * 60], "One. Two. More: see the page"),
        (["b" * 60, "One."], "see the page"),
    ],
)
def test_terms_are_told_whole_or_left_to_the_page(terms: list[str], words: str) -> None:
    assert brief_terms(terms) == words


@given(st.lists(st.text(min_size=1, max_size=70), max_size=5))
def test_terms_take_at_most_60_characters(terms: list[str]) -> None:
    assert len(brief_terms(terms)) <= 60


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("  two \t\n lines ", "two lines"),
        ("e\N{COMBINING ACUTE ACCENT}", "é"),
        (
            "a\N{RIGHT-TO-LEFT OVERRIDE}b\x00c\x1bd",
            "a\N{REPLACEMENT CHARACTER}b\N{REPLACEMENT CHARACTER}c\N{REPLACEMENT CHARACTER}d",
        ),
        ("\ud800", "\N{REPLACEMENT CHARACTER}"),
    ],
)
def test_what_has_no_shape_is_shown_by_a_sign(text: str, shown: str) -> None:
    assert plain(text) == shown


def test_codes_are_grouped_for_the_eye() -> None:
    assert [grouped_code(code) for code in ("7K3M9QX4", "7K3M9", "7K3")] == ["7K3M-9QX4", "7K3M-9", "7K3"]


def test_a_label_has_no_place_for_its_grower() -> None:
    assert {field.name for field in fields(LabelFacts)} == {
        "plant", "code", "packet", "doses", "collected_on", "collected_hour", "zone", "treatment", "store",
        "best_before", "worth_trying_until", "doubtful", "terms", "url",
    }  # fmt: skip


def test_a_blank_label_asks_for_what_a_printed_one_tells() -> None:
    told = {"plant", "code", "packet", "doses", "collected", "treatment", "store", "terms", "doubtful"}
    assert set(blank_names()) == told | {"hour, zone", "best before", "worth trying until"}
