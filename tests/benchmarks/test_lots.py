"""Reckoning all lots anew: in parts, restartable, and the same however often it was cut short."""

import io
import json
import re
from argparse import ArgumentTypeError
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core.management import call_command

from exchange.benchmarks import lots as benchmark
from exchange.benchmarks.lots import LotFigures, Share, reckon, told
from exchange.benchmarks.lots_world import seed
from exchange.management.commands.benchmark import lots_sentence, number_of_lots
from exchange.models import Assay, LotOutlook
from exchange.selectors.lot_outlook import LotState, lot_state
from exchange.selectors.lot_record import LotRecord
from exchange.selectors.outlook_progress import lots_unreckoned
from exchange.services.outlook import RECKONED, outlooks_keep

NOW = datetime(2027, 7, 1, 12, tzinfo=UTC)
LOTS = 20


def outlooks() -> list[dict[str, Any]]:
    return list(LotOutlook.objects.order_by("lot").values("lot", *RECKONED))


@pytest.fixture
def world(db: None) -> None:
    assert seed(LOTS, NOW) == 2000
    assert Assay.objects.count() == LOTS // 5 * 2


@pytest.mark.usefixtures("world")
def test_killed_half_way_and_started_again_it_ends_with_the_same_outlooks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert reckon(NOW, batch=6).lots == LOTS
    whole = outlooks()
    assert len(whole) == LOTS and {row["reckoned_at"] for row in whole} == {NOW}
    LotOutlook.objects.all().delete()

    stored = 0

    def killed(rows: list[LotOutlook]) -> None:
        nonlocal stored
        if stored == 2:
            raise KeyboardInterrupt
        outlooks_keep(rows)
        stored += 1

    monkeypatch.setattr(benchmark, "outlooks_keep", killed)
    with pytest.raises(KeyboardInterrupt):
        reckon(NOW, batch=6)
    assert outlooks() == whole[:12]
    monkeypatch.undo()

    reckoned: list[int] = []

    def noted(record: LotRecord) -> LotState:
        reckoned.append(record.lot.pk)
        return lot_state(record)

    monkeypatch.setattr(benchmark, "lot_state", noted)
    assert reckon(NOW, batch=6).lots == LOTS - 12
    assert reckoned == [row["lot"] for row in whole[12:]]
    assert outlooks() == whole


@pytest.mark.usefixtures("world")
def test_parts_share_the_lots_out_and_together_do_the_same() -> None:
    reckon(NOW)
    whole = outlooks()
    LotOutlook.objects.all().delete()
    shares = [reckon(NOW, part=part, parts=2, batch=3) for part in (0, 1)]
    assert sorted(share.lots for share in shares) == [10, 10]
    assert all(share.science_seconds > 0.0 < share.database_seconds for share in shares)
    assert outlooks() == whole


@pytest.mark.usefixtures("world")
def test_what_is_of_another_model_or_of_before_is_done_again(monkeypatch: pytest.MonkeyPatch) -> None:
    reckon(NOW)
    assert not lots_unreckoned(NOW).exists()
    later = NOW + timedelta(days=1)
    assert lots_unreckoned(later).count() == LOTS
    first = LotOutlook.objects.order_by("lot")[0]
    LotOutlook.objects.filter(pk=first.pk).update(model_version="of before", thermal_age_days=0.0)
    assert [lot.pk for lot in lots_unreckoned(NOW)] == [first.lot_id]
    assert reckon(NOW).lots == 1
    kept = LotOutlook.objects.get(pk=first.pk)
    assert (kept.model_version, kept.thermal_age_days) == (first.model_version, first.thermal_age_days)


@pytest.mark.usefixtures("world")
def test_what_was_reckoned_later_stays() -> None:
    reckon(NOW + timedelta(days=1))
    later = outlooks()
    LotOutlook.objects.update(model_version="of tomorrow")
    reckoned = [row["lot"] for row in later]
    assert [lot.pk for lot in lots_unreckoned(NOW)] == reckoned
    rows = list(LotOutlook.objects.all())
    for row in rows:
        row.reckoned_at, row.thermal_age_days = NOW, 0.0
    outlooks_keep(rows)
    assert outlooks() == [{**row, "model_version": "of tomorrow"} for row in later]


def test_the_whole_of_it_on_a_database_of_its_own() -> None:
    printed = io.StringIO()
    call_command("benchmark", "lots", "--lots", "20", "--database", "sqlite", stdout=printed)
    first, last = printed.getvalue().splitlines()
    assert first == "20 lots with 2000 readings on sqlite"
    assert re.fullmatch(r"\d+\.\d s, \d+ lots a second, science to database \d+\.\d", last)


def test_figures_are_said_with_the_bar() -> None:
    shares = (Share(6000, 12.0, 4.0), Share(4000, 8.0, 1.0))
    assert json.loads(told(shares[0])) == {"lots": 6000, "science_seconds": 12.0, "database_seconds": 4.0}
    figures = LotFigures(10_000, 1_000_000, 20.0, shares)
    assert lots_sentence(figures) == "20.0 s (bar 30: met), 500 lots a second, science to database 4.0"
    slow = LotFigures(10_000, 1_000_000, 31.0, shares)
    assert "31.0 s (bar 30: not met)" in lots_sentence(slow)


@pytest.mark.parametrize("typed", ["0", "-1", "1000001", "many", "1e3"])
def test_other_numbers_of_lots_are_refused(typed: str) -> None:
    with pytest.raises(ArgumentTypeError, match=r"it is '.*'; allowed: 1 to 1000000\."):
        number_of_lots(typed)
