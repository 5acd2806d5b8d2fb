"""Many offers for one wanted cross: the best are planned in full, the refused keep their reasons."""

from dataclasses import replace
from datetime import date
from types import SimpleNamespace
from typing import Any

import pytest

from exchange.services import shortlist as module
from exchange.services.pair_digest import Pair
from exchange.services.shortlist import shortlist
from tests.exchange.pair import a_bloom, a_parent, a_wanted_cross, an_offer

TODAY = date(2026, 6, 15)


def pair(number: int, **changes: Any) -> Pair:
    offer = an_offer(key=f"offer {number:03d}", bloom=a_bloom(), **changes)
    row: Any = SimpleNamespace(plant=SimpleNamespace(site=None))
    wanted_row: Any = SimpleNamespace(seed_parent=SimpleNamespace(site=None))
    return Pair(row, offer, wanted_row, a_wanted_cross(bloom=a_bloom(), least_chance=0.0), None, None)


@pytest.fixture(autouse=True)
def _ranked_by_number(monkeypatch: pytest.MonkeyPatch) -> None:
    """Higher numbers rank better; what a ranking is worth is tested with the matching."""
    monkeypatch.setattr(module, "_ranking", lambda pair, today, ahead: int(pair.offer.key[-3:]) / 1000)


def keys(pairs: list[Pair], flowers: object = "flowers") -> list[str]:
    return [found.offer.key for found in shortlist(pairs, TODAY, lambda: flowers)]  # type: ignore[arg-type, return-value]


def test_few_offers_are_all_planned() -> None:
    pairs = [pair(number) for number in range(64)]
    assert len(keys(pairs)) == 64


def test_of_many_offers_the_best_sixty_four_are_planned_in_their_order() -> None:
    pairs = [pair(number) for number in range(70)]
    assert keys(pairs) == [f"offer {number:03d}" for number in range(6, 70)]


def test_refused_pairs_stay_in_to_be_told_and_take_no_place() -> None:
    sterile = replace(a_parent("sterile"), pollen_fertility="no")
    pairs = [pair(0, parent=sterile), *(pair(number) for number in range(1, 66))]
    assert keys(pairs) == ["offer 000", *(f"offer {number:03d}" for number in range(2, 66))]


def test_where_no_flower_is_ahead_nothing_is_ranked() -> None:
    pairs = [pair(number) for number in range(70)]
    assert len(keys(pairs, flowers=None)) == 70
