"""Who may do what: every operation of the document as every viewer, and every key that each of them reads."""

import logging
import os
import re
from collections import defaultdict
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from pytest_django import DjangoDbBlocker

from exchange.api.page import document
from exchange.services.rescoring import rescore
from tests.api import access_key
from tests.api.access import ROWS, Row
from tests.api.access_call import Operations, Seen, address, all_seen, filled, sent, undone, whole
from tests.api.access_deal import AGREED_SEED
from tests.api.access_member import handle
from tests.api.access_society import COUNTRY, FIRST_KEY, Society, make_society
from tests.clock import MovableClock
from tests.exchange.society import NOON, SECRET_NAME
from tests.factories import make_grower, make_plant, make_wanted_cross

pytestmark = pytest.mark.django_db

INTEGER_KEY = re.compile(rf"(?<![0-9a-f]){str(FIRST_KEY)[:6]}[0-9]{{3}}(?![0-9a-f])")
NOTED = {"agreement_address_label": ("exchange_addressview",)}
"""What a read leaves behind: that an address was read, for its owner to see."""

PROBLEM = {"type", "title", "status", "detail", "instance", "code", "request_id", "errors"}


@cache
def operations() -> Operations:
    """All operations of the document, made anew."""
    paths: Any = document()["paths"]
    methods = ("get", "post", "put", "patch", "delete")
    return {
        (method.upper(), path): item[method]
        for path, item in paths.items()
        for method in methods
        if method in item
    }


@pytest.fixture(scope="module")
def seen(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> tuple[Society, list[Seen]]:
    """One society, and every answer to everybody."""
    clock = MovableClock(Path(os.environ["CLOCK_OFFSET_FILE"]))
    clock.set(NOON)
    try:
        with django_db_blocker.unblock(), undone():
            society = make_society()
            return society, all_seen(society, operations())
    finally:
        clock.reset()


def none_of(sentences: list[str]) -> None:
    """Fail with all of them, whole."""
    if sentences:
        pytest.fail("\n".join(sentences), pytrace=False)


def test_every_operation_has_a_row_and_every_row_an_operation() -> None:
    rows = {(row.method, address(row.path)) for row in ROWS}
    missing = [
        f'{method} {path}: add row("{method} {path.removeprefix("/api/v1")}", …) to ROWS of'
        " tests/api/access.py, with a row of tests/api/access_society.py in place of {id}, then run this"
        f" file with ACCESS_KEYS=write for tests/api/access_keys/{described['operationId']}.txt."
        for (method, path), described in operations().items()
        if (method, path) not in rows
    ]
    gone = [
        f"{method} {path}: take its row out of tests/api/access.py."
        for method, path in rows - set(operations())
    ]
    none_of([*missing, *sorted(gone)])


def test_everybody_is_answered_as_the_table_says(seen: tuple[Society, list[Seen]]) -> None:
    none_of(
        [
            f"{each.name}: {each.answer.status}, not {each.row.statuses[each.viewer]}"
            for each in seen[1]
            if each.answer.status != each.row.statuses[each.viewer]
        ]
    )


def test_each_viewer_reads_the_listed_keys_and_no_others(seen: tuple[Society, list[Seen]]) -> None:
    """After a change that is meant: ``ACCESS_KEYS=write`` writes the lists; read them before they stay."""
    contents: dict[str, dict[str, list[Any]]] = defaultdict(lambda: defaultdict(list))
    for each in seen[1]:
        if each.answer.status in (200, 201, 202):
            contents[each.operation][each.viewer].append(each.content)
    keys = {
        operation: {viewer: access_key.keys_of(found) for viewer, found in by_viewer.items()}
        for operation, by_viewer in contents.items()
    }
    if os.environ.get("ACCESS_KEYS") == "write":
        for operation, found in keys.items():
            access_key.write(operation, found)
    different = [line for operation in keys for line in access_key.differences(operation, keys[operation])]
    files = {file.stem for file in access_key.FOLDER.iterdir()}
    gone = [f"{name}.txt: nobody is answered so; take it away." for name in sorted(files - keys.keys())]
    none_of([*different, *gone])


def test_a_refusal_tells_of_nothing_and_changes_nothing(seen: tuple[Society, list[Seen]]) -> None:
    for each in seen[1]:
        if each.answer.status >= 400:
            assert (each.name, each.answer.body.keys()) == (each.name, PROBLEM)
            assert (each.name, each.changed) == (each.name, ())
        if each.row.method == "GET":
            noted = NOTED.get(each.operation, ()) if each.answer.status == 200 else ()
            assert (each.name, each.changed) == (each.name, noted)


def test_anothers_row_reads_like_one_that_does_not_exist(seen: tuple[Society, list[Seen]]) -> None:
    compared = 0
    for each in seen[1]:
        if each.of_nothing is not None:
            here, nowhere = ({**answer.body, "instance": ""} for answer in (each.answer, each.of_nothing))
            assert (each.name, here) == (each.name, nowhere)
            compared += 1
    assert compared > 100


def test_nobody_reads_what_only_others_may_know(seen: tuple[Society, list[Seen]]) -> None:
    society, answers = seen
    none_of(
        [
            f"{each.name}: reads {secret.text!r}"
            for each in answers
            for secret in society.secrets
            if each.viewer not in secret.readers and secret.text in each.told
        ]
    )


BEFORE_YES = re.compile(r"\{(proposed|pairing|partners_wanted)\}|^GET /(pairings|offers|wanted-crosses)")
TOLD_WITH_YES = {"owner": (handle("partner"), SECRET_NAME, AGREED_SEED), "partner": (COUNTRY,)}


def test_before_the_second_yes_each_knows_of_the_other_what_strangers_may(
    seen: tuple[Society, list[Seen]],
) -> None:
    """In other answers they may stand, for another agreement of the same two."""
    early = [each for each in seen[1] if BEFORE_YES.search(each.row.operation)]
    assert {"GET /agreements/{proposed}", "GET /agreements/{proposed}/papers", "GET /pairings/{pairing}"} <= {
        each.row.operation for each in early if each.answer.status == 200
    }
    none_of(
        [
            f"{each.name}: reads {text!r}"
            for each in early
            for text in TOLD_WITH_YES.get(each.viewer, ())
            if text in each.told
        ]
    )


def test_every_secret_is_read_by_those_who_may(seen: tuple[Society, list[Seen]]) -> None:
    """Otherwise looking for it would find nothing whatever leaked."""
    society, answers = seen
    read: dict[str, str] = defaultdict(str)
    for each in answers:
        read[each.viewer] += each.told
    none_of(
        [
            f"{who}: does not read {secret.text!r}"
            for secret in society.secrets
            for who in secret.readers
            if secret.text not in read[who]
        ]
    )


def test_no_integer_key_leaves_the_server(seen: tuple[Society, list[Seen]]) -> None:
    none_of([each.name for each in seen[1] if INTEGER_KEY.search(whole(each.answer))])


def test_every_difference_of_keys_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(access_key, "FOLDER", tmp_path)
    keys = access_key.keys_of([{"a": [{"b": 1}, {"b": None, "c": None}], "d": []}, {"a": [], "d": {}}])
    assert keys == {"a[].b", "a[].c: null", "d"}
    access_key.write("thing_read", {"owner": keys, "partner": keys, "outsider": {"d"}})
    file = tmp_path / "thing_read.txt"
    assert file.read_text() == "outsider\n  d\n\npartner, owner\n  a[].b\n  a[].c: null\n  d\n"
    file.write_text(file.read_text().replace("a[].b", "a[].b ?"))
    read = {"owner": {"a[].b", "a[].c", "d"}, "partner": {"a[].c: null", "d"}}
    assert access_key.differences("thing_read", read) == [
        "thing_read, outsider: does not read d, which is listed",
        "thing_read, outsider: has no answer, but keys are listed",
        "thing_read, owner: reads a[].c, which is not listed",
        "thing_read, owner: does not read a[].c: null, which is listed",
    ]
    access_key.write("thing_read", {"partner": {"d"}})
    assert file.read_text() == "partner\n  a[].b ?\n  d\n"


# --- a wanted cross is its grower's secret ---


READS = tuple(row for row in ROWS if row.method == "GET")
MARKET = tuple(row for row in READS if row.operation == "GET /public/market")


def read_by(society: Society, viewers: tuple[str, ...], rows: tuple[Row, ...] = READS) -> dict[str, str]:
    """These rows of the table as these viewers."""
    read = {}
    for row in rows:
        for viewer in viewers:
            with undone():
                answer = sent(society, viewer, "GET", filled(row.path, society.ids.__getitem__), None)
            read[f"{row.operation} as {viewer}"] = whole(answer)
    return read


@pytest.mark.parametrize(
    ("group", "uninvolved"),
    [
        ("nelumbo", ("anonymous", "outsider", "partner", "ex_partner", "owner")),  # nobody offers it
        ("hardy", ("anonymous", "outsider", "ex_partner")),  # the owner does, and the partner wants it too
    ],
)
def test_that_a_cross_is_wanted_moves_no_byte_that_the_uninvolved_read(
    clock: MovableClock, caplog: pytest.LogCaptureFixture, group: str, uninvolved: tuple[str, ...]
) -> None:
    caplog.set_level(logging.WARNING, logger="exchange.request")
    clock.set(NOON)
    society = make_society()
    rescore(now=NOON)
    before = read_by(society, uninvolved)
    make_wanted_cross(make_plant(make_grower("breeder")), pollen_groups=[group])
    rescore(now=NOON)
    after = read_by(society, uninvolved)
    assert [name for name in before if after[name] != before[name]] == []
    # Among enough others it is counted: the market would have shown it.
    for number in range(4):
        make_wanted_cross(make_plant(make_grower(f"breeder-{number}")), pollen_groups=[group])
    counted = read_by(society, uninvolved, MARKET)
    assert [name for name in counted if counted[name] == before[name]] == []
