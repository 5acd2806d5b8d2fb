"""Time-driven work: done once, by one worker, again after a failure, and after a worker's death."""

import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from io import StringIO

import pytest
import structlog
from django.conf import settings
from django.core.management import call_command
from django.db import connection, connections

from exchange.models import DueTask
from exchange.services.due import CLAIM_LASTS, HANDLERS, due_cancel, due_set, pause, register, run_due
from exchange.tasks.due import due_sweep
from growers import clock as project_clock
from tests.clock import MovableClock

NOON = datetime(2027, 3, 1, 12, tzinfo=UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture
def calls() -> Iterator[list[tuple[int, datetime]]]:
    """What the handler of kind ``probe`` was called with."""
    made: list[tuple[int, datetime]] = []
    kept = dict(HANDLERS)
    register("probe")(lambda subject_id, now: made.append((subject_id, now)))
    yield made
    HANDLERS.clear()
    HANDLERS.update(kept)


def test_work_is_done_when_due_and_not_before(calls: list[tuple[int, datetime]]) -> None:
    due_set(kind="probe", subject_id=7, due_at=NOON)
    early = run_due(NOON - timedelta(microseconds=1), 10)
    assert (early.done, early.failed, calls) == (0, 0, [])
    report = run_due(NOON, 10)
    assert (report.done, report.failed, calls) == (1, 0, [(7, NOON)])
    assert not DueTask.objects.exists()


def test_the_task_and_the_command_follow_the_moved_clock(
    calls: list[tuple[int, datetime]], clock: MovableClock
) -> None:
    clock.set(NOON)
    due_set(kind="probe", subject_id=1, due_at=NOON + timedelta(days=1))
    due_set(kind="probe", subject_id=2, due_at=NOON + timedelta(days=3))
    due_sweep()
    assert calls == []
    clock.move(days=1, minutes=1)
    due_sweep()
    assert [subject for subject, _ in calls] == [1]
    clock.move(days=2)
    out = StringIO()
    call_command("due", stdout=out)
    assert [subject for subject, _ in calls] == [1, 2]
    assert out.getvalue() == "1 done, 0 failed and set for a later attempt.\n"


def test_the_longest_overdue_comes_first_and_the_limit_holds(calls: list[tuple[int, datetime]]) -> None:
    for subject_id, hours in ((1, 1), (2, 3), (3, 2)):
        due_set(kind="probe", subject_id=subject_id, due_at=NOON - timedelta(hours=hours))
    assert run_due(NOON, 2).done == 2
    assert [subject for subject, _ in calls] == [2, 3]


def test_setting_again_replaces_the_time(calls: list[tuple[int, datetime]]) -> None:
    due_set(kind="probe", subject_id=7, due_at=NOON)
    due_set(kind="probe", subject_id=7, due_at=NOON + timedelta(days=1))
    run_due(NOON, 10)
    assert calls == []
    assert DueTask.objects.get().due_at == NOON + timedelta(days=1)


def test_cancelled_work_is_not_done(calls: list[tuple[int, datetime]]) -> None:
    due_set(kind="probe", subject_id=7, due_at=NOON)
    due_set(kind="probe", subject_id=8, due_at=NOON)
    due_cancel(kind="probe", subject_id=7)
    run_due(NOON, 10)
    assert [subject for subject, _ in calls] == [8]


def test_a_handler_that_names_a_time_is_called_again_then(calls: list[tuple[int, datetime]]) -> None:
    register("daily")(lambda subject_id, now: now + timedelta(days=1))
    due_set(kind="daily", subject_id=1, due_at=NOON)
    run_due(NOON, 10)
    row = DueTask.objects.get()
    assert (row.due_at, row.claimed_until, row.attempts) == (NOON + timedelta(days=1), None, 0)


def test_a_failing_handler_is_tried_later_and_does_not_stop_the_others(
    calls: list[tuple[int, datetime]],
) -> None:
    @register("broken")
    def broken(subject_id: int, now: datetime) -> None:
        raise LookupError(f"no lot {subject_id}")

    due_set(kind="broken", subject_id=4, due_at=NOON - timedelta(hours=1))
    due_set(kind="probe", subject_id=5, due_at=NOON)
    report = run_due(NOON, 10)
    assert (report.done, report.failed) == (1, 1)
    row = DueTask.objects.get()
    assert (row.due_at, row.attempts) == (NOON + timedelta(minutes=1), 1)
    assert (row.claimed_until, row.last_error) == (None, "LookupError: no lot 4")
    run_due(row.due_at, 10)
    row.refresh_from_db()
    assert (row.due_at, row.attempts) == (NOON + timedelta(minutes=3), 2)


@pytest.mark.parametrize(
    ("attempts", "waited"),
    [
        (1, timedelta(minutes=1)),
        (2, timedelta(minutes=2)),
        (11, timedelta(minutes=1024)),
        (12, timedelta(days=1)),
        (5000, timedelta(days=1)),
    ],
)
def test_pauses_double_up_to_a_day(attempts: int, waited: timedelta) -> None:
    assert pause(attempts) == waited


def test_a_wish_that_comes_in_during_the_run_is_kept(calls: list[tuple[int, datetime]]) -> None:
    @register("renewed")
    def renewed(subject_id: int, now: datetime) -> None:
        due_set(kind="renewed", subject_id=subject_id, due_at=now)

    due_set(kind="renewed", subject_id=1, due_at=NOON)
    run_due(NOON, 10)
    row = DueTask.objects.get()
    assert (row.due_at, row.claimed_until, row.revision) == (NOON, None, 2)


def test_a_kind_without_handler_is_left_alone() -> None:
    due_set(kind="of a newer version", subject_id=1, due_at=NOON)
    assert run_due(NOON, 10).done == 0
    row = DueTask.objects.get()
    assert (row.attempts, row.claimed_until) == (0, None)


def test_a_kind_has_one_handler(calls: list[tuple[int, datetime]]) -> None:
    with pytest.raises(ValueError, match="kind is 'probe'; allowed: one that has no handler yet"):
        register("probe")(lambda subject_id, now: None)


def test_a_claimed_row_is_left_until_the_claim_runs_out(calls: list[tuple[int, datetime]]) -> None:
    due_set(kind="probe", subject_id=1, due_at=NOON)
    DueTask.objects.update(claimed_until=NOON + CLAIM_LASTS)
    assert run_due(NOON + CLAIM_LASTS - timedelta(microseconds=1), 10).done == 0
    assert run_due(NOON + CLAIM_LASTS, 10).done == 1


def test_a_worker_that_lost_its_claim_ends_nothing(calls: list[tuple[int, datetime]]) -> None:
    later = NOON + CLAIM_LASTS + timedelta(minutes=1)

    @register("slow")
    def slow(subject_id: int, now: datetime) -> None:
        if now == NOON:
            DueTask.objects.update(claimed_until=later)

    due_set(kind="slow", subject_id=1, due_at=NOON)
    run_due(NOON, 10)
    assert DueTask.objects.get().claimed_until == later


@pytest.mark.django_db(transaction=True)
def test_workers_at_the_same_time_do_each_piece_once(calls: list[tuple[int, datetime]]) -> None:
    subjects = list(range(30))
    for subject_id in subjects:
        due_set(kind="probe", subject_id=subject_id, due_at=NOON)
    gate = threading.Barrier(4)
    done: list[int] = []

    def work() -> None:
        gate.wait(30)
        try:
            done.append(run_due(NOON, 100).done)
        finally:
            connections.close_all()

    workers = [threading.Thread(target=work) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(120)
    assert sum(done) == 30
    assert len(done) == 4
    assert sorted(subject for subject, _ in calls) == subjects
    assert not DueTask.objects.exists()


KILLED_WORKER = """
import os, signal, sys
from datetime import datetime
from django.conf import settings
settings.DATABASES["default"]["NAME"] = sys.argv[1]
import django
django.setup()
from exchange.services.due import register, run_due

@register("probe")
def killed(subject_id, now):
    os.kill(os.getpid(), signal.SIGKILL)

run_due(datetime.fromisoformat(sys.argv[2]), 10)
"""


@pytest.mark.django_db(transaction=True)
def test_what_a_killed_worker_left_is_done_when_its_claim_runs_out(
    calls: list[tuple[int, datetime]],
) -> None:
    due_set(kind="probe", subject_id=3, due_at=NOON)
    command = [sys.executable, "-c", KILLED_WORKER, str(connection.settings_dict["NAME"]), NOON.isoformat()]
    ended = subprocess.run(command, cwd=settings.BASE_DIR, env=os.environ, check=False, capture_output=True)
    assert ended.returncode == -9, ended.stderr.decode()
    assert DueTask.objects.get().attempts == 1
    assert run_due(NOON + timedelta(minutes=5), 10).done == 0
    assert run_due(NOON + CLAIM_LASTS + timedelta(minutes=1), 10).done == 1
    assert calls == [(3, NOON + CLAIM_LASTS + timedelta(minutes=1))]


EVERY_HANDLER = """
import importlib, pkgutil
import django
django.setup()
from exchange import services
from exchange.services.due import HANDLERS
known = set(HANDLERS)
for found in pkgutil.iter_modules(services.__path__):
    importlib.import_module(f"exchange.services.{found.name}")
print(len(known), *sorted(set(HANDLERS) - known))
"""


def test_a_process_that_only_sweeps_can_do_every_kind() -> None:
    """A worker loads no page and no API: what is due must be known to it all the same."""
    ended = subprocess.run(
        [sys.executable, "-c", EVERY_HANDLER],
        cwd=settings.BASE_DIR,
        check=True,
        capture_output=True,
        text=True,
    )
    count, *unknown = ended.stdout.split()
    assert (int(count) > 4, unknown) == (True, [])


def test_the_beat_schedule_names_tasks_that_exist() -> None:
    from exchange.project.celery import app

    scheduled = {entry["task"] for entry in settings.CELERY_BEAT_SCHEDULE.values()}
    assert scheduled == {"exchange.due.sweep"}
    assert scheduled <= set(app.tasks)
    assert project_clock.offset() == timedelta()


def test_what_a_sweep_logs_has_an_id_of_its_own(
    calls: list[tuple[int, datetime]],
) -> None:
    seen: list[str] = []
    HANDLERS["probe"] = lambda *_: seen.append(structlog.contextvars.get_contextvars()["run_id"])
    for subject in (1, 2):
        due_set(kind="probe", subject_id=subject, due_at=NOON)
    run_due(NOON, 10)
    due_set(kind="probe", subject_id=1, due_at=NOON)
    run_due(NOON, 10)
    assert seen[0] == seen[1] != seen[2]
    assert "run_id" not in structlog.contextvars.get_contextvars()
