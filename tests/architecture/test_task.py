"""Tasks: never in the caller's process, never timed by the broker, named for good."""

import ast
from pathlib import Path

from exchange.project.celery import app
from tests.architecture.tree import PACKAGES, ROOT, python_files, syntax

EAGER = "always" + "_eager"
BROKER_TIMING = {"countdown", "eta", "max_retries", "autoretry_for", "retry_backoff", "default_retry_delay"}
DIRECT_STARTS = {"delay", "apply_async", "send_task", "apply"}


def calls(path: Path) -> list[ast.Call]:
    return [node for node in ast.walk(syntax(path)) if isinstance(node, ast.Call)]


def test_eager_mode_is_used_nowhere() -> None:
    found = [
        str(path.relative_to(ROOT))
        for path in python_files(*PACKAGES, "tests")
        if EAGER in path.read_text(encoding="utf-8").lower()
    ]
    assert found == []
    assert getattr(app.conf, f"task_{EAGER}") is False


def test_the_broker_times_nothing() -> None:
    found = [
        f"{path.relative_to(ROOT)}:{call.lineno}"
        for path in python_files(*PACKAGES)
        for call in calls(path)
        if {keyword.arg for keyword in call.keywords} & BROKER_TIMING
        or (isinstance(call.func, ast.Attribute) and call.func.attr == "retry")
    ]
    assert found == []


def test_tasks_are_started_in_one_place() -> None:
    found = {
        str(path.relative_to(ROOT))
        for path in python_files(*PACKAGES)
        for call in calls(path)
        if isinstance(call.func, ast.Attribute)
        and call.func.attr in DIRECT_STARTS
        and "science" not in path.parts
    }
    assert found == {"growers/services/after_commit.py"}


def test_every_task_has_a_name_of_its_own() -> None:
    ours = [name for name, task in app.tasks.items() if type(task).__module__.startswith(PACKAGES)]
    assert ours
    assert [name for name in ours if name.startswith("exchange.tasks")] == []
