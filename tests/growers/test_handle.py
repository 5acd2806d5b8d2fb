"""Handles that look alike are one handle."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from growers.handle import CONFUSABLES, LONGEST_SKELETON, normalized, refusal, skeleton

LETTERS = st.text(st.characters(categories=["L", "M", "N", "P", "Zs", "Cf"], codec="utf-8"), max_size=60)


@pytest.mark.parametrize(
    ("imitation", "known"),
    [
        ("Waterlily", "waterlily"),
        ("water lily", "waterlily"),
        ("water-lily", "water_lily"),
        ("wаtеrlilу", "waterlily"),  # Cyrillic a, e, u
        ("аррӏе", "apple"),  # Cyrillic throughout
        ("wοrd", "word"),  # Greek omicron
        ("Iotus", "lotus"),  # capital I
        ("1otus", "lotus"),
        ("l0tus", "lotus"),
        ("lotus\u200b", "lotus"),  # zero-width space
        ("lo\u2060tus", "lotus"),  # word joiner
        ("lo\u3164tus", "lotus"),  # Hangul filler, a letter by category
        ("lo\ufe0ftus", "lotus"),  # variation selector
        ("ｌｏｔｕｓ", "lotus"),  # full width
        ("𝐥𝐨𝐭𝐮𝐬", "lotus"),  # mathematical bold
        ("lótus", "lotus"),
        ("lotu\u0301s", "lotus"),
        ("nymphaea", "nyrnphaea"),  # m and rn
        ("vvater", "water"),
        ("pond×hybrid", "pondxhybrid"),
        ("pond×hybrid", "pondхhybrid"),  # Cyrillic ha
        ("grove٣", "grove3"),  # Arabic-Indic digit
    ],
)
def test_what_looks_alike_has_one_skeleton(imitation: str, known: str) -> None:
    assert skeleton(imitation) == skeleton(known)


@pytest.mark.parametrize(
    ("one", "other"), [("lotus", "lotos"), ("pond5", "ponds"), ("hat", "nat"), ("alba", "albo"), ("a2", "az")]
)
def test_what_reads_differently_keeps_its_skeleton(one: str, other: str) -> None:
    assert skeleton(one) != skeleton(other)


def test_the_skeleton_of_a_handle_is_exact() -> None:
    assert skeleton("N. × Marliacea 10") == "nxrnarllacealo"


@pytest.mark.parametrize(
    ("handle", "allowed"),
    [
        ("a", "2 to 40 characters"),
        ("", "2 to 40 characters"),
        ("a" * 41, "2 to 40 characters"),
        ("lotus\u200b", "letters, digits, single spaces and . - _ ' ×"),
        ("lotus\u202egub", "letters, digits, single spaces and . - _ ' ×"),
        ("lo\u3164tus", "letters, digits, single spaces and . - _ ' ×"),
        ("lotus\x00", "letters, digits, single spaces and . - _ ' ×"),
        ("lotus<b>", "letters, digits, single spaces and . - _ ' ×"),
        ("name@example.org", "letters, digits, single spaces and . - _ ' ×"),
        ("lоtus", "letters of one script, because those of two can pass for one another"),
        ("ΗΡΑ", "the same word in small letters, because these capitals pass for Latin ones"),
        ("...", "at least 2 letters or digits, and fewer than 40 composite ones"),
        ("ᾠ" * 40, "at least 2 letters or digits, and fewer than 40 composite ones"),
        ("Adm1n", "a handle that does not sound like an office"),
        ("co-ordinator", "a handle that does not sound like an office"),
        ("Former Grower", "a handle that does not sound like an office"),
    ],
)
def test_a_refused_handle_says_what_is_allowed(handle: str, allowed: str) -> None:
    assert refusal(handle) == allowed


@pytest.mark.parametrize(
    "handle", ["pond-5", "Zoë", "睡蓮", "кувшинка", "νυφαια", "O'Neil", "N. × alba", "a2"]
)
def test_names_of_every_script_are_allowed(handle: str) -> None:
    assert refusal(normalized(handle)) is None


def test_the_stored_form_is_composed_and_has_single_spaces() -> None:
    assert normalized("  Zoe\u0308 \t  ｐond ") == "Zoë pond"


@given(LETTERS)
def test_folding_again_changes_nothing(handle: str) -> None:
    assert skeleton(skeleton(handle)) == skeleton(handle)


@given(LETTERS)
def test_case_and_normal_form_do_not_make_another_handle(handle: str) -> None:
    assert skeleton(handle.casefold()) == skeleton(handle)
    assert skeleton(unicodedata.normalize("NFD", handle)) == skeleton(handle)
    assert skeleton(normalized(handle)) == skeleton(handle)


@given(
    LETTERS, st.sampled_from("\u200b\u200c\u200d\u2060\ufeff\u00ad\u0301\u034f\u3164 -_."), st.integers(0, 60)
)
def test_a_sign_nobody_sees_does_not_make_another_handle(handle: str, sign: str, place: int) -> None:
    folded = skeleton(handle)
    assert skeleton(folded[:place] + sign + folded[place:]) == folded


@given(LETTERS)
def test_an_allowed_handle_fits_its_columns(handle: str) -> None:
    stored = normalized(handle)
    if refusal(stored) is None:
        assert 2 <= len(stored) <= 40
        assert 2 <= len(skeleton(stored)) <= LONGEST_SKELETON


@pytest.mark.parametrize("letter", sorted(map(chr, CONFUSABLES)))
def test_every_letter_of_the_table_is_reached_by_the_fold(letter: str) -> None:
    assert skeleton(letter) == CONFUSABLES[ord(letter)]
