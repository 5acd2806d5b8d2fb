"""The embedded server is killed while it reckons, and starts again: nothing is lost and nothing told twice.

What is there in the end is what would be there if nobody had killed it.
"""

from collections.abc import Callable
from pathlib import Path

import pytest

from exchange.models import DueTask
from growers import clock as project_clock
from growers.models import Change, Grower
from tests.clock import MovableClock
from tests.exchange.difference import Story, unlike
from tests.exchange.receiver import Receiver, receiving_here
from tests.served.embedded import (
    Place,
    copied,
    embedded,
    held,
    is_writing_for_long,
    live_to_the_end,
    opened,
    reading,
    writing,
)
from tests.served.process import wait_until
from tests.served.work import assert_told_once, end, prepare, webhooks_make

pytestmark = pytest.mark.slow


def changes_are_claimed(_: Path) -> bool:
    return Change.objects.exclude(claimed_until=None).exists()


POINTS = {
    "while it lets a yes lapse": (writing("INSERT ON exchange_agreementevent"), is_writing_for_long),
    "while it reckons": (reading("exchange_bordernote"), changes_are_claimed),
    "while it stores": (writing("INSERT ON exchange_pairing"), is_writing_for_long),
}


@pytest.mark.parametrize(("place", "is_there"), list(POINTS.values()), ids=list(POINTS))
def test_what_a_killed_server_reckoned_is_reckoned_and_told_when_it_starts_again(
    reckoned_undisturbed: Story,
    folder: Path,
    clock: MovableClock,
    place: Place,
    is_there: Callable[[Path], bool],
) -> None:
    with receiving_here() as receiver:
        prepare_to_tell(clock, receiver)
        with held(folder, place), embedded(folder, WEBHOOK_TEST_ADDRESS=receiver.address) as server:
            wait_until(lambda: is_there(folder), "the middle of the work")
            server.kill()
        assert DueTask.objects.filter(claimed_until__gt=project_clock.now()).exists()
        assert Change.objects.exists()
        assert receiver.got == []
        clock.move(minutes=17)
        live_to_the_end(folder, receiver)
        assert unlike(end(), reckoned_undisturbed) == {}
        assert_told_once(receiver)


@pytest.fixture(scope="module")
def reckoned_undisturbed(
    untouched: Path, tmp_path_factory: pytest.TempPathFactory, module_clock: MovableClock
) -> Story:
    folder = copied(untouched, tmp_path_factory.mktemp("reckoned"))
    with opened(folder), receiving_here() as receiver:
        prepare_to_tell(module_clock, receiver)
        live_to_the_end(folder, receiver)
        return end()


def prepare_to_tell(clock: MovableClock, receiver: Receiver) -> None:
    """The work of :func:`prepare`, of which both growers want to be told at an address."""
    prepare(clock)
    webhooks_make(receiver.url, *Grower.objects.order_by("pk"))
