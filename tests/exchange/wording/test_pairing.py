"""One pairing in sentences: no day where only weeks are known, no hour at all, everything with its basis."""

import re
from datetime import date
from typing import Any, get_args

import pytest

from exchange.matching.bud_wait import BudWait
from exchange.matching.chance import Estimate
from exchange.matching.plan import Precision
from exchange.matching.posting_date import Decider
from exchange.science.bloom import BASES
from exchange.wording.pairing import (
    BASIS,
    DECIDERS,
    basis_sentence,
    bud_wait_sentence,
    chance_sentence,
    decided_sentence,
    posting_sentence,
    sentences,
    two_baskets_sentence,
)
from tests.exchange.plan import RARELY, a_bud_wait, a_pairing, planned_dates
from tests.exchange.wording.plain import API_WORDS, HOUR

DAY = re.compile(r"\b(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun)\b")


def posting(**changes: Any) -> str:
    return posting_sentence(a_pairing(**changes))


# --- chance ---


def test_the_chance_of_each_flower_and_of_all_of_them() -> None:
    assert chance_sentence(a_pairing()) == (
        "each flower about 1 in 8 (12 %, likely range 3.0 % to 31 %); with 4 flowers about 1 in 3"
    )


def test_one_flower_is_said_once() -> None:
    plain = Estimate(0.004, 0.0, 0.02)
    assert chance_sentence(a_pairing(each_flower=plain, several=plain, flowers=1)) == (
        "each flower under 1 in 100 (under 1 %, likely range under 1 % to 2.0 %)"
    )


# --- when to post ---

POSTING = {
    "days": ({}, "best on Thu 18 June, not later than Thu 25 June"),
    "in hand": ({"precision": "clock"}, "best on Thu 18 June, not later than Thu 25 June"),
    "no deadline": (
        {"dates": planned_dates(not_later_than=None)},
        "best on Thu 18 June; no deadline this season, the pollen's own life decides",
    ),
    "at once": (
        {"dates": planned_dates(send_at_once=True, not_later_than=date(2026, 6, 18))},
        "send at once, Thu 18 June",
    ),
    "in hand, better at the bud": (
        {"precision": "clock", "bud_wait": RARELY},
        "once a bud shows; by the forecast alone best on Thu 18 June, not later than Thu 25 June",
    ),
    "season": (
        {"precision": "season", "bud_wait": None},
        "between the week of 15 June and the week of 22 June, once a bud shows",
    ),
    "season, in hand": (
        {"precision": "season"},
        "between the week of 15 June and the week of 22 June",
    ),
    "season, in hand, better at the bud": (
        {"precision": "season", "bud_wait": RARELY},
        "once a bud shows; by the forecast alone between the week of 15 June and the week of 22 June",
    ),
    "season of one week": (
        {"precision": "season", "bud_wait": None, "dates": planned_dates(good_last=date(2026, 6, 21))},
        "in the week of 15 June, once a bud shows",
    ),
    "season over New Year": (
        {
            "precision": "season",
            "bud_wait": None,
            "dates": planned_dates(good_first=date(2027, 1, 1), good_last=date(2027, 1, 4)),
        },
        "between the week of 28 December and the week of 4 January, once a bud shows",
    ),
    "too early": (
        {"dates": None, "precision": "season", "likeliest_posting": date(2026, 8, 23)},
        "too early to name a day; likeliest in the week of 17 August",
    ),
}


@pytest.mark.parametrize("case", POSTING)
def test_when_to_post(case: str) -> None:
    changes, expected = POSTING[case]
    assert posting(**changes) == expected  # type: ignore[arg-type]


@pytest.mark.parametrize("precision", get_args(Precision))
@pytest.mark.parametrize("dated", [True, False])
def test_no_posting_sentence_holds_an_hour(precision: str, dated: bool) -> None:
    changes: dict[str, Any] = {"precision": precision} | ({} if dated else {"dates": None})
    sentence = posting(**changes)
    assert not HOUR.search(sentence)
    if precision == "season" or not dated:
        assert not DAY.search(sentence)
        assert "week of" in sentence


# --- what decides, and what it rests on ---


def test_every_decider_has_words() -> None:
    assert set(DECIDERS) == set(get_args(Decider))
    told = {decided_sentence(a_pairing(dates=planned_dates(decided_by=name))) for name in DECIDERS}
    assert len(told) == len(DECIDERS)
    assert "the post, if it is slow" in told


def test_where_no_deadline_is_named_nothing_decides_it() -> None:
    assert decided_sentence(a_pairing(dates=None)) == ""
    assert decided_sentence(a_pairing(dates=planned_dates(not_later_than=None))) == ""


def test_every_basis_has_words() -> None:
    assert set(BASIS) == {*BASES, "lot in hand"}
    assert basis_sentence(a_pairing()) == "donor: pollen in hand; recipient: its own records"
    for name in BASES:
        words = basis_sentence(a_pairing(donor_basis=name, recipient_basis=name))
        assert words == f"donor: {BASIS[name]}; recipient: {BASIS[name]}"


def test_words_of_the_interface_are_not_words_of_a_page() -> None:
    for words in (*map(str, BASIS.values()), *map(str, DECIDERS.values()), chance_sentence(a_pairing())):
        assert not API_WORDS.search(words)


def test_stored_reasons_are_worded_in_their_order() -> None:
    records: list[dict[str, Any]] = [
        {"code": "sterile_pollen_parent", "parameters": {"plant": "'Mule'", "source": "its grower"}},
        {"code": "below_least_chance", "parameters": {}},
    ]
    assert sentences(records) == [
        "'Mule' has no working pollen (its grower).",
        "Below the least chance that was asked for.",
    ]


# --- to wait for the bud ---

WAITING: dict[str, tuple[BudWait, str]] = {
    "worse": (
        a_bud_wait(),
        "better not to wait for the recipient's bud: each dose posted then 10 %, likely range 2.0 % to 28 %,"
        " instead of 12 %",
    ),
    "better": (
        RARELY,
        "better to wait for the recipient's bud: each dose posted then 15 %, likely range 5.0 % to 40 %,"
        " instead of 12 %; it is posted only if a bud is seen, with 68 %: of each dose promised 10 %",
    ),
    "not to be seen": (
        a_bud_wait(each_posted=Estimate(0.1199, 0.02, 0.28), each_promised=0.1199),
        "to wait for the recipient's bud changes little: each dose posted then 12 %, likely range 2.0 % to"
        " 28 %, instead of 12 %",
    ),
}


@pytest.mark.parametrize("case", WAITING)
def test_what_waiting_for_the_bud_gives(case: str) -> None:
    wait, expected = WAITING[case]
    assert bud_wait_sentence(a_pairing(bud_wait=wait)) == expected
    assert not API_WORDS.search(expected)


def test_plans_of_before_say_nothing_of_the_bud() -> None:
    row = a_pairing(precision="season")
    del row.plan["bud_wait"]
    assert bud_wait_sentence(row) == ""
    assert posting_sentence(row) == "between the week of 15 June and the week of 22 June, once a bud shows"


# --- two packets ---

BASKETS = {
    "offer": None,
    "doses": [2, 1],
    "posting": ["2026-06-18", "2026-06-25"],
    "at_least_one_together": 0.33,
    "at_least_one_split": 0.36,
    "gain": 0.03,
}
SPLIT: dict[str, tuple[dict[str, Any], str]] = {
    "later": (
        {},
        "2 + 1 doses, the second packet in the week of 22 June: at least one capsule 36 % instead of 33 %",
    ),
    "another donor": (
        {"offer": "an id"},
        "2 + 1 doses, the second packet from another donor: at least one capsule 36 % instead of 33 %",
    ),
    "worse": (
        {"at_least_one_split": 0.3, "gain": -0.03},
        "2 + 1 doses, the second packet in the week of 22 June: no better, at least one capsule 30 % instead"
        " of 33 %",
    ),
    "not to be seen": (
        {"at_least_one_split": 0.331, "gain": 0.001},
        "2 + 1 doses, the second packet in the week of 22 June: no better, at least one capsule 33 % instead"
        " of 33 %",
    ),
}


@pytest.mark.parametrize("case", SPLIT)
def test_what_two_packets_would_give(case: str) -> None:
    changes, expected = SPLIT[case]
    row = a_pairing()
    row.plan["two_baskets"] = {**BASKETS, **changes}
    assert two_baskets_sentence(row) == expected
    assert not API_WORDS.search(expected)


@pytest.mark.parametrize("baskets", [None, {"reckoned_from": "a digest"}])
def test_what_was_not_reckoned_is_not_said(baskets: dict[str, str] | None) -> None:
    row = a_pairing()
    row.plan["two_baskets"] = baskets
    assert two_baskets_sentence(row) == ""
