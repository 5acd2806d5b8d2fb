"""The model version changes with every number and table behind a result, and with nothing else."""

from dataclasses import replace
from pathlib import Path

import pytest

from exchange.science import constants, version


@pytest.fixture(autouse=True)
def _unknown_version() -> None:
    version.model_version.cache_clear()


def anew() -> str:
    version.model_version.cache_clear()
    return version.model_version()


def test_the_same_numbers_give_the_same_version() -> None:
    assert anew() == anew()
    assert len(anew()) == 12


def test_a_changed_constant_changes_the_version(monkeypatch: pytest.MonkeyPatch) -> None:
    before = anew()
    monkeypatch.setattr(constants, "Q10", replace(constants.Q10, median=2.3))
    assert anew() != before


def test_a_changed_source_changes_the_version_too(monkeypatch: pytest.MonkeyPatch) -> None:
    before = anew()
    monkeypatch.setattr(constants, "SHAPE", replace(constants.SHAPE, status="memory"))
    assert anew() != before


def test_a_changed_table_changes_the_version(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for path in version.DATA_DIR.glob("*.csv"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    monkeypatch.setattr(version, "DATA_DIR", tmp_path)
    before = anew()
    table = tmp_path / "compat_prior.csv"
    table.write_bytes(table.read_bytes() + b"\n")
    assert anew() != before
