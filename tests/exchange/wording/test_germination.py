"""What a counted test tells: every code of the science has a plain sentence that its parameters fill."""

import ast
import inspect
import re
import string
from collections.abc import Iterator
from itertools import product
from typing import Any

import pytest
from django.utils.functional import Promise

from exchange.models import Assay
from exchange.models.offer import Treatment
from exchange.science import germination_count as science
from exchange.science.germination_count import Advice, Way, germination_count
from exchange.wording.germination import METHODS, SENTENCES, germination_sentence
from tests.exchange.wording.plain import API_WORDS, PERMISSION

COUNTS: tuple[tuple[list[int], list[int]], ...] = (
    ([30], [100]),
    ([0, 0], [15, 15]),
    ([15, 15], [15, 15]),
    ([80, 40], [100, 100]),
    ([80, 40, 60, 60], [100] * 4),
    ([120, 120, 120], [400] * 3),
)


def all_advice() -> Iterator[Advice]:
    """Of tests of every kind."""
    for counts, method, treatment, rehydrated, wanted in product(
        COUNTS, Assay.Method.values, Treatment.values, (True, False, None), (None, 5.0, 30.0)
    ):
        yield from germination_count(
            *counts,
            Way(method, "5 % sucrose", "a tube as long as the grain is wide"),
            treatment=treatment,  # type: ignore[arg-type]
            rehydrated=rehydrated,
            wanted_half_width_percent=wanted,
        ).advice


PREFIXES = {"nothing_", "all_"}
"""Codes that are put together end in what was counted."""

ADVICE = {each.code: each for each in all_advice()}


def test_every_code_that_the_science_gives_has_a_sentence_and_no_other() -> None:
    assert set(ADVICE) == set(SENTENCES)


def test_no_code_of_the_source_was_missed() -> None:
    tree = ast.parse(inspect.getsource(science))
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
    named = [call.args[0] for call in calls if isinstance(call.func, ast.Name) and call.func.id == "Advice"]
    parts = [part.value for each in named for part in ast.walk(each) if isinstance(part, ast.Constant)]
    written = {part for part in parts if isinstance(part, str)} - PREFIXES
    assert len(written) > 10
    assert written <= set(SENTENCES)


@pytest.mark.parametrize("code", sorted(SENTENCES))
def test_a_sentence_is_plain_and_uses_every_parameter(code: str) -> None:
    told = germination_sentence(code, ADVICE[code].parameters)
    assert told[0].isupper() and told[-1] in ".?"
    assert "!" not in told and "{" not in told
    assert not API_WORDS.search(told)
    assert not PERMISSION.search(told)
    assert isinstance(SENTENCES[code], Promise)
    filled = {
        name.removesuffix("_words")
        for _, name, _, _ in string.Formatter().parse(str(SENTENCES[code]))
        if name
    }
    assert filled == set(ADVICE[code].parameters)


@pytest.mark.parametrize(
    ("code", "parameters", "told"),
    [
        (
            "replicates_disagree",
            {"range_percent": 40.0, "tolerated_percent": 15.528893},
            "The samples differ by 40.0 points of per cent; chance alone seldom reaches 15.5.",
        ),
        (
            "nothing_germinated",
            {"counted": 30, "high_percent": 16.827},
            "None of 30 grains germinated. That does not show that all are dead: up to 16.8 in 100 may"
            " germinate.",
        ),
        (
            "more_grains",
            {"half_width_percent": 5.0, "more": 120, "more_clumped": 754},
            "To know the share to 5 points either way: 120 more grains if each were independent; about 754"
            " more in samples like these, because grains clump.",
        ),
        (
            "clumping_assumed",
            {"counted": 200, "effective_grains": 67.114, "correlation": 0.02},
            "Grains on one sample resemble each other, so these 200 count as about 67 independent ones. How"
            " much they do is our guess (correlation 0.02).",
        ),
        (
            "same_way_only",
            {"method": "stigmatic_fluid", "medium": "37 °C", "rule": "tube {twice} the grain"},
            "Compare it only with tests done the same way: in fluid of a first-day flower, 37 °C; a grain"
            " counts when: tube {twice} the grain.",
        ),
    ],
)
def test_sentences_say_what_they_should(code: str, parameters: dict[str, Any], told: str) -> None:
    assert germination_sentence(code, parameters) == told


def test_every_method_of_a_test_has_words() -> None:
    assert list(METHODS) == Assay.Method.values
    assert all(re.fullmatch(r"[a-z -]+", str(words)) for words in METHODS.values())


def test_an_unknown_code_is_an_error() -> None:
    with pytest.raises(KeyError, match="no_such_code"):
        germination_sentence("no_such_code", {})
    with pytest.raises(KeyError, match="counted"):
        germination_sentence("too_few_grains", {})
