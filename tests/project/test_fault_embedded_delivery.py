"""The embedded server is killed while it delivers, and starts again: each event is known by its one id."""

import os
import re
import signal
from pathlib import Path

import pytest

from exchange.tasks.due import due_sweep
from tests.clock import MovableClock
from tests.exchange.difference import Story, unlike
from tests.exchange.receiver import receiving_here, tell
from tests.exchange.society import NOON
from tests.factories import make_grower
from tests.served.embedded import (
    copied,
    embedded,
    held,
    is_writing_for_long,
    live_to_the_end,
    opened,
    writing,
)
from tests.served.process import Process, wait_until
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
    webhooks_make,
)

DELIVERING = {
    "before it has set them up": writing("INSERT ON exchange_duetask", "NEW.kind = 'webhook_delivery'"),
    "before it notes the answer": writing("UPDATE ON exchange_webhookdelivery", "NEW.id = 2"),
    "before it ends the row": writing(
        "DELETE ON exchange_duetask", "OLD.kind = 'webhook_delivery' AND OLD.subject_id = 2"
    ),
}
SENT_AGAIN = "before it notes the answer"


@pytest.mark.slow
@pytest.mark.parametrize("point", list(DELIVERING))
def test_what_a_killed_server_delivered_is_known_by_its_id(
    delivered_undisturbed: Story, folder: Path, clock: MovableClock, point: str
) -> None:
    with receiving_here() as receiver:
        three_events(receiver.url)
        with (
            held(folder, DELIVERING[point]),
            embedded(folder, WEBHOOK_TEST_ADDRESS=receiver.address) as server,
        ):
            wait_until(lambda: is_writing_for_long(folder), "the middle of the delivery")
            server.kill()
        clock.move(minutes=17)
        live_to_the_end(folder, receiver)
        assert unlike(end(), delivered_undisturbed) == {}
        assert_told_once(receiver, sent_again=delivered()[1] if point == SENT_AGAIN else "")


@pytest.fixture(scope="module")
def delivered_undisturbed(
    untouched: Path, tmp_path_factory: pytest.TempPathFactory, module_clock: MovableClock
) -> Story:
    module_clock.set(NOON)
    folder = copied(untouched, tmp_path_factory.mktemp("delivered"))
    with opened(folder), receiving_here() as receiver:
        three_events(receiver.url)
        live_to_the_end(folder, receiver)
        return end()


@pytest.mark.slow
def test_an_event_without_answer_waits_for_the_claim_of_the_dead_server_and_holds_up_no_other(
    delivered_undisturbed: Story, folder: Path, clock: MovableClock
) -> None:
    with receiving_here(silent_at(2)) as receiver:
        three_events(receiver.url)
        with embedded(folder, WEBHOOK_TEST_ADDRESS=receiver.address) as server:
            wait_until(told_by(receiver, 2), "the event that nobody answers")
            server.kill()
        assert is_claimed(2)
        with embedded(folder, WEBHOOK_TEST_ADDRESS=receiver.address):
            wait_until(lambda: len(delivered()) == 2, "the third event")
            assert_only_the_second_waits(receiver)
            clock.move(minutes=17)
            wait_until(all_delivered, "the end of the work")
        assert unlike(end(), delivered_undisturbed) == {}
        assert_told_once(receiver, sent_again=delivered()[1])


@pytest.mark.slow
def test_a_killed_worker_of_the_server_has_a_successor_that_delivers(
    delivered_undisturbed: Story, folder: Path, clock: MovableClock
) -> None:
    """The process that answers and whose thread does what is due; the one that watches over it lives."""
    with (
        receiving_here(silent_at(2)) as receiver,
        embedded(folder, WEBHOOK_TEST_ADDRESS=receiver.address) as server,
    ):
        three_events(receiver.url)
        wait_until(told_by(receiver, 2), "the event that nobody answers")
        os.kill(workers_of(server)[-1], signal.SIGKILL)
        wait_until(lambda: len(delivered()) == 2, "the third event")
        assert len(workers_of(server)) == 2
        assert_only_the_second_waits(receiver)
        clock.move(minutes=17)
        wait_until(all_delivered, "the end of the work")
        assert unlike(end(), delivered_undisturbed) == {}
        assert_told_once(receiver, sent_again=delivered()[1])


def workers_of(server: Process) -> list[int]:
    """The ids of the processes that answered for it, the latest last."""
    return [int(found) for found in re.findall(r"Booting worker with pid: (\d+)", server.said())]


def test_a_server_killed_while_it_delivers_sends_the_event_again_under_its_id(
    folder: Path, clock: MovableClock
) -> None:
    with receiving_here(silent_at(1)) as receiver:
        donor = make_grower("donor")
        webhooks_make(receiver.url, donor)
        tell(donor)
        with embedded(folder, WEBHOOK_TEST_ADDRESS=receiver.address) as server:
            wait_until(told_by(receiver, 1), "the event")
            server.kill()
        assert (delivered(), is_claimed(1)) == ([], True)
        clock.move(minutes=17)
        due_sweep()  # as a server does that starts, which takes as long again
        assert_told_once(receiver, sent_again=delivered()[0])
