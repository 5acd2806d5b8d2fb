"""Codes of lots: every single error and every swap of neighbours is noticed, and typing is forgiven."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.models.lot_code import (
    ALPHABET,
    LENGTH,
    check_character,
    code_new,
    code_read,
    code_shown,
)

bodies = st.text(ALPHABET, min_size=LENGTH - 1, max_size=LENGTH - 1)


def test_the_alphabet_has_no_letter_that_is_taken_for_another() -> None:
    assert len(ALPHABET) == len(set(ALPHABET)) == 32
    assert not set("ILOU") & set(ALPHABET)


def test_multiplying_by_x_runs_through_all_elements() -> None:
    """The polynomial is primitive: eight powers that differ are what makes every swap visible."""
    seen, body = [], "0000001"
    for _ in range(31):
        seen.append(check_character(body))
        body = f"000000{seen[-1]}"
    assert len(set(seen)) == 31
    assert "0" not in seen


def errors(place: int, right: str, wrong: str) -> int:
    """By how much the checked sum of a code moves if one character of it is another; linear in the error."""
    difference = ALPHABET[ALPHABET.index(right) ^ ALPHABET.index(wrong)]
    alone = "0" * place + difference + "0" * (LENGTH - 1 - place)
    return ALPHABET.index(check_character(alone[:-1])) ^ ALPHABET.index(alone[-1])


def test_every_single_error_is_caught() -> None:
    """All of them: the check is linear, so an error at a place moves the sum whatever else stands there."""
    missed = [
        (place, right, wrong)
        for place, right, wrong in product(range(LENGTH), ALPHABET, ALPHABET)
        if right != wrong and errors(place, right, wrong) == 0
    ]
    assert missed == []


def test_every_swap_of_neighbours_is_caught() -> None:
    missed = [
        (place, one, other)
        for place, one, other in product(range(LENGTH - 1), ALPHABET, ALPHABET)
        if one != other and errors(place, one, other) == errors(place + 1, one, other)
    ]
    assert missed == []


@given(bodies, bodies)
def test_the_check_is_linear(one: str, other: str) -> None:
    def number(sign: str) -> int:
        return ALPHABET.index(sign)

    both = "".join(ALPHABET[number(a) ^ number(b)] for a, b in zip(one, other, strict=True))
    assert number(check_character(both)) == number(check_character(one)) ^ number(check_character(other))


@given(bodies, st.integers(0, LENGTH - 1), st.sampled_from(ALPHABET))
def test_a_wrong_character_reads_as_no_code(body: str, place: int, sign: str) -> None:
    code = body + check_character(body)
    wrong = code[:place] + sign + code[place + 1 :]
    assert code_read(wrong) == (code if wrong == code else None)


@given(bodies)
def test_a_code_is_read_as_people_type_it(body: str) -> None:
    code = body + check_character(body)
    assert code_read(code_shown(code)) == code
    assert code_read(f" {code[:3]} {code[3:]} ".lower()) == code
    assert code_read(code.replace("1", "l").replace("0", "o").replace("V", "u")) == code
    assert code_read(code.replace("1", "I").replace("0", "O")) == code


@pytest.mark.parametrize(
    "text", ["", "7K3M9QX", "7K3M9QXFF", "7K3M-9QX!", "7K3M9QXG", "ÄÖÜßéñçø", "۱۲۳۴۵۶۷۸"]
)
def test_what_is_no_code(text: str) -> None:
    assert code_read(text) is None


def test_a_published_pair() -> None:
    assert code_read("7K3M-9QXF") == "7K3M9QXF"


def test_new_codes_are_codes_and_differ() -> None:
    codes = {code_new() for _ in range(500)}
    assert len(codes) == 500
    assert {code_read(code) for code in codes} == codes
