"""Real servers and workers that stop, die and come back: requests succeed or say when to ask again.

What is there in the end is what would be there without the disturbance.
"""

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from pathlib import Path

import psycopg
import pytest
from django.db import connection
from pytest_django import DjangoDbBlocker

from exchange.models import DueTask, IdempotentAnswer, Offer
from growers import clock as project_clock
from growers.models import Change
from tests.clock import MovableClock
from tests.exchange.bargain import propose
from tests.exchange.difference import Story, story, unlike
from tests.exchange.refusal import rows
from tests.exchange.society import NOON, make_pairing, make_society
from tests.factories import make_grower
from tests.served.client import Got, Sent, send
from tests.served.process import Process, answers, served, wait_until
from tests.served.service import Service, emptied, service
from tests.served.tale import (
    STATUSES,
    Sender,
    Tale,
    ids_alike,
    nothing_reckoned,
    plainly,
    wait_until_all_is_done,
)

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def servers(django_db_blocker: DjangoDbBlocker) -> Iterator[Service]:
    with django_db_blocker.unblock(), service() as started:
        yield started


@pytest.fixture(scope="module")
def module_clock() -> Iterator[MovableClock]:
    """The clock, for what is told once for several tests."""
    movable = MovableClock(Path(os.environ["CLOCK_OFFSET_FILE"]))
    yield movable
    movable.reset()


@pytest.fixture
def society(servers: Service, clock: MovableClock) -> Iterator[Service]:
    """The servers with an empty database, at noon."""
    clock.set(NOON)
    with emptied():
        yield servers


# --- a worker is killed ---

POINTS = {
    "while it lets a yes lapse": "exchange_agreementevent IN SHARE MODE",
    "while it reckons": "exchange_bordernote IN ACCESS EXCLUSIVE MODE",
    "while it stores": "exchange_pairing IN SHARE MODE",
}


@pytest.mark.parametrize("lock", list(POINTS.values()), ids=list(POINTS))
def test_what_a_killed_worker_was_at_is_done_by_another(
    swept_undisturbed: Story, society: Service, clock: MovableClock, lock: str
) -> None:
    prepare(clock)
    with society.worker() as worker:
        with locked(society, lock):
            society.deliver("exchange.due.sweep")
            wait_until(lambda: asked(society, "wait_event_type = 'Lock'"), "the middle of the work")
            worker.kill()
        # Our own connection, and the one that asks.
        wait_until(
            lambda: asked(society, "backend_type = 'client backend'") == 2, "the end of its connection"
        )
    assert DueTask.objects.filter(claimed_until__gt=project_clock.now()).exists()
    assert Change.objects.exists()
    clock.move(minutes=17)
    with society.worker():
        society.deliver("exchange.due.sweep")
        wait_until_all_is_done()
    assert unlike(story(rows()), swept_undisturbed) == {}


@pytest.fixture(scope="module")
def swept_undisturbed(servers: Service, module_clock: MovableClock) -> Story:
    """What one worker makes of it that lives."""
    with emptied():
        prepare(module_clock)
        with servers.worker():
            servers.deliver("exchange.due.sweep")
            wait_until_all_is_done()
        return story(rows())


def prepare(clock: MovableClock) -> None:
    """A yes that nobody answered for eleven days, and facts that no run has taken in."""
    clock.set(NOON)
    scene = make_society(make_grower("donor"), make_grower("recipient"))
    ids_alike()
    for row in (scene.offer, scene.wanted):
        row.refresh_from_db()
    propose(make_pairing(scene.offer, scene.wanted), doses=1)
    clock.move(days=11)


@contextmanager
def locked(service: Service, lock: str) -> Iterator[None]:
    """A table of which others cannot have all that they want."""
    with closing(psycopg.connect(service.variables["DATABASE_URL"])) as holder:
        holder.execute(f"LOCK TABLE {lock}")
        yield


def asked(service: Service, condition: str) -> int:
    """How many connections to the database there are of this kind."""
    question = f"SELECT count(*) FROM pg_stat_activity WHERE {condition}"
    with psycopg.connect(service.variables["DATABASE_URL"]) as asking:
        found = asking.execute(question).fetchone()
    assert found is not None
    return int(found[0])


# --- Redis and PostgreSQL are away ---


@pytest.fixture(scope="module")
def told_undisturbed(servers: Service, module_clock: MovableClock) -> Story:
    """The tale, and what a worker made of it."""
    module_clock.set(NOON)
    with emptied(), served(processes=1, threads=4, **servers.variables) as server, servers.worker():
        tell(servers, server, plainly)
        return story(rows())


def tell(service: Service, server: Process, sender: Sender, mend: Callable[[], None] = lambda: None) -> Tale:
    """Tell the tale and let the worker, which must wait so long, take all of it in at once."""
    tale = Tale(server.address)
    with nothing_reckoned():
        assert tale.tell(sender) == STATUSES
        mend()
    service.deliver("exchange.due.sweep")
    wait_until_all_is_done()
    return tale


def test_without_redis_requests_succeed_and_the_sweep_does_the_rest(
    told_undisturbed: Story, society: Service
) -> None:
    def without_redis(sent: Sent) -> Got:
        society.redis.halt()
        return send(sent)

    with served(processes=1, threads=4, **society.variables) as server, society.worker() as worker:
        tale = tell(society, server, without_redis, mend=society.redis.resume)
        assert unlike(story(rows()), told_undisturbed) == {}
        assert "Could not start exchange.matching" in server.said()
        # Server and worker have found it again: what a grower does now needs no sweep.
        assert (
            send(tale.post(tale.donor, f"offers/{Offer.objects.get().public_id}/pause", None)).status == 200
        )
        wait_until(lambda: not Change.objects.exists(), "the run that a task starts")
        assert "Traceback" not in server.said()
        assert "exchange.matching[" in worker.said()


def test_while_the_database_restarts_requests_are_told_to_come_again(
    told_undisturbed: Story, society: Service
) -> None:
    def around_a_restart(sent: Sent) -> Got:
        society.postgres.halt()
        assert_unavailable(send(sent))
        assert not answers(f"{sent.address}/health/ready")
        assert answers(f"{sent.address}/health/live")
        society.postgres.resume()
        connection.close()
        return send(sent)

    with served(processes=1, threads=4, **society.variables) as server, society.worker():
        tell(society, server, around_a_restart)
        assert unlike(story(rows()), told_undisturbed) == {}


def test_a_request_that_a_restart_interrupts_has_done_nothing_and_may_come_again(
    told_undisturbed: Story, society: Service
) -> None:
    """Its claim on the key runs out if it could not be given back."""

    def interrupted(sent: Sent) -> Got:
        if not sent.path.endswith("/accept"):
            return send(sent)
        before = story(rows(), without=BESIDE)
        with ThreadPoolExecutor(1) as pool, locked(society, "exchange_supply IN ACCESS EXCLUSIVE MODE"):
            waiting = pool.submit(send, sent)
            wait_until(lambda: asked(society, "wait_event_type = 'Lock'"), "a request in the middle")
            society.postgres.halt()
            assert_unavailable(waiting.result())
        society.postgres.resume()
        connection.close()
        assert unlike(story(rows(), without=BESIDE), before) == {}
        assert send(sent).status in (200, 409)
        IdempotentAnswer.objects.filter(state="running").update(claimed_until=project_clock.true_now())
        return send(sent)

    with served(processes=1, threads=4, **society.variables) as server, society.worker():
        tell(society, server, interrupted)
        assert unlike(story(rows()), told_undisturbed) == {}


BESIDE = ("exchange_apitoken", "exchange_idempotentanswer")
"""What says that a request came, whatever became of it."""


def assert_unavailable(got: Got) -> None:
    assert (got.status, got.body["code"], got.headers["Retry-After"]) == (503, "unavailable", "5")
