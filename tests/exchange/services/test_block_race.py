"""A block, a farewell or a new address at the moment of a yes: whoever comes second meets the first."""

from functools import partial

import pytest

from exchange.models import Address, Agreement, AgreementAddress, Block, Offer
from exchange.services.account import account_close
from exchange.services.address import address_set
from exchange.services.agreement import agreement_propose
from exchange.services.agreement_address import address_read
from exchange.services.agreement_rule import ALIVE
from exchange.services.block import block_create
from growers.models import Grower
from tests.api.caller import PASSWORD, caller
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, accept, assert_sums_hold, make_bargain, propose
from tests.exchange.services.test_address import HOME
from tests.exchange.society import NOON
from tests.growers.services.test_race import at_once

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = 3


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient)


def alive() -> bool:
    return Agreement.objects.filter(state__in=ALIVE).exists()


def test_no_yes_slips_past_a_block(bargain: Bargain, donor: Grower, recipient: Grower) -> None:
    for _ in range(ROUNDS):
        Block.objects.all().delete()
        type(bargain.pairing).objects.update(state="suggested")
        blocked, _said = at_once(
            partial(block_create, actor=donor, blocked=recipient),
            partial(agreement_propose, actor=recipient, pairing=bargain.pairing, doses=1),
        )
        assert (blocked, alive()) == (None, False)
        assert_sums_hold()


def test_no_doses_stay_reserved_behind_a_block(bargain: Bargain, donor: Grower, recipient: Grower) -> None:
    for _ in range(ROUNDS):
        Block.objects.all().delete()
        type(bargain.pairing).objects.update(state="suggested")
        agreement = propose(bargain.pairing)
        one, other, _said = at_once(
            partial(block_create, actor=donor, blocked=recipient),
            partial(block_create, actor=recipient, blocked=donor),
            partial(accept, agreement),
        )
        assert (one, other, alive(), bargain.supply().reserved) == (None, None, False, 0)
        assert_sums_hold()


def test_nobody_deals_with_whoever_leaves(bargain: Bargain, donor: Grower, recipient: Grower) -> None:
    closed, _said = at_once(
        partial(account_close, actor=recipient),
        partial(agreement_propose, actor=donor, pairing=bargain.pairing, doses=1, post_from="home"),
    )
    assert (closed, alive(), Offer.objects.get().state) == (None, False, "open")
    assert_sums_hold()


def test_a_new_address_and_the_second_yes_neither_wait_for_ever_nor_miss_each_other(
    bargain: Bargain, donor: Grower, recipient: Grower
) -> None:
    recipient.set_password(PASSWORD)
    recipient.save(update_fields=["password"])
    donor_api, recipient_api = caller(donor), caller(recipient)
    for number in range(ROUNDS):
        Address.objects.all().delete()
        agreement = propose(bargain.pairing, doses=1)
        statuses: list[int] = []

        def state(town: str = f"Town {number}", heard: list[int] = statuses) -> None:
            heard.append(
                recipient_api.patch("me/address", {"password": PASSWORD, **HOME, "town": town}).status
            )

        def say_yes(path: str = f"agreements/{agreement.public_id}", heard: list[int] = statuses) -> None:
            heard.append(donor_api.post(f"{path}/accept", {"post_from": "home"}).status)

        assert at_once(state, say_yes) == [None, None]
        assert statuses == [200, 200]
        assert address_read(actor=donor, agreement=agreement).town == f"Town {number}"
        recipient_api.post(f"agreements/{agreement.public_id}/withdraw")
    assert not AgreementAddress.objects.exists()


def test_a_grower_states_one_address_however_often_at_once(recipient: Grower) -> None:
    assert at_once(*[partial(address_set, actor=recipient, **HOME)] * 3) == [None] * 3
    assert Address.objects.get().grower == recipient
