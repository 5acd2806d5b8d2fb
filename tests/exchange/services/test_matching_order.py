"""Runs that a coordinator ordered: one at a time, by the rule stated, whoever dies on the way."""

import os
import subprocess
import sys
import threading
from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.db import OperationalError, connection, connections

from exchange.models import DueTask, MatchingOrder, MatchingRun, Pairing
from exchange.services import matching_order as orders
from exchange.services import rescoring
from exchange.services.coordinator import coordinator_grant
from exchange.services.due import CLAIM_LASTS, run_due
from exchange.services.lease import LEASE_LASTS, LeaseLost, leased
from exchange.services.matching_order import LATER, matching_order
from exchange.services.rescoring import rescore
from growers.errors import NotFound
from growers.models import Change, Grower
from growers.services import after_commit
from growers.services.bloom import bloom_said_set
from tests.clock import MovableClock
from tests.exchange.refusal import refused, rows
from tests.exchange.society import NOON, SUMMER, Society, make_society
from tests.factories import make_grower

pytestmark = pytest.mark.django_db
SECOND = timedelta(seconds=1)
MOST = MatchingRun.Rule.MOST_CAPSULES
EACH = MatchingRun.Rule.EACH_GROWER_FIRST


@pytest.fixture
def society(donor: Grower, recipient: Grower, clock: MovableClock) -> Society:
    clock.set(NOON)
    return make_society(donor, recipient)


@pytest.fixture
def coordinator(society: Society) -> Grower:
    make_grower("weir")
    return coordinator_grant(handle="weir")


def without_changes() -> None:
    """Leave nothing to do for the sweep besides orders."""
    rescore(now=NOON)
    assert not DueTask.objects.filter(kind="matching_order").exists()


def test_an_order_is_carried_out_by_the_sweep_and_its_rule_stays(
    society: Society, coordinator: Grower
) -> None:
    order = matching_order(actor=coordinator, now=NOON, rule=MOST)
    assert (order.state, order.rule, order.ordered_by) == ("waiting", MOST, coordinator)
    assert not MatchingRun.objects.exists()
    run_due(NOON, 10)
    order.refresh_from_db()
    run = MatchingRun.objects.get()
    assert (order.state, order.run, order.starts) == ("done", run, 1)
    assert order.started_at is not None
    assert order.finished_at is not None
    assert NOON <= order.started_at <= order.finished_at
    assert (run.rule, run.proposed) == (MOST, 1)
    assert not Change.objects.exists()
    bloom_said_set(actor=society.seed.grower, plant=society.seed, **SUMMER | {"first_month": 7})
    again = rescore(now=NOON + SECOND)
    assert again is not None
    assert (again.pk != run.pk, again.rule) == (True, MOST)


def test_without_a_rule_it_is_that_of_the_latest_run(coordinator: Grower) -> None:
    assert matching_order(actor=coordinator, now=NOON).rule == EACH
    matching_order(actor=coordinator, now=NOON, rule=MOST)
    run_due(NOON, 10)
    assert matching_order(actor=coordinator, now=NOON + SECOND).rule == MOST


def test_a_run_over_unchanged_input_is_the_earlier_one(coordinator: Grower) -> None:
    made = []
    for _ in range(2):
        order = matching_order(actor=coordinator, now=NOON)
        run_due(NOON, 10)
        order.refresh_from_db()
        made.append((order.pk, order.state, order.run))
    run = MatchingRun.objects.get()
    assert [each[1:] for each in made] == [("done", run)] * 2
    assert made[0][0] != made[1][0]


def test_while_one_waits_the_same_wish_is_that_one(coordinator: Grower, outsider: Grower) -> None:
    first = matching_order(actor=coordinator, now=NOON)
    coordinator_grant(handle="outsider")
    assert matching_order(actor=outsider, now=NOON) == first
    other = matching_order(actor=outsider, now=NOON, rule=MOST)
    assert (other != first, MatchingOrder.objects.count()) == (True, 2)
    MatchingOrder.objects.filter(pk=first.pk).update(state="running")
    assert matching_order(actor=coordinator, now=NOON) not in (first, other)


def test_others_cannot_order_one(society: Society) -> None:
    for grower in (society.given.grower, society.seed.grower):
        refused(lambda actor=grower: matching_order(actor=actor, now=NOON), NotFound)  # type: ignore[misc]


def test_the_sweep_is_called_at_once(
    coordinator: Grower, monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any
) -> None:
    started: list[str] = []
    monkeypatch.setattr(after_commit, "_send", lambda name, *_: started.append(name))
    with django_capture_on_commit_callbacks(execute=True):
        matching_order(actor=coordinator, now=NOON)
    assert started == ["exchange.due.sweep"]


def test_it_stands_back_while_another_run_is_going_on(coordinator: Grower) -> None:
    without_changes()
    order = matching_order(actor=coordinator, now=NOON)
    with leased("matching", NOON):
        run_due(NOON, 10)
    order.refresh_from_db()
    assert (order.state, order.starts, DueTask.objects.get(kind="matching_order").due_at) == (
        "waiting",
        0,
        NOON + LATER,
    )
    run_due(NOON + LATER, 10)
    order.refresh_from_db()
    assert order.state == "done"


def test_a_mistake_of_ours_is_told_and_not_repeated(
    coordinator: Grower, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(**_: Any) -> Any:
        raise LookupError("no climate")

    without_changes()
    order = matching_order(actor=coordinator, now=NOON)
    with monkeypatch.context() as patched:
        patched.setattr(rescoring, "matching_reckon", broken)
        run_due(NOON, 10)
    order.refresh_from_db()
    assert (order.state, order.run, order.finished_at is not None) == ("failed", None, True)
    assert not DueTask.objects.filter(kind="matching_order").exists()
    before = rows()
    orders.matching_order_due(order.pk, NOON + SECOND)
    assert rows() == before


@pytest.mark.parametrize("error", [LeaseLost("matching"), OperationalError("the connection was closed")])
def test_what_is_nobodys_mistake_is_begun_again(
    coordinator: Grower, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    def away(**_: Any) -> Any:
        raise error

    without_changes()
    order = matching_order(actor=coordinator, now=NOON)
    with monkeypatch.context() as patched:
        patched.setattr(rescoring, "matching_reckon", away)
        assert run_due(NOON, 10).failed == 1
    order.refresh_from_db()
    assert (order.state, order.starts) == ("running", 1)
    run_due(NOON + timedelta(minutes=1), 10)
    order.refresh_from_db()
    assert (order.state, order.starts) == ("done", 2)


def test_one_that_never_ends_is_given_up(coordinator: Grower) -> None:
    order = matching_order(actor=coordinator, now=NOON)
    MatchingOrder.objects.filter(pk=order.pk).update(state="running", starts=orders.MOST_STARTS)
    assert orders.matching_order_due(order.pk, NOON) is None
    order.refresh_from_db()
    assert (order.state, order.run) == ("failed", None)


# --- many at once, and a worker that is killed ---


@pytest.mark.django_db(transaction=True)
def test_of_many_who_order_at_once_all_have_the_same_order(coordinator: Grower) -> None:
    gate = threading.Barrier(4)
    ordered: list[int] = []

    def work() -> None:
        gate.wait(30)
        try:
            ordered.append(matching_order(actor=coordinator, now=NOON).pk)
        finally:
            connections.close_all()

    workers = [threading.Thread(target=work) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(60)
    assert ordered == [MatchingOrder.objects.get().pk] * 4
    assert DueTask.objects.filter(kind="matching_order").count() == 1


KILLED_WORKER = """
import os, signal, sys
from datetime import datetime
from django.conf import settings
settings.DATABASES["default"]["NAME"] = sys.argv[1]
import django
django.setup()
from exchange.services import due, rescoring

def killed(reckoned, *, guard):
    os.kill(os.getpid(), signal.SIGKILL)

rescoring.matching_store = killed
due.run_due(datetime.fromisoformat(sys.argv[2]), 10)
"""
OVER = NOON + max(CLAIM_LASTS, LEASE_LASTS) + timedelta(minutes=2)


@pytest.mark.django_db(transaction=True)
def test_what_a_killed_worker_began_is_begun_again(coordinator: Grower) -> None:
    without_changes()
    order = matching_order(actor=coordinator, now=NOON, rule=MOST)
    database = str(connection.settings_dict["NAME"])
    command = [sys.executable, "-c", KILLED_WORKER, database, NOON.isoformat()]
    ended = subprocess.run(command, cwd=settings.BASE_DIR, env=os.environ, check=False, capture_output=True)
    assert ended.returncode == -9, ended.stderr.decode()
    order.refresh_from_db()
    assert (order.state, order.starts, order.run) == ("running", 1, None)
    run_due(NOON + timedelta(minutes=1), 10)
    order.refresh_from_db()
    assert order.state == "running"
    run_due(OVER, 10)
    order.refresh_from_db()
    assert (order.state, order.starts) == ("done", 2)
    assert order.run == MatchingRun.objects.latest("pk")
    assert order.run.rule == MOST
    assert Pairing.objects.filter(state="suggested").count() == 1
