"""Collecting in bloom: a lot of its own supply, to which promised doses go over."""

from datetime import date

import pytest

from exchange.models import AgreementEvent, Lot, Reservation, Supply
from exchange.services.agreement_change import agreement_send
from exchange.services.collection import offer_collect
from exchange.services.offer import offer_close
from growers.errors import Conflict, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, assert_sums_hold, make_bargain, state_papers
from tests.exchange.refusal import problems, refused
from tests.exchange.society import NOON, TODAY
from tests.factories import make_offer_in_hand, make_plant

pytestmark = pytest.mark.django_db


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient, doses=6)


def collect(bargain: Bargain, doses: int, **changes: object) -> Lot:
    stated = {"actor": bargain.donor, "offer": bargain.offer, "collected_on": TODAY, "store": "refrigerator"}
    return offer_collect(**{**stated, **changes}, doses=doses)  # type: ignore[arg-type]


def counters(supply: Supply) -> tuple[int, int, int]:
    """Total, reserved and left."""
    supply.refresh_from_db()
    return supply.total, supply.reserved, supply.left


def test_promised_doses_go_over_whole_and_the_earliest_agreed_first(
    bargain: Bargain, outsider: Grower
) -> None:
    first, second = agree(bargain.pairing, doses=3), agree(bargain.wanted_by(outsider), doses=2)
    lot = collect(bargain, 4)
    assert (lot.plant, lot.treatment, lot.doses) == (bargain.offer.plant, "dried", 4)
    assert counters(lot.supply) == (4, 3, 1)
    assert counters(bargain.supply()) == (2, 2, 0)
    held = {row.agreement_id: row.supply.lot_id for row in Reservation.objects.select_related("supply")}
    assert held == {first.pk: lot.pk, second.pk: None}
    assert [event.agreement for event in AgreementEvent.objects.filter(kind="collected")] == [first]
    assert_sums_hold()


def test_more_than_was_offered_may_be_collected(bargain: Bargain) -> None:
    lot = collect(bargain, 9)
    assert counters(lot.supply) == (9, 0, 9)
    assert counters(bargain.supply()) == (0, 0, 0)


def test_doses_of_a_lot_are_handed_over_from_it(bargain: Bargain) -> None:
    agreement = agree(bargain.pairing, doses=3)
    lot = collect(bargain, 4)
    state_papers(agreement)
    agreement_send(actor=bargain.donor, agreement=agreement)
    lot.supply.refresh_from_db()
    assert (lot.supply.sent, lot.supply.left) == (3, 1)
    assert_sums_hold()


def test_a_new_agreement_takes_from_the_lot_first(bargain: Bargain) -> None:
    lot = collect(bargain, 2)
    agree(bargain.pairing, doses=2)
    assert counters(lot.supply) == (2, 2, 0)
    assert counters(bargain.supply()) == (4, 0, 4)


def test_what_cannot_be_is_not_collected(bargain: Bargain, donor: Grower, outsider: Grower) -> None:
    refused(lambda: collect(bargain, 2, actor=outsider), NotFound)
    assert problems(lambda: collect(bargain, 0, collected_on=date(2027, 7, 2))) == {
        "/doses": "doses is 0; allowed: whole numbers from 1 to 999.",
        "/collected_on": "collected_on is 2027-07-02; allowed: a day up to today, 2027-07-01.",
    }
    assert list(problems(lambda: collect(bargain, 2, store="freezer"))) == ["/store"]
    in_hand = make_offer_in_hand(make_plant(donor), date(2027, 6, 28))
    refused(lambda: collect(bargain, 2, offer=in_hand), Conflict)
    offer_close(actor=donor, offer=bargain.offer)
    bargain.offer.refresh_from_db()
    refused(lambda: collect(bargain, 2), Conflict)
