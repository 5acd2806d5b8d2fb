"""The page of the model says what the model does: its constants, and its table of simulated seasons."""

import re
from pathlib import Path

import pytest

from exchange.science import constants
from tests.matching.instance import random_pair
from tests.matching.simulation import even_flowers, simulate

PAGE = Path(__file__).resolve().parents[2] / "docs" / "science" / "matching.md"
CONSTANT = re.compile(r"^\| `(\w+)` \| ([\d.]+) \|.*\| (\w+) \|$", re.MULTILINE)
PLAYED = re.compile(r"^\| (\d+): .* \| ([\d.]+) % \| ([\d.]+) % \| ([\d.]+) % \|$", re.MULTILINE)
SEASONS = 20_000
# Rounding of the printed tenth, and what single precision may move.
PRINTED = 0.0006

TEXT = PAGE.read_text(encoding="utf-8")


@pytest.mark.parametrize(("name", "value", "status"), CONSTANT.findall(TEXT))
def test_the_page_gives_the_constants_that_are_used(name: str, value: str, status: str) -> None:
    constant = getattr(constants, name)
    assert (constant.value, constant.status) == (float(value), status)


def test_the_page_lists_its_constants_and_says_what_is_checked() -> None:
    assert len(CONSTANT.findall(TEXT)) >= 15
    assert "**The tests against simulated seasons check arithmetic, not nature.**" in TEXT


@pytest.mark.parametrize(("index", "shown", "played", "even"), PLAYED.findall(TEXT))
def test_the_page_shows_the_seasons_that_were_played(index: str, shown: str, played: str, even: str) -> None:
    pair = random_pair(int(index))
    plan = pair.planned()
    found = (
        plan.each_flower.estimate,
        simulate(pair, seasons=SEASONS, seed=int(index)).each_flower,
        simulate(pair, seasons=SEASONS, seed=int(index), flowering=even_flowers).each_flower,
    )
    printed = [float(percent) / 100.0 for percent in (shown, played, even)]
    assert found == pytest.approx(printed, abs=PRINTED)
