"""A Celery worker is killed while it delivers: another delivers, and each event is known by its one id.

The address that may be contacted under test has no TLS; what is sent over TLS is tested beside the sending.
"""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from exchange.models import WebhookDelivery
from tests.clock import MovableClock
from tests.exchange.difference import Story, unlike
from tests.exchange.receiver import Receiver, receiving_here
from tests.exchange.society import NOON, make_groups
from tests.served.process import Process, wait_until
from tests.served.service import Service, emptied
from tests.served.work import (
    all_delivered,
    assert_only_the_second_waits,
    assert_told_once,
    delivered,
    end,
    is_claimed,
    silent_at,
    three_events,
    told_by,
)

pytestmark = pytest.mark.slow

NOTE = (
    "SELECT id FROM exchange_webhook"
    " WHERE grower_id = (SELECT id FROM growers_grower WHERE handle = 'recipient') FOR NO KEY UPDATE"
)
"""Lets a delivery be set up and sent to the recipient's address, and not be noted."""


@contextmanager
def sweeping(service: Service, receiver: Receiver) -> Iterator[Process]:
    """A worker that does what is due once."""
    with service.worker(WEBHOOK_TEST_ADDRESS=receiver.address) as worker:
        service.deliver("exchange.due.sweep")
        yield worker


def begin(receiver: Receiver) -> None:
    make_groups()
    three_events(receiver.url)


def end_of_the_work(service: Service, receiver: Receiver) -> Story:
    """What a worker makes of it that lives."""
    with sweeping(service, receiver):
        wait_until(all_delivered, "the end of the work")
    return end()


@pytest.fixture(scope="module")
def undisturbed(servers: Service, module_clock: MovableClock) -> Story:
    module_clock.set(NOON)
    with emptied(), receiving_here() as receiver:
        begin(receiver)
        return end_of_the_work(servers, receiver)


def test_an_event_without_answer_waits_for_the_claim_of_the_dead_worker_and_holds_up_no_other(
    undisturbed: Story, society: Service, clock: MovableClock
) -> None:
    with receiving_here(silent_at(2)) as receiver:
        begin(receiver)
        with sweeping(society, receiver) as worker:
            wait_until(told_by(receiver, 2), "the event that nobody answers")
            worker.kill()
        wait_until(society.is_left_alone, "the end of its connection")
        assert is_claimed(2)
        with sweeping(society, receiver):
            wait_until(lambda: len(delivered()) == 2, "the third event")
            assert_only_the_second_waits(receiver)
        clock.move(minutes=17)
        assert unlike(end_of_the_work(society, receiver), undisturbed) == {}
        assert_told_once(receiver, sent_again=delivered()[1])


def test_an_event_that_arrived_and_was_not_noted_is_sent_again_under_its_id(
    undisturbed: Story, society: Service, clock: MovableClock
) -> None:
    with receiving_here() as receiver:
        begin(receiver)
        with society.held(NOTE), sweeping(society, receiver) as worker:
            wait_until(society.waits_for_a_lock, "an answer that is not noted")
            worker.kill()
        wait_until(society.is_left_alone, "the end of its connection")
        assert (len(receiver.got), len(delivered())) == (2, 1)
        assert is_claimed(2)
        assert WebhookDelivery.objects.count() == 3
        clock.move(minutes=17)
        assert unlike(end_of_the_work(society, receiver), undisturbed) == {}
        assert_told_once(receiver, sent_again=delivered()[1])
