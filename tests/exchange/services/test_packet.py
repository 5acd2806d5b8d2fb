"""Packets: filled, handed over, received; each with a history of its own from then on."""

from datetime import timedelta

import pytest

from exchange.models import Lot, LotOutlook, Notification, Packet, Stay
from exchange.selectors.lot_course import course_of
from exchange.selectors.lot_record import lot_record, lots_loaded
from exchange.selectors.notification import notification_for, notifications_of
from exchange.services.collection import offer_collect
from exchange.services.lot import lot_collect
from exchange.services.lot_change import lot_put_in_fluid
from exchange.services.packet import packet_fill, packet_hand_over, packet_receive
from exchange.services.store import store_create, store_of_kind
from growers import clock as project_clock
from growers.errors import Conflict, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, make_bargain, propose
from tests.exchange.refusal import problems, refused
from tests.exchange.society import NOON, TODAY
from tests.factories import make_plant

pytestmark = pytest.mark.django_db


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient, doses=6)


@pytest.fixture
def lot(bargain: Bargain) -> Lot:
    return offer_collect(
        actor=bargain.donor, offer=bargain.offer, doses=4, collected_on=TODAY, store="refrigerator"
    )


def sources(packet: Packet) -> list[str]:
    (loaded,) = lots_loaded([packet.lot])
    fresh = Packet.objects.select_related("store").get(pk=packet.pk)
    return [spell.source for spell in course_of(lot_record(loaded, project_clock.now(), fresh))]


def last_told(grower: Grower) -> str:
    row = notifications_of(grower).filter(kind=Notification.Kind.LOT).order_by("-pk")[0]
    return notification_for(row).detail


def test_packets_are_numbered_and_hold_no_more_than_the_lot(lot: Lot, donor: Grower) -> None:
    first, second = (packet_fill(actor=donor, lot=lot, doses=doses) for doses in (3, 1))
    assert (first.number, second.number, second.holder, second.store) == (1, 2, donor, lot.store)
    found = problems(lambda: packet_fill(actor=donor, lot=lot, doses=1))
    assert found == {"/doses": "doses is 1; allowed: none; all doses are in packets."}


def test_more_than_is_left_is_refused(lot: Lot, donor: Grower, outsider: Grower) -> None:
    found = problems(lambda: packet_fill(actor=donor, lot=lot, doses=5))
    assert found == {"/doses": "doses is 5; allowed: whole numbers from 1 to 4."}
    refused(lambda: packet_fill(actor=outsider, lot=lot, doses=1), NotFound)


def test_a_packet_is_filled_for_an_agreement_of_this_lot_once_both_have_said_yes(
    bargain: Bargain, lot: Lot, donor: Grower, outsider: Grower
) -> None:
    proposed = propose(bargain.pairing)
    error = refused(lambda: packet_fill(actor=donor, lot=lot, doses=1, agreement=proposed), Conflict)
    assert error.detail == "The agreement is proposed; packets are filled once both have said yes."
    agreement = agree(bargain.wanted_by(outsider), doses=1)
    other = lot_collect(actor=donor, plant=bargain.offer.plant, flowers_emptied=1)
    refused(lambda: packet_fill(actor=donor, lot=other, doses=1, agreement=agreement), NotFound)
    assert packet_fill(actor=donor, lot=lot, doses=1, agreement=agreement).agreement == agreement


def test_pollen_in_fluid_goes_into_no_packet(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    lot = lot_collect(actor=donor, plant=make_plant(donor), flowers_emptied=1)
    lot_put_in_fluid(actor=donor, lot=lot)
    refused(lambda: packet_fill(actor=donor, lot=lot, doses=1), Conflict)


def test_a_packet_goes_its_way_and_lies_elsewhere(
    bargain: Bargain, lot: Lot, donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    agreement = agree(bargain.pairing, doses=2)
    packet = packet_fill(actor=donor, lot=lot, doses=2, agreement=agreement)
    clock.move(days=2)
    way = packet_hand_over(actor=donor, packet=packet)
    assert (way.store, way.holder) == (None, donor)
    stay = Stay.objects.get(packet=packet, until=None)
    # Paris to Germany in July: the warmer end's monthly mean and five degrees for vans (judgement).
    assert (stay.store, stay.packing) == (None, "cold_box")
    assert 22.0 < (stay.ambient_c or 0.0) < 28.0
    code = f"{lot.code[:4]}-{lot.code[4:]}"
    assert last_told(recipient) == f"Pollen of 'Ferry', lot {code}: packet 1 handed over."
    clock.move(days=3)
    home = store_create(actor=recipient, name="kitchen", kind="refrigerator")
    come = packet_receive(actor=recipient, packet=packet, store=home)
    assert (come.store, come.holder) == (home, recipient)
    assert last_told(donor) == f"Pollen of 'Ferry', lot {code}: packet 1 received."
    clock.move(days=1)
    assert sources(packet) == ["drying", "drying", "refrigerator", "parcel", "refrigerator"]
    of_lot, of_packet = (LotOutlook.objects.get(lot=lot, packet=each) for each in (None, packet))
    assert of_packet.best_before_at is not None and of_lot.best_before_at is not None
    assert of_packet.best_before_at < of_lot.best_before_at


def test_a_packet_comes_once_and_to_whom_it_was_filled_for(
    bargain: Bargain, lot: Lot, donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    agreement = agree(bargain.pairing, doses=2)
    packet = packet_fill(actor=donor, lot=lot, doses=2, agreement=agreement)
    home, theirs = (store_of_kind(grower, "refrigerator") for grower in (recipient, outsider))
    error = refused(lambda: packet_receive(actor=recipient, packet=packet, store=home), Conflict)
    assert error.detail == "The packet is not on its way."
    packet_hand_over(actor=donor, packet=packet)
    refused(lambda: packet_hand_over(actor=donor, packet=packet), Conflict)
    refused(lambda: packet_receive(actor=outsider, packet=packet, store=theirs), NotFound)
    refused(lambda: packet_receive(actor=donor, packet=packet, store=lot.store), Conflict)
    refused(lambda: packet_receive(actor=recipient, packet=packet, store=theirs), NotFound)
    packet_receive(actor=recipient, packet=packet, store=home)
    refused(lambda: packet_receive(actor=recipient, packet=packet, store=home), Conflict)
    refused(lambda: packet_hand_over(actor=outsider, packet=packet), NotFound)


def test_a_packet_does_not_come_before_it_went(
    bargain: Bargain, lot: Lot, donor: Grower, recipient: Grower
) -> None:
    agreement = agree(bargain.pairing, doses=2)
    packet = packet_fill(actor=donor, lot=lot, doses=2, agreement=agreement)
    packet_hand_over(actor=donor, packet=packet)
    home, at = store_of_kind(recipient, "refrigerator"), NOON - timedelta(minutes=5)
    found = problems(lambda: packet_receive(actor=recipient, packet=packet, store=home, occurred_at=at))
    assert list(found) == ["/occurred_at"]
