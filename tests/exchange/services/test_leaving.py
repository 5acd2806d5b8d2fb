"""Closing an account: deals end in a word that says so, doses go back, address and blocks are gone."""

import pytest

from exchange.models import (
    Address,
    Agreement,
    AgreementAddress,
    Block,
    Notification,
    Offer,
    Reservation,
    WantedCross,
)
from exchange.services.account import account_close
from exchange.services.address import address_set
from exchange.services.agreement import agreement_propose
from exchange.services.agreement_change import agreement_send
from exchange.services.block import block_create
from exchange.wording.notification import notification_sentence
from growers.errors import Conflict
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, assert_sums_hold, make_bargain, propose, state_papers
from tests.exchange.refusal import refused
from tests.exchange.services.test_address import HOME, SENTINELS
from tests.exchange.society import NOON
from tests.exchange.stored import stored
from tests.factories import make_offer, make_plant

pytestmark = pytest.mark.django_db


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient)


def last_told(grower: Grower) -> str:
    return notification_sentence(Notification.objects.filter(grower=grower).latest("pk"))


def test_a_recipient_who_leaves_gives_the_doses_back_and_leaves_no_address(
    bargain: Bargain, donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    address_set(actor=recipient, **HOME)
    agreement, other = agree(bargain.pairing), agree(bargain.wanted_by(outsider), doses=1)
    account_close(actor=recipient)
    agreement.refresh_from_db()
    other.refresh_from_db()
    assert (agreement.state, agreement.end_reason) == ("ended", "account_closed")
    assert (other.state, bargain.supply().reserved, bargain.supply().left) == ("agreed", 1, 3)
    assert Reservation.objects.get(agreement=agreement).state == "released"
    assert last_told(donor) == "About 'Ferry': the agreement has ended. The other has left the exchange."
    assert not Address.objects.exists() and not AgreementAddress.objects.exists()
    assert [word for word in SENTINELS if word in stored()] == []
    assert set(WantedCross.objects.values_list("seed_parent__grower", "state")) == {
        (recipient.pk, "closed"),
        (outsider.pk, "open"),
    }
    assert Offer.objects.get().state == "open"
    assert_sums_hold()


def test_a_donor_who_leaves_closes_offers_and_ends_all_that_waits(
    bargain: Bargain, donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    agree(bargain.pairing)
    propose(bargain.wanted_by(outsider), doses=1)
    address_set(actor=recipient, **HOME)
    account_close(actor=donor)
    assert set(Agreement.objects.values_list("state", "end_reason")) == {("ended", "account_closed")}
    assert (Offer.objects.get().state, bargain.supply().reserved) == ("closed", 0)
    assert not AgreementAddress.objects.exists()
    assert Address.objects.get().grower == recipient
    for grower in (recipient, outsider):
        assert last_told(grower) == "About 'Ferry': the agreement has ended. The other has left the exchange."
    assert_sums_hold()


def test_sent_doses_stay_sent(bargain: Bargain, donor: Grower) -> None:
    agreement = agree(bargain.pairing)
    state_papers(agreement)
    agreement_send(actor=donor, agreement=agreement)
    account_close(actor=donor)
    agreement.refresh_from_db()
    assert (agreement.state, agreement.end_reason, bargain.supply().sent) == ("ended", "account_closed", 2)
    assert_sums_hold()


@pytest.mark.parametrize("leaves", ["donor", "recipient"])
def test_nobody_says_yes_to_whoever_has_left(
    bargain: Bargain, donor: Grower, recipient: Grower, leaves: str
) -> None:
    """Before the next run of the matching the pairing still stands."""
    left, stays = (donor, recipient) if leaves == "donor" else (recipient, donor)
    account_close(actor=left)
    error = refused(lambda: agreement_propose(actor=stays, pairing=bargain.pairing, doses=1), Conflict)
    assert error.detail == "The offer or the wanted cross is not open any more."


def test_paused_offers_close_and_blocks_go_both_ways(
    donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    offer = make_offer(make_plant(donor))
    Offer.objects.filter(pk=offer.pk).update(state="paused")
    block_create(actor=donor, blocked=recipient)
    block_create(actor=outsider, blocked=donor)
    block_create(actor=outsider, blocked=recipient)
    account_close(actor=donor)
    assert Offer.objects.get().state == "closed"
    assert list(Block.objects.values_list("grower", "blocked")) == [(outsider.pk, recipient.pk)]
