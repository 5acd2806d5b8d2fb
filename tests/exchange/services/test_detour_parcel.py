"""Both legs of a parcel by way of a steward: who sends, who gets, what is told, what lanes learn."""

from collections.abc import Callable
from datetime import timedelta
from functools import partial
from typing import Any

import pytest

from exchange.models import AddressView, Agreement, Detour, Gathering, Packet, Shipment, Stay
from exchange.selectors.agreement import agreements_for, agreements_of
from exchange.selectors.lane_seen import lanes_seen
from exchange.selectors.notification import notification_for, notifications_of
from exchange.selectors.packet import packets_known
from exchange.selectors.shipment import ShipmentForViewer, shipment_for, shipments_known
from exchange.services.address import address_set
from exchange.services.agreement_address import COOLING, AddressCooling, address_read
from exchange.services.agreement_change import agreement_end
from exchange.services.carrier_service import carrier_service_create
from exchange.services.detour_address import detour_address_read
from exchange.services.gathering import gathering_close
from exchange.services.offer_change import offer_update
from exchange.services.packet import packet_fill, packet_hand_over, packet_receive
from exchange.services.shipment import (
    shipment_call_off,
    shipment_change,
    shipment_dispatch,
    shipment_hold,
    shipment_lost,
    shipment_pack,
    shipment_plan,
    shipment_receive,
    shipment_refused,
    shipment_returned,
)
from exchange.services.shipment_due import overdue_due
from growers.errors import Conflict, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.gathered import Gathered, make_gathered
from tests.exchange.parcel import forget, told
from tests.exchange.refusal import refused
from tests.exchange.services.test_address import HOME
from tests.exchange.society import NOON, TODAY
from tests.factories import make_grower

pytestmark = pytest.mark.django_db

CLUB = {**HOME, "name": "S. Keeper", "town": "Seeburg", "country": "DE"}


@pytest.fixture
def gathered(gathered: Gathered) -> Gathered:
    gathered.agree()
    return gathered


def seen_by(viewer: Grower, shipment: Shipment) -> ShipmentForViewer:
    row = shipments_known(viewer).get(pk=shipment.pk)
    return shipment_for(viewer, row, lanes_seen(TODAY))


# --- the whole way ---


def test_a_packet_goes_to_the_steward_and_then_inland(gathered: Gathered, clock: MovableClock) -> None:
    donor, recipient, steward = gathered.donor, gathered.recipient, gathered.steward
    first = gathered.to_steward()
    assert (first.leg, first.origin_country, first.destination_country) == ("to_steward", "FR", "DE")
    clock.set(NOON + timedelta(days=4))
    store = gathered.home_of(steward)
    first = shipment_receive(actor=steward, shipment=first, store=store, condition="warm")
    packet = Packet.objects.get()
    assert (packet.holder, packet.store, first.state) == (steward, store, "received")
    assert (first.business_days, gathered.detour.state) == (1, "agreed")
    clock.set(NOON + timedelta(days=6))
    second = gathered.inland()
    assert (second.leg, second.origin_country, second.destination_country) == ("inland", "DE", "DE")
    clock.set(NOON + timedelta(days=8))
    second = gathered.receive(second)
    packet.refresh_from_db()
    assert (packet.holder, packet.store) == (recipient, gathered.home_of(recipient))
    assert gathered.detour.state == Detour.State.DONE
    stays = list(Stay.objects.filter(packet=packet).order_by("since", "pk"))
    assert [None if stay.store is None else stay.store.grower for stay in stays] == [
        donor,
        None,
        steward,
        None,
        recipient,
    ]
    seen = lanes_seen(TODAY + timedelta(days=9)).lanes
    assert {way: int(lane.delivered.sum()) for way, lane in seen.items()} == {
        ("FR", "DE", 5.0): 1,
        ("DE", "DE", 2.0): 1,
    }


def test_each_posts_by_a_carrier_service_of_their_own(gathered: Gathered, clock: MovableClock) -> None:
    donor, steward = gathered.donor, gathered.steward
    counter = carrier_service_create(actor=donor, name="counter", country="FR", promised_days_abroad=4)
    offer_update(actor=donor, offer=gathered.detour.agreement.offer, carrier_service=counter)
    first = gathered.to_steward()
    assert (first.carrier_service, first.promised_days) == (counter, 4)
    clock.set(NOON + timedelta(days=4))
    shipment_receive(actor=steward, shipment=first, store=gathered.home_of(steward))
    second = shipment_plan(actor=steward, agreement=gathered.detour.agreement)
    assert (second.leg, second.carrier_service) == ("inland", None)
    for theirs in (counter, carrier_service_create(actor=donor, name="over there", country="DE")):
        change = partial(shipment_change, actor=steward, shipment=second, carrier_service=theirs)
        refused(change, NotFound)
    own = carrier_service_create(actor=steward, name="village", country="DE", promised_days_home=1)
    shipment_change(actor=steward, shipment=second, carrier_service=own)
    assert shipment_dispatch(actor=steward, shipment=second).promised_days == 1


def test_each_is_told_what_concerns_them(gathered: Gathered) -> None:
    forget()
    first = gathered.to_steward()
    there = seen_by(gathered.recipient, first)
    days = f"half of such parcels come by {there.recipient_half_on}, nine in ten by {there.recipient_late_on}"
    assert told(gathered.recipient)[-1] == (
        f"donor has posted 'Ferry' to the steward. By way of them {days}, if they come."
    )
    assert told(gathered.steward) == [
        f"'Ferry' is on its way to you. Half of such parcels come by {first.half_on}, nine in ten by"
        f" {first.late_on}, if they come."
    ]
    forget()
    store = gathered.home_of(gathered.steward)
    shipment_receive(actor=gathered.steward, shipment=first, store=store)
    sentence = "The steward has received 'Ferry': all in good order."
    assert told(gathered.donor) == told(gathered.recipient) == [sentence]
    forget()
    second = gathered.inland()
    sentence = (
        f"The steward has posted 'Ferry' on. Half of such parcels come by {second.half_on}, nine in ten by"
        f" {second.late_on}, if they come."
    )
    assert told(gathered.donor) == told(gathered.recipient) == [sentence]
    forget()
    gathered.receive(second)
    assert told(gathered.donor) == ["recipient has received 'Ferry': all in good order."]
    assert told(gathered.steward) == ["'Ferry' has come to its recipient: all in good order."]


def test_the_steward_reads_of_it_where_they_may(gathered: Gathered) -> None:
    gathered.to_steward()
    row = notification_for(notifications_of(gathered.steward).latest("pk"))
    assert row.about is not None
    assert (row.about.kind, row.about.id) == ("detour", gathered.agreement.public_id)
    (deal,) = agreements_for(gathered.donor, [agreements_of(gathered.donor).get()])
    assert [(event.kind, event.by) for event in deal.events if event.kind.startswith("detour")] == [
        ("detour_asked", "other"),
        ("detour_donor_yes", "you"),
        ("detour_agreed", "steward"),
    ]


def test_both_growers_read_days_that_count_the_way_inland(gathered: Gathered) -> None:
    first = gathered.to_steward()
    for viewer, role in ((gathered.donor, "consignor"), (gathered.recipient, "concerned")):
        shown = seen_by(viewer, first)
        assert (shown.role, shown.leg) == (role, "to_steward")
        assert shown.recipient_half_on >= shown.half_on + timedelta(days=4)  # three to handle it, one inland
        assert shown.recipient_late_on > shown.recipient_half_on
    mine = seen_by(gathered.steward, first)
    assert (mine.role, mine.plan) == ("consignee", None)
    assert not shipments_known(make_grower("bystander")).exists()


def test_the_steward_knows_the_packet_from_its_parcel_on(gathered: Gathered) -> None:
    assert not packets_known(gathered.steward).exists()
    first = gathered.to_steward()
    assert packets_known(gathered.steward).count() == 1
    shipment_receive(actor=gathered.steward, shipment=first, store=gathered.home_of(gathered.steward))
    gathered.receive(gathered.inland())
    assert not packets_known(gathered.steward).exists()


def test_a_later_packet_goes_the_same_way(gathered: Gathered) -> None:
    gathered.with_steward()
    gathered.receive(gathered.inland())
    lot = gathered.society.offer.lots.get()
    if lot.doses <= 2:
        lot.doses = 3
        lot.save()
    packet_fill(actor=gathered.donor, lot=lot, doses=1, agreement=gathered.agreement)
    again = gathered.to_steward()
    assert (again.leg, gathered.detour.state) == ("to_steward", "done")


# --- who may do what ---


def test_each_leg_is_sent_and_got_by_its_own_two(gathered: Gathered, outsider: Grower) -> None:
    first = shipment_plan(actor=gathered.donor, agreement=gathered.agreement)
    for other in (gathered.recipient, gathered.steward):
        error = refused(lambda o=other: shipment_pack(actor=o, shipment=first), Conflict)  # type: ignore[misc]
        assert error.detail == "Only the donor can do this."
    refused(lambda: shipment_pack(actor=outsider, shipment=first), NotFound)
    shipment_dispatch(actor=gathered.donor, shipment=first)
    store = gathered.home_of(gathered.recipient)
    error = refused(lambda: shipment_receive(actor=gathered.recipient, shipment=first, store=store), Conflict)
    assert error.detail == "Only whom the parcel is for says that it has come."
    error = refused(lambda: shipment_hold(actor=gathered.recipient, shipment=first), Conflict)
    assert error.detail == "Only who sends the parcel or gets it can do this."
    shipment_receive(actor=gathered.steward, shipment=first, store=gathered.home_of(gathered.steward))
    error = refused(lambda: shipment_plan(actor=gathered.recipient, agreement=gathered.agreement), Conflict)
    assert error.detail == "Only the donor can do this."
    second = shipment_plan(actor=gathered.steward, agreement=gathered.agreement)
    error = refused(lambda: shipment_dispatch(actor=gathered.donor, shipment=second), Conflict)
    assert error.detail == "Only the steward can do this."


def test_nothing_goes_inland_before_it_has_come(gathered: Gathered) -> None:
    for prepare in (lambda: None, gathered.to_steward):
        prepare()
        error = refused(lambda: shipment_plan(actor=gathered.steward, agreement=gathered.agreement), Conflict)
        assert error.detail == "No packet of it waits to be sent; fill one first."


def test_a_packet_alone_is_not_handed_over(gathered: Gathered) -> None:
    packet = Packet.objects.get()
    error = refused(lambda: packet_hand_over(actor=gathered.donor, packet=packet), Conflict)
    assert error.detail == "This packet goes by way of a steward; plan a parcel for it."


def test_the_recipient_does_not_say_that_a_packet_has_come_to_the_steward(gathered: Gathered) -> None:
    gathered.to_steward()
    packet, store = Packet.objects.get(), gathered.home_of(gathered.recipient)
    error = refused(lambda: packet_receive(actor=gathered.recipient, packet=packet, store=store), Conflict)
    assert error.detail == "It goes to the steward first, who says that it has come."


def test_a_parcel_that_would_miss_the_days_of_the_steward_stays(gathered: Gathered) -> None:
    planned = shipment_plan(actor=gathered.donor, agreement=gathered.agreement)
    half_on = seen_by(gathered.donor, planned).half_on
    Gathering.objects.update(reach_until=half_on - timedelta(days=1))
    error = refused(lambda: shipment_dispatch(actor=gathered.donor, shipment=planned), Conflict)
    assert error.detail == (
        f"Half of such parcels come to the steward by {half_on}; parcels must reach them from 2027-07-01 to"
        f" {half_on - timedelta(days=1)}."
    )
    assert [problem.code for problem in error.problems] == ["days_missed"]


def test_a_parcel_below_what_its_owner_named_is_not_planned(gathered: Gathered) -> None:
    Detour.objects.update(least_chance=0.5)
    error = refused(lambda: shipment_plan(actor=gathered.donor, agreement=gathered.agreement), Conflict)
    assert "the donor named at least 50 in 100" in error.detail


def test_closed_what_was_agreed_still_goes(gathered: Gathered) -> None:
    gathering_close(actor=gathered.steward, gathering=gathered.gathering)
    assert gathered.to_steward().state == "dispatched"


# --- what may become of either leg ---

End = Callable[..., Shipment]
ENDS: list[End] = [shipment_lost, shipment_refused, shipment_hold]


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize("leg", ["to_steward", "inland"])
def test_either_leg_may_end_badly(gathered: Gathered, leg: str, end: End) -> None:
    if leg == "inland":
        gathered.with_steward()
    shipment: Shipment = getattr(gathered, leg)()
    taker = gathered.steward if leg == "to_steward" else gathered.recipient
    forget()
    ended = end(actor=taker, shipment=shipment)
    assert ended.state in ("lost", "refused", "held")
    assert len(told(gathered.donor)) == 1
    if end is shipment_lost:
        store = gathered.home_of(taker)
        assert shipment_receive(actor=taker, shipment=ended, store=store).state == "received"


def test_what_comes_back_to_the_donor_can_be_sent_anew(gathered: Gathered) -> None:
    shipment_returned(actor=gathered.steward, shipment=gathered.to_steward())
    packet = Packet.objects.get()
    assert (packet.holder, packet.store) == (gathered.donor, packet.lot.store)
    assert gathered.to_steward().state == "dispatched"


def test_what_comes_back_to_the_steward_lies_where_it_lay(gathered: Gathered) -> None:
    gathered.with_steward()
    shipment_returned(actor=gathered.recipient, shipment=gathered.inland())
    packet = Packet.objects.get()
    assert (packet.holder, packet.store) == (gathered.steward, gathered.home_of(gathered.steward))
    gathered.receive(gathered.inland())
    assert gathered.detour.state == "done"


def test_called_off_inland_it_waits_with_the_steward(gathered: Gathered) -> None:
    gathered.with_steward()
    planned = shipment_plan(actor=gathered.steward, agreement=gathered.agreement)
    shipment_call_off(actor=gathered.steward, shipment=planned)
    assert gathered.inland().state == "dispatched"


def test_the_steward_is_asked_whether_it_has_come(gathered: Gathered, clock: MovableClock) -> None:
    first = gathered.to_steward()
    forget()
    later = NOON + timedelta(days=20)
    clock.set(later)
    assert overdue_due(first.pk, later) is None
    assert [sentence[:9] for sentence in told(gathered.steward)] == ["Has the p"]
    assert told(gathered.recipient) == []
    (deal,) = agreements_for(gathered.recipient, [agreements_of(gathered.recipient).get()])
    assert "has_it_come" not in [event.kind for event in deal.events]


def test_an_ended_agreement_sends_nothing_more_inland(gathered: Gathered) -> None:
    gathered.with_steward()
    agreement_end(actor=gathered.donor, agreement=gathered.agreement)
    assert gathered.detour.state == "done"
    error = refused(lambda: shipment_plan(actor=gathered.steward, agreement=gathered.agreement), Conflict)
    assert error.detail == "The agreement is ended; a parcel is planned once both have said yes."


# --- addresses ---


def read(grower: Grower, agreement: Agreement) -> Any:
    return detour_address_read(actor=grower, agreement=agreement).name


def test_the_donor_reads_the_stewards_and_the_steward_the_recipients(gathered: Gathered) -> None:
    address_set(actor=gathered.recipient, **HOME)
    address_set(actor=gathered.steward, **CLUB)
    assert read(gathered.donor, gathered.agreement) == "S. Keeper"
    error = refused(lambda: read(gathered.steward, gathered.agreement), Conflict)
    assert error.detail == "The recipient's address can be read once the packet has come to you."
    gathered.with_steward()
    assert read(gathered.steward, gathered.agreement) == HOME["name"]
    views = AddressView.objects.order_by("pk").values_list("owner", "viewer")
    assert list(views) == [
        (gathered.steward.pk, gathered.donor.pk),
        (gathered.recipient.pk, gathered.steward.pk),
    ]


def test_the_donor_does_not_read_the_recipients(gathered: Gathered) -> None:
    address_set(actor=gathered.recipient, **HOME)
    error = refused(lambda: address_read(actor=gathered.donor, agreement=gathered.agreement), Conflict)
    assert error.detail == ("It goes by way of a steward; you read where to send it at the detour's address.")


def test_addresses_are_for_who_sends_next(gathered: Gathered, outsider: Grower, clock: MovableClock) -> None:
    refused(lambda: read(outsider, gathered.agreement), NotFound)
    error = refused(lambda: read(gathered.recipient, gathered.agreement), Conflict)
    assert error.detail.startswith("You send nothing;")
    error = refused(lambda: read(gathered.donor, gathered.agreement), Conflict)
    assert error.detail == "The steward has not stated an address yet; ask them to."
    address_set(actor=gathered.steward, **CLUB)
    address_set(actor=gathered.steward, **{**CLUB, "town": "Elsewhere"})
    refused(lambda: read(gathered.donor, gathered.agreement), AddressCooling)
    clock.set(NOON + COOLING + timedelta(hours=1))
    assert read(gathered.donor, gathered.agreement) == "S. Keeper"
    gathered.with_steward()
    error = refused(lambda: read(gathered.steward, gathered.agreement), Conflict)
    assert error.detail == "The recipient has not stated an address yet; you cannot post it on before."
    agreement_end(actor=gathered.donor, agreement=gathered.agreement)
    error = refused(lambda: read(gathered.steward, gathered.agreement), Conflict)
    assert error.detail == "The agreement is ended; its addresses are read no more."


def test_before_all_three_have_said_yes_no_address_is_read(
    donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    gathered = make_gathered(donor, recipient, make_grower("keeper"))
    gathered.ask()
    gathered.yes()
    error = refused(lambda: read(donor, gathered.agreement), Conflict)
    assert error.detail == "The steward's address can be read once all three have said yes."
    refused(lambda: read(gathered.steward, gathered.agreement), NotFound)
