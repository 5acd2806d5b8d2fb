"""The locks: every dependency pinned and hashed, within its range, and no address of a registry."""

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.architecture.tree import ROOT

RUN_TIME = ROOT / "requirements.lock"
DEVELOPMENT = ROOT / "requirements-dev.lock"
ENTRY = re.compile(
    r"^(?P<requirement>[A-Za-z0-9][^\s#\\][^\\#\n]*?)\s*\\\n(?P<hashes>(?:\s+--hash=sha256:[0-9a-f]{64}\s*\\?\n)+)",
    re.MULTILINE,
)
VERSIONS = ("3.11", "3.12", "3.13")


def project() -> dict[str, Any]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def declared(path: Path) -> list[Requirement]:
    """What the lock must provide."""
    named = list(project()["project"]["dependencies"])
    if path == DEVELOPMENT:
        named += project()["dependency-groups"]["dev"]
    return [Requirement(text) for text in named]


def entries(path: Path) -> list[Requirement]:
    """The entries of a lock that have at least one hash."""
    return [Requirement(match["requirement"]) for match in ENTRY.finditer(path.read_text(encoding="utf-8"))]


def applies(requirement: Requirement, version: str) -> bool:
    """Whether an entry is meant for this Python on a common machine."""
    machine = {
        **default_environment(),
        "python_version": version,
        "python_full_version": f"{version}.0" if version != "3.11" else "3.11.7",
        "platform_machine": "x86_64",
        "sys_platform": "linux",
        "implementation_name": "cpython",
    }
    return requirement.marker is None or requirement.marker.evaluate(
        {str(k): str(v) for k, v in machine.items()}
    )


@pytest.mark.parametrize("path", [RUN_TIME, DEVELOPMENT], ids=lambda path: path.name)
def test_every_entry_is_pinned_and_hashed(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    lines = [
        line for line in text.splitlines() if line and not line[0].isspace() and not line.startswith("#")
    ]
    found = entries(path)
    assert len(found) == len(lines) > 20
    assert [str(each) for each in found if not re.fullmatch(r"==[0-9][0-9a-z.+]*", str(each.specifier))] == []


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("path", [RUN_TIME, DEVELOPMENT], ids=lambda path: path.name)
def test_every_dependency_has_one_entry_within_its_range(path: Path, version: str) -> None:
    pinned = [entry for entry in entries(path) if applies(entry, version)]
    for wanted in declared(path):
        if not applies(wanted, version):
            continue
        same = [each for each in pinned if canonicalize_name(each.name) == canonicalize_name(wanted.name)]
        assert len(same) == 1, f"{wanted} in {path.name} for Python {version}: {[str(each) for each in same]}"
        locked = str(same[0].specifier).removeprefix("==")
        assert wanted.specifier.contains(locked, prereleases=True), f"{wanted}: {path.name} has {locked}"


def test_the_development_lock_holds_the_run_time_lock() -> None:
    development = {(canonicalize_name(each.name), str(each.specifier)) for each in entries(DEVELOPMENT)}
    run_time = {(canonicalize_name(each.name), str(each.specifier)) for each in entries(RUN_TIME)}
    assert run_time - development == set()


@pytest.mark.parametrize("path", [RUN_TIME, DEVELOPMENT], ids=lambda path: path.name)
def test_no_address_is_in_a_lock(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert re.findall(r"://|index[-]url|find-links|trusted-host|file:|(?m:^-)", text) == []
