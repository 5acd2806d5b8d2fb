"""Tables of published observations: every row sourced, and the numbers those of the sources."""

import csv
import re
from pathlib import Path
from typing import get_args

import pytest

from exchange.science.constants import Status
from exchange.science.group import GROUPS
from tests.published import Row, cases

FOLDER = Path(__file__).resolve().parents[2] / "exchange" / "science" / "data"
ROW_COUNT = {"compat_prior": 49, "cross_result": 33, "barrier": 21, "after_pollination": 31, "season_cue": 8}


def _table(name: str) -> list[dict[str, str]]:
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def _unsourced(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    allowed = get_args(Status)
    return [row for row in rows if not (row.get("source") or "").strip() or row.get("status") not in allowed]


@pytest.mark.parametrize("name", ROW_COUNT)
def test_every_row_has_a_source_and_a_status(name: str) -> None:
    rows = _table(name)
    assert len(rows) == ROW_COUNT[name]
    assert _unsourced(rows) == []
    assert not any(None in row or None in row.values() for row in rows)


@pytest.mark.parametrize(
    "wrong",
    [{"source": " "}, {"source": ""}, {"status": ""}, {"status": "rumour"}],
    ids=["blank", "empty", "no status", "no such status"],
)
def test_a_row_without_source_or_status_would_be_found(wrong: dict[str, str]) -> None:
    row = _table("barrier")[0]
    assert _unsourced([row]) == []
    assert len(_unsourced([row | wrong])) == 1


@pytest.mark.parametrize("name", ROW_COUNT)
def test_no_row_is_there_twice(name: str) -> None:
    rows = [tuple(row.items()) for row in _table(name)]
    assert name == "cross_result" or len(set(rows)) == len(rows)


def test_groups_of_crosses_are_those_of_the_project() -> None:
    for row in _table("cross_result"):
        for column in ("seed_group", "pollen_group"):
            assert all(group in GROUPS for group in row[column].split(" / ") if group), row


@pytest.mark.parametrize("name", ["after_pollination", "season_cue"])
def test_numbers_are_those_of_the_printed_value(name: str) -> None:
    for row in _table(name):
        printed = re.findall(r"\d+(?:\.\d+)?", row["value"])
        for side in ("low", "high"):
            assert row[side] == "" or row[side] in printed, row
        if row["low"] and row["high"]:
            assert float(row["low"]) <= float(row["high"])


@pytest.mark.parametrize("row", cases("after_pollination"))
def test_stages_after_pollination_are_the_published_ones(row: Row) -> None:
    (found,) = (
        line
        for line in _table("after_pollination")
        if line["stage"] == row.inputs["stage"]
        and line["group"] == row.inputs["group"]
        and line[row.inputs["side"]]
    )
    row.check(float(found[row.inputs["side"]]))


@pytest.mark.parametrize("row", cases("compatibility", "barrier_value"))
def test_barriers_are_the_published_ones(row: Row) -> None:
    (found,) = (
        line
        for line in _table("barrier")
        if line["topic"] == row.inputs["topic"] and line["taxon_or_cross"] == row.inputs["taxon_or_cross"]
    )
    row.check(float(found["value"]))


@pytest.mark.parametrize("row", cases("compatibility", "mean_set_percent"))
def test_mean_set_of_counted_crosses(row: Row) -> None:
    rates = [
        float(line["fruit_or_seed_set_percent"])
        for line in _table("cross_result")
        if all(line[column] == row.inputs[column] for column in ("seed_group", "pollen_group", "level"))
        and line["fruit_or_seed_set_percent"]
    ]
    row.check(sum(rates) / len(rates))


def _hardy_by_tropical() -> dict[str, str]:
    (line,) = (line for line in _table("cross_result") if line["seeds"] == "244")
    return line


@pytest.mark.parametrize("row", cases("compatibility", "hardy_tropical_count", "hardy_tropical_colours"))
def test_counts_of_the_one_hardy_by_tropical_pod(row: Row) -> None:
    line = _hardy_by_tropical()
    if row.quantity == "hardy_tropical_colours":
        row.check(sum(int(count) for count in re.findall(r"(\d+) (?:pink|blue)", line["outcome"])))
    else:
        row.check(float(line[row.inputs["column"]]))


@pytest.mark.parametrize("row", cases("compatibility", "hardy_tropical_share"))
def test_shares_of_the_one_hardy_by_tropical_pod(row: Row) -> None:
    line = _hardy_by_tropical()
    row.check(int(line[row.inputs["part"]]) / int(line[row.inputs["whole"]]))


@pytest.mark.parametrize("row", cases("compatibility", "combination_share"))
def test_share_of_tropical_by_hardy_combinations_that_bore_seed(row: Row) -> None:
    bore, tried = 0, 0
    for line in _table("cross_result"):
        if line["pollen_parent"] in row.inputs["pollen_parents"] and "combinations" in line["capsules"]:
            first, second = (int(number) for number in re.findall(r"\d+", line["capsules"]))
            bore, tried = bore + first, tried + second
    row.check(bore / tried)
