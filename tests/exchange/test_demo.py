"""``manage.py demo`` as a grower runs it: from an empty folder, twice, and on another day."""

import json
import os
import re
import sqlite3
import subprocess
import sys
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings

from exchange.management.commands.demo import FOLDER
from growers import clock
from tests.exchange.demo_tables import small_tables
from tests.exchange.wording.plain import API_WORDS, PERMISSION

COMMAND = """
import sys
from pathlib import Path
import django
django.setup()
from exchange.management.commands import demo
demo.FOLDER = Path(sys.argv[1])
from django.core.management import execute_from_command_line
execute_from_command_line(["manage.py", "demo", *sys.argv[2:]])
"""
NOW = datetime(2026, 6, 20, 12, tzinfo=UTC)
NOT_OF_THE_PROJECT = ("DATABASE_URL", "REDIS_URL", "UNDER_TEST", "DATA_DIR")
CHANCE = re.compile(r"about [0-9]+ in [0-9]+|under 1 in 100|more than 19 in 20|[0-9] %")
CLOCK = re.compile(r"\b[0-9]{1,2}:[0-9]{2}\b|o'clock|\b[0-9]{1,2} ?[ap]m\b")
PAIRING = re.compile(r"^  \S.* could send ", re.MULTILINE)


@dataclass(frozen=True)
class Shown:
    """What three runs printed and left: the first, the same again, and as of another day."""

    first: str
    again: str
    other_day: str
    told: dict[str, Any]
    rows_first: list[str]
    rows_again: list[str]
    rows_other_day: list[str]

    @property
    def pairings(self) -> list[str]:
        """The part of each pairing."""
        _, _, full = self.first.partition("No pairing, and why:")
        listed = self.first.removesuffix(full)
        return PAIRING.split(listed)[1:]


def run(tables: Path, data_dir: Path, hash_seed: int, *options: str) -> str:
    """One run of the command in a process of its own; sets of words have another order in each."""
    (data_dir / "clock").write_text(f"{(NOW - clock.true_now()).total_seconds():.0f}\n", encoding="ascii")
    inherited = {name: value for name, value in os.environ.items() if name not in NOT_OF_THE_PROJECT}
    environment = inherited | {
        "DATA_DIR": str(data_dir),
        "CLOCK_OFFSET_FILE": str(data_dir / "clock"),
        "DJANGO_SETTINGS_MODULE": "exchange.project.settings",
        "PYTHONHASHSEED": str(hash_seed),
    }
    finished = subprocess.run(
        [sys.executable, "-c", COMMAND, str(tables), *options],
        cwd=settings.BASE_DIR,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert finished.returncode == 0, finished.stderr
    return finished.stdout


def rows(data_dir: Path) -> list[str]:
    """Everything in the database as SQL."""
    (path,) = data_dir.glob("*.sqlite3")
    connection = sqlite3.connect(path)
    try:
        return list(connection.iterdump())
    finally:
        connection.close()


@pytest.fixture(scope="module", params=["small", pytest.param("whole", marks=pytest.mark.slow)])
def shown(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Shown:
    data_dir = tmp_path_factory.mktemp("data")
    tables = small_tables(tmp_path_factory.mktemp("tables")) if request.param == "small" else FOLDER
    told = data_dir / "told.json"
    first = run(tables, data_dir, 1, f"--json={told}")
    rows_first, read = rows(data_dir), json.loads(told.read_text(encoding="utf-8"))
    again = run(tables, data_dir, 2)
    rows_again = rows(data_dir)
    other_day = run(tables, data_dir, 3, "--today", "2026-07-04")
    return Shown(first, again, other_day, read, rows_first, rows_again, rows(data_dir))


# --- twice ---


def test_a_second_run_changes_nothing(shown: Shown) -> None:
    assert shown.rows_again == shown.rows_first
    assert "\nLoaded.\n" in shown.first
    assert "\nAlready loaded; nothing changed.\n" in shown.again


def test_a_second_run_shows_the_same(shown: Shown) -> None:
    (_, _, first), (_, _, again) = shown.first.partition("\nAs of "), shown.again.partition("\nAs of ")
    assert first.partition("The same as JSON")[0].strip() == again.strip()


# --- another day ---


def test_the_day_is_printed_and_may_be_another(shown: Shown) -> None:
    assert "\nAs of Monday 15 June 2026, model " in shown.first
    assert "\nAs of Saturday 4 July 2026, model " in shown.other_day
    assert shown.rows_other_day != shown.rows_again


def test_no_day_named_is_past(shown: Shown) -> None:
    for output, today in ((shown.first, date(2026, 6, 15)), (shown.other_day, date(2026, 7, 4))):
        named = re.findall(r"best on \w{3} ([0-9]+ \w+)", output)
        assert named
        for text in named:
            day = datetime.strptime(f"{text} {today.year}", "%d %B %Y").date()  # noqa: DTZ007
            # A day that reads as earlier this year is meant next year.
            assert day >= today or (today - day).days > 200


# --- what is printed ---


def test_every_pairing_says_what_it_rests_on(shown: Shown) -> None:
    assert shown.pairings
    for part in shown.pairings:
        assert len(re.findall(r"^    chance ", part, re.MULTILINE)) == 1
        assert len(re.findall(r"^    based on  donor: .+; recipient: .+$", part, re.MULTILINE)) == 1


def test_every_chance_stands_with_what_it_rests_on(shown: Shown) -> None:
    """Outside the part of a pairing, the line itself has to say it."""
    whole = shown.first
    for part in shown.pairings:
        whole = whole.replace(part, "\n")
    alone = [line for line in whole.splitlines() if CHANCE.search(line) and "based on" not in line]
    assert alone == []


def test_where_only_weeks_are_known_no_day_is_named(shown: Shown) -> None:
    weeks = [pairing for pairing in shown.told["pairings"] if pairing["plan"]["precision"] == "season"]
    for pairing in weeks:
        assert "week of" in pairing["words"]["post"]
        assert not re.search(r"\b(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun)\b", pairing["words"]["post"])


def own_words(text: str) -> str:
    """What is printed without cited sources, which stand in brackets."""
    return re.sub(r"\([^()]*(?:\([^()]*\)[^()]*)*\)", "", text)


def test_no_hour_of_the_clock_is_printed(shown: Shown) -> None:
    assert not CLOCK.search(own_words(shown.first))


def test_it_says_that_it_is_invented(shown: Shown) -> None:
    assert shown.first.startswith("Demo society: invented growers, sites and cultivars")
    assert shown.told["invented"] is True


def test_papers_stand_at_every_border_and_promise_nothing(shown: Shown) -> None:
    lines = re.findall(r"^    papers    (.+)$", shown.first, re.MULTILINE)
    assert lines
    for line in lines:
        assert "this is not permission" in line.casefold()
        assert not PERMISSION.search(line)
    for pairing in shown.told["pairings"]:
        assert pairing["papers"] is not None


def test_no_word_of_the_interface_is_printed(shown: Shown) -> None:
    assert not API_WORDS.search(own_words(shown.first))
    assert "likely range" in shown.first


def test_what_cannot_be_is_told_with_its_reason(shown: Shown) -> None:
    _, _, refused = shown.first.partition("No pairing, and why:")
    assert "Nymphaea × thiona [B4] × 'Kupferkahn' [W2]: Nymphaea × thiona sets no seed (" in refused


# --- the same as JSON ---


def test_the_file_holds_what_is_shown_and_more(shown: Shown) -> None:
    told = shown.told
    assert told["today"] == "2026-06-15"
    assert f"model {told['model_version']}" in shown.first
    assert len(told["pairings"]) >= len(shown.pairings)
    for pairing in told["pairings"]:
        for name in ("each_flower", "several", "compatibility"):
            estimate = pairing["plan"][name]
            assert 0.0 <= estimate["low"] <= estimate["estimate"] <= estimate["high"] <= 1.0
            assert estimate["basis"]
        assert pairing["words"]["based_on"]
    printed = [pairing for pairing in told["pairings"] if pairing["words"]["chance"] in shown.first]
    assert len(printed) >= len(shown.pairings)


def test_no_place_and_no_address_is_told(shown: Shown) -> None:
    text = json.dumps(shown.told) + shown.first
    for secret in ("@demo.invalid", "latitude", "longitude", "48.25", "11.75"):
        assert secret not in text
