"""docs/api.md, run: each command against a live server, each answer compared with the one shown."""

import json
import os
import re
import shutil
import subprocess
from typing import Any

import pytest
from django.core.cache import cache
from pytest_django.live_server_helper import LiveServer

from growers.services.reference import reference_load
from tests.api.caller import PASSWORD, make_member
from tests.architecture.tree import ROOT
from tests.requirement import missing

DIFFERS = "…"
FENCE = re.compile(r"```(sh|json)\n(.*?)```", re.DOTALL)


def story() -> list[tuple[str, Any]]:
    """Each command with the answer shown after it."""
    found = FENCE.findall((ROOT / "docs" / "api.md").read_text(encoding="utf-8"))
    assert [kind for kind, _ in found] == ["sh", "json"] * (len(found) // 2)
    return [
        (command, json.loads(answer))
        for (_, command), (_, answer) in zip(found[::2], found[1::2], strict=True)
    ]


def same(shown: Any, answer: Any) -> bool:
    """Whether an answer is the one shown; … stands for any single value."""
    if shown == DIFFERS:
        return not isinstance(answer, dict | list)
    if isinstance(shown, dict):
        return (
            isinstance(answer, dict)
            and shown.keys() == answer.keys()
            and all(same(shown[name], answer[name]) for name in shown)
        )
    if isinstance(shown, list):
        return isinstance(answer, list) and len(shown) == len(answer) and all(map(same, shown, answer))
    return type(shown) is type(answer) and bool(shown == answer)


def run(command: str, known: dict[str, str]) -> Any:
    environment = {"PATH": os.environ["PATH"], **known}
    done = subprocess.run(
        ["bash", "-euc", command.replace("$(uuidgen)", "$(cat /proc/sys/kernel/random/uuid)")],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.django_db(transaction=True)
def test_the_story_is_true(live_server: LiveServer) -> None:
    if shutil.which("curl") is None or shutil.which("bash") is None:
        missing("curl and bash")
    cache.clear()
    reference_load()
    make_member()
    known = {"HOST": live_server.url, "TOKEN": "", "SITE": "", "PLANT": ""}
    steps = story()
    assert len(steps) >= 7 and PASSWORD in steps[0][0]
    for command, shown in steps:
        answer = run(command, known)
        assert same(shown, answer), (command, answer)
        if answer.get("secret", "").startswith("pollen_"):
            known["TOKEN"] = answer["secret"]
        if "number" in answer:
            known["PLANT"] = answer["id"]
        if "region" in answer:
            known["SITE"] = answer["id"]


def test_a_wrong_answer_is_told_apart() -> None:
    assert same({"a": DIFFERS, "b": [1, "x"]}, {"a": 7, "b": [1, "x"]})
    others: list[Any] = [
        {"a": 7},
        {"a": 7, "b": [1]},
        {"a": 7, "b": [True, "x"]},
        {"a": {}, "b": [1, "x"]},
        [],
    ]
    for other in others:
        assert not same({"a": DIFFERS, "b": [1, "x"]}, other)
