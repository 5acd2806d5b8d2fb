"""Lots in words: every code has a sentence, and events name what happened."""

import inspect
from datetime import UTC, datetime

import pytest

from exchange.models import CustodyEvent, Incident, Lot, Store
from exchange.models.offer import Treatment
from exchange.selectors import lot_course, lot_viability
from exchange.wording.lot import (
    BASIS,
    DOUBTS,
    EVENTS,
    INCIDENTS,
    STORES,
    TREATMENTS,
    basis_sentence,
    custody_sentence,
    custody_words,
    doubt_sentence,
)
from growers.models import Plant
from tests.exchange.wording.plain import PERMISSION


def test_every_kind_has_its_words() -> None:
    assert set(EVENTS) == set(CustodyEvent.Kind)
    assert set(INCIDENTS) == set(Incident.Kind)
    assert set(STORES) == set(Store.Kind)
    assert set(TREATMENTS) == set(Treatment)


def test_every_code_that_is_reckoned_has_its_sentence() -> None:
    for words, module in ((DOUBTS, lot_course), (BASIS, lot_viability)):
        source = inspect.getsource(module)
        assert [code for code in words if f'"{code}"' not in source] == []


def test_no_sentence_gives_leave() -> None:
    told = [doubt_sentence(code) for code in DOUBTS]
    told += [basis_sentence(code, {"tests": 2, "tests_of_another_way": 1}) for code in BASIS]
    assert [sentence for sentence in told if PERMISSION.search(sentence)] == []


def event(kind: str, **parameters: object) -> CustodyEvent:
    lot = Lot(code="7K3M9QXF", plant=Plant(name_as_grown="'Ferry'"))
    at = datetime(2027, 7, 1, 12, tzinfo=UTC)
    return CustodyEvent(lot=lot, kind=kind, occurred_at=at, parameters=parameters)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (
            event("moved", store="chest_freezer", origin="refrigerator"),
            "moved to another store: chest freezer",
        ),
        (event("incident", incident="thawed", hours=3), "something went wrong: it thawed"),
        (event("packet_filled", number=2, doses=3), "packet 2 filled, doses: 3"),
        (event("tested", germinated=60, grains=200, method="in_vitro"), "tested: 60 of 200 grains"),
    ],
)
def test_what_happened(told: CustodyEvent, words: str) -> None:
    assert custody_words(told) == words
    assert custody_sentence(told).startswith(f"Pollen of 'Ferry', lot 7K3M-9QXF: {words}.")


def test_dates_that_moved_stand_beside_the_old_ones_with_new_doubts() -> None:
    told = event(
        "tested",
        germinated=3,
        grains=200,
        before={"best_before": "2027-07-20T10:00:00+00:00", "worth_trying_until": None},
        after={"best_before": "2027-07-12T10:00:00+00:00", "worth_trying_until": None},
        new_doubts=["heat"],
    )
    assert custody_sentence(told) == (
        "Pollen of 'Ferry', lot 7K3M-9QXF: tested: 3 of 200 grains. Best before 2027-07-12 (was 2027-07-20)."
        " It was above 35 °C for more than an hour; the curve is not known there."
    )
