"""Two at one moment over the doses of one offer: whoever waited finds what the first has done."""

import threading
from collections.abc import Callable
from functools import partial

import pytest
from django.db import connection, transaction

from exchange.models import Lot, Supply
from exchange.services.agreement_change import agreement_send_less, agreement_withdraw
from exchange.services.collection import offer_collect
from exchange.services.deal import offer_lock
from exchange.services.offer_change import offer_keep_back
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, accept, agree, assert_sums_hold, make_bargain, propose
from tests.exchange.society import NOON, TODAY
from tests.served.process import wait_until

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient)


def while_collecting(bargain: Bargain, call: Callable[[], object]) -> BaseException | None:
    """What a call ended in that began while four doses were being collected, and had to wait for it."""
    ended: list[BaseException | None] = []
    entered = threading.Event()

    def second() -> None:
        entered.set()
        try:
            call()
            ended.append(None)
        except Exception as error:
            ended.append(error)
        finally:
            connection.close()

    waiting = threading.Thread(target=second)
    with transaction.atomic():
        offer_lock(bargain.offer)
        waiting.start()
        wait_until(entered.is_set if connection.vendor == "sqlite" else somebody_waits, "the second")
        offer_collect(
            actor=bargain.donor, offer=bargain.offer, doses=4, collected_on=TODAY, store="refrigerator"
        )
    waiting.join(60)
    return ended[0]


def somebody_waits() -> bool:
    """Whether a connection to this database waits for a lock of another."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_stat_clear_snapshot()")  # else a transaction sees what it saw first
        cursor.execute(
            "SELECT 1 FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'"
        )
        return cursor.fetchone() is not None


def test_whoever_steps_back_finds_the_doses_in_the_new_lot(bargain: Bargain, recipient: Grower) -> None:
    agreement = agree(bargain.pairing, doses=3)
    assert (
        while_collecting(bargain, partial(agreement_withdraw, actor=recipient, agreement=agreement)) is None
    )
    assert_sums_hold()
    assert Supply.objects.get(lot=Lot.objects.get()).left == 4


def test_fewer_doses_go_back_to_the_new_lot(bargain: Bargain, donor: Grower) -> None:
    agreement = agree(bargain.pairing, doses=3)
    less = partial(agreement_send_less, actor=donor, agreement=agreement, doses=1)
    assert while_collecting(bargain, less) is None
    assert_sums_hold()
    assert Supply.objects.get(lot=Lot.objects.get()).left == 3


def test_a_second_yes_gets_the_doses_of_the_new_lot(bargain: Bargain) -> None:
    proposed = propose(bargain.pairing, doses=3)
    assert while_collecting(bargain, partial(accept, proposed)) is None
    assert_sums_hold()
    assert Supply.objects.get(lot=Lot.objects.get()).reserved == 3


def test_what_is_kept_back_is_kept_of_the_new_lot(bargain: Bargain, donor: Grower) -> None:
    keep = partial(offer_keep_back, actor=donor, offer=bargain.offer, doses=1)
    assert while_collecting(bargain, keep) is None
    assert_sums_hold()
    assert Supply.objects.get(lot=Lot.objects.get()).kept_back == 1
