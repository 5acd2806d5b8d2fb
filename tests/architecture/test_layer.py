"""The floors of the house: they hold, and each kind of break is found."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.architecture.tree import PACKAGES, ROOT


def lint(folder: Path) -> subprocess.CompletedProcess[str]:
    """Check the import contracts of a tree."""
    program = Path(sys.executable).with_name("lint-imports")
    command = [str(program), "--no-cache", "--config", str(folder / "pyproject.toml")]
    return subprocess.run(command, cwd=folder, check=False, capture_output=True, text=True)


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the packages that may be spoilt."""
    python_only = shutil.ignore_patterns("__pycache__", "data", "*.csv", "*.npz")
    for package in PACKAGES:
        shutil.copytree(ROOT / package, tmp_path / package, ignore=python_only)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_the_contracts_are_kept() -> None:
    result = lint(ROOT)
    assert result.returncode == 0, result.stdout
    assert "0 broken" in result.stdout


def test_a_room_on_no_floor_is_found(copy: Path) -> None:
    (copy / "exchange" / "attic").mkdir()
    (copy / "exchange" / "attic" / "__init__.py").touch()
    (copy / "growers" / "cellar.py").touch()
    result = lint(copy)
    assert result.returncode == 1
    assert "exchange.attic" in result.stdout
    assert "growers.cellar" in result.stdout


@pytest.mark.parametrize(
    ("file", "line", "contract"),
    [
        ("growers/services/grower.py", "import exchange.science", "growers never imports exchange"),
        ("growers/models/site.py", "import growers.selectors", "every room of growers has its floor"),
        ("growers/models/site.py", "import exchange.matching", "growers never imports exchange"),
        ("exchange/science/check.py", "import django", "science and matching are pure"),
        ("exchange/matching/__init__.py", "import growers.clock", "science and matching are pure"),
        ("exchange/science/check.py", "import exchange.matching", "every room of exchange has its floor"),
        ("exchange/services/due.py", "import exchange.tasks", "every room of exchange has its floor"),
        ("exchange/wording/__init__.py", "import exchange.selectors", "every room of exchange has its floor"),
    ],
)
def test_a_wrong_import_is_found(copy: Path, file: str, line: str, contract: str) -> None:
    path = copy / file
    path.write_text(f"{path.read_text(encoding='utf-8')}\n{line}\n", encoding="utf-8")
    result = lint(copy)
    assert result.returncode == 1
    assert f"{contract} BROKEN" in result.stdout
