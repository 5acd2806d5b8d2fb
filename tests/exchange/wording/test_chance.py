"""Chances in words and in percent: as precise as they are, and never a chance of nothing."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.wording.chance import chance_in_words, percent

WORDS = {
    0.0: "under 1 in 100",
    0.0004: "under 1 in 100",
    0.01: "about 1 in 100",
    0.02: "about 1 in 50",
    0.12: "about 1 in 8",
    0.19: "about 1 in 5",
    0.2: "about 1 in 5",
    0.24: "about 1 in 4",
    0.33: "about 1 in 3",
    0.5: "about 1 in 2",
    0.67: "about 2 in 3",
    0.75: "about 3 in 4",
    0.8: "about 4 in 5",
    0.9: "about 9 in 10",
    0.95: "about 9 in 10",
    0.96: "more than 19 in 20",
    1.0: "more than 19 in 20",
}
PERCENT = {
    0.0: "under 1 %",
    0.0099: "under 1 %",
    0.01: "1.0 %",
    0.0834: "8.3 %",
    0.0994: "9.9 %",
    0.0996: "10 %",
    0.1: "10 %",
    0.126: "13 %",
    1.0: "100 %",
}


@pytest.mark.parametrize("chance", WORDS)
def test_a_chance_in_words(chance: float) -> None:
    assert chance_in_words(chance) == WORDS[chance]


@pytest.mark.parametrize("chance", PERCENT)
def test_a_chance_in_percent(chance: float) -> None:
    assert percent(chance) == PERCENT[chance]


@pytest.mark.parametrize("chance", [-0.001, 1.001, math.nan, math.inf])
def test_what_is_no_chance_is_refused(chance: float) -> None:
    with pytest.raises(ValueError, match=re.escape(f"chance is {chance}; allowed: 0 to 1.")):
        chance_in_words(chance)


def meant(words: str) -> float:
    part, whole = (int(number) for number in re.findall(r"[0-9]+", words))
    return part / whole


@given(st.floats(0.01, 1.0))
def test_words_are_never_far_from_the_chance(chance: float) -> None:
    """At most 0.085 off from a fifth on (half the widest gap between the words), a tenth of it below."""
    words = chance_in_words(chance)
    allowed = 0.0834 if chance >= 0.2 else 0.1 * chance
    assert abs(meant(words) - chance) <= allowed


@given(st.floats(0.01, 1.0), st.floats(0.01, 1.0))
def test_a_higher_chance_never_sounds_lower(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert meant(chance_in_words(low)) <= meant(chance_in_words(high))
