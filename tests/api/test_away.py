"""Redis away, connections to the database cut: a yes succeeds, or says when to come again. See also the slow
tests of faults, where the servers themselves are stopped and started.
"""

import logging
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from celery import Celery
from django.db import connection, transaction

from exchange.models import Agreement, MatchingRun
from exchange.services.due import run_due
from growers import clock as project_clock
from growers.models import Change, Grower
from growers.services import after_commit
from tests.api.caller import ROOT, Caller, caller
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, assert_sums_hold, make_bargain, propose
from tests.exchange.difference import story, unlike
from tests.exchange.refusal import rows
from tests.exchange.society import NOON
from tests.served.client import Got, Sent, send
from tests.served.process import served, wait_until

pytestmark = pytest.mark.django_db(transaction=True)

NOBODY_THERE = "redis://127.0.0.1:1/0"


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient)


@pytest.fixture
def without_redis(monkeypatch: pytest.MonkeyPatch, settings: Any) -> None:
    """The cache and the broker of a service, at an address where nobody answers."""
    app = Celery("dead", set_as_current=False)
    app.config_from_object("django.conf:settings", namespace="CELERY")
    app.conf.update(broker_url=NOBODY_THERE)
    monkeypatch.setattr(after_commit, "current_app", app)
    settings.TASKS_BY_BROKER = True
    cache = "exchange.project.cache.ForgivingRedisCache"
    settings.CACHES = {name: {"BACKEND": cache, "LOCATION": NOBODY_THERE} for name in settings.CACHES}


def test_without_redis_two_yeses_succeed_and_the_sweep_does_the_rest(
    bargain: Bargain,
    donor_api: Caller,
    recipient_api: Caller,
    without_redis: None,
    caplog: pytest.LogCaptureFixture,
) -> None:
    body = {"pairing_id": str(bargain.pairing.public_id), "doses": 2, "terms": []}
    with caplog.at_level(logging.WARNING):
        first = recipient_api.post("agreements", body)
        second = donor_api.post(f"agreements/{first.body['id']}/accept", {"post_from": "home"})
    assert (first.status, second.status) == (201, 200)
    assert "The cache is away" in caplog.text
    assert "Could not start exchange.matching" in caplog.text
    assert_sums_hold()
    assert Change.objects.exists()
    runs = MatchingRun.objects.count()
    assert run_due(project_clock.now(), 10).failed == 0
    assert not Change.objects.exists()
    assert (MatchingRun.objects.count(), Agreement.objects.get().state) == (runs + 1, "agreed")


def accept_by_http(address: str, agreement: Agreement) -> Sent:
    path = f"{ROOT}/agreements/{agreement.public_id}/accept"
    return Sent(address, path, caller(agreement.donor).token, "one-key-for-both", {"post_from": "home"})


def test_a_cut_connection_costs_at_most_the_request_that_was_going_on(bargain: Bargain) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("about PostgreSQL: SQLite has no connection that could be cut")
    agreement = propose(bargain.pairing)
    with served(processes=1, threads=2) as server, ThreadPoolExecutor(1) as pool:
        asked = accept_by_http(server.address, agreement)
        read = Sent(asked.address, f"{ROOT}/agreements", asked.token, method="GET")
        assert send(read).status == 200
        assert cut("true") >= 1
        assert send(read).status == 200

        before = story(rows())
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("LOCK TABLE exchange_supply")
            waiting = pool.submit(send, asked)
            wait_until(lambda: cut("wait_event_type = 'Lock'"), "a request in the middle of its work")
            assert_unavailable(waiting.result())
        assert unlike(story(rows()), before) == {}
        assert send(asked).status == 200
    assert_sums_hold()
    assert bargain.supply().reserved == 2


def cut(condition: str) -> int:
    """End the connections of others to this database; how many there were."""
    ours = "datname = current_database() AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_stat_clear_snapshot()")  # else a transaction sees what it saw first
        cursor.execute(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE {ours} AND {condition}")
        return len(cursor.fetchall())


def assert_unavailable(got: Got) -> None:
    assert (got.status, got.body["code"], got.headers["Retry-After"]) == (503, "unavailable", "5")
