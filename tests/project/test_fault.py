"""Real servers and workers that stop, die and come back: requests succeed or say when to ask again.

What is there in the end is what would be there without the disturbance.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from exchange.models import DueTask, IdempotentAnswer, Offer
from growers import clock as project_clock
from growers.models import Change
from tests.clock import MovableClock
from tests.exchange.difference import Story, story, unlike
from tests.exchange.refusal import rows
from tests.exchange.society import NOON
from tests.served.client import Got, Sent, send
from tests.served.process import Process, answers, served, wait_until
from tests.served.service import Service, emptied
from tests.served.tale import (
    STATUSES,
    Sender,
    Tale,
    nothing_reckoned,
    plainly,
    wait_until_all_is_done,
)
from tests.served.work import prepare

pytestmark = pytest.mark.slow


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
        with society.held(f"LOCK TABLE {lock}"):
            society.deliver("exchange.due.sweep")
            wait_until(society.waits_for_a_lock, "the middle of the work")
            worker.kill()
        wait_until(society.is_left_alone, "the end of its connection")
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
        lock = "LOCK TABLE exchange_supply IN ACCESS EXCLUSIVE MODE"
        with ThreadPoolExecutor(1) as pool, society.held(lock):
            waiting = pool.submit(send, sent)
            wait_until(society.waits_for_a_lock, "a request in the middle")
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
