"""What becomes of a parcel that was sent: held, refused, lost, returned, received in some condition."""

from datetime import timedelta
from typing import Any

import pytest

from exchange.models import (
    AgreementEvent,
    LotOutlook,
    Notification,
    Shipment,
    TemperatureUpload,
)
from exchange.services.agreement_change import agreement_end
from exchange.services.packet import packet_receive
from exchange.services.shipment import (
    shipment_hold,
    shipment_lost,
    shipment_receive,
    shipment_refused,
    shipment_returned,
)
from exchange.services.store import store_of_kind
from exchange.wording.agreement import own_event_sentence
from growers import clock as project_clock
from growers.errors import Conflict, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.bargain import agree, assert_sums_hold
from tests.exchange.parcel import Sending, forget, make_sending, told
from tests.exchange.refusal import problems, refused
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db

State = Shipment.State


@pytest.fixture
def sending(donor: Grower, recipient: Grower, clock: MovableClock) -> Sending:
    clock.set(NOON)
    return make_sending(donor, recipient)


# --- held, refused, lost, returned ---

ENDS: dict[str, tuple[Any, str, str]] = {
    "held": (
        shipment_hold,
        "The parcel with 'Ferry' is held on its way.",
        "You noted that the parcel with 'Ferry' is held.",
    ),
    "refused": (
        shipment_refused,
        "The parcel with 'Ferry' was refused at the border or at the door.",
        "You noted that the parcel with 'Ferry' was refused.",
    ),
    "lost": (
        shipment_lost,
        "The parcel with 'Ferry' is taken for lost. That happens; it is nobody's fault.",
        "You took the parcel with 'Ferry' for lost.",
    ),
    "returned": (
        shipment_returned,
        "The parcel with 'Ferry' has come back.",
        "You noted that the parcel with 'Ferry' has come back.",
    ),
}


@pytest.mark.parametrize("state", ENDS)
@pytest.mark.parametrize("side", ["donor", "recipient"])
def test_either_side_may_know_what_became_of_it_and_the_other_is_told(
    sending: Sending, state: str, side: str
) -> None:
    act, sentence, own = ENDS[state]
    shipment = sending.dispatch()
    forget()
    actor, other = sending.donor, sending.recipient
    if side == "recipient":
        actor, other = other, actor
    act(actor=actor, shipment=shipment)
    shipment.refresh_from_db()
    assert (shipment.state, shipment.ended_at is None) == (state, state == "held")
    assert (told(other), told(actor)) == ([sentence], [])
    assert own_event_sentence(AgreementEvent.objects.latest("pk"), actor) == own


def test_what_was_lost_may_come_after_all(sending: Sending, clock: MovableClock) -> None:
    shipment = sending.dispatch()
    clock.move(days=40)
    shipment_lost(actor=sending.recipient, shipment=shipment)
    clock.move(days=2)
    come = sending.receive(shipment)
    assert (come.state, come.business_days, come.condition) == ("received", 15, "intact")
    sending.packet.refresh_from_db()
    assert (sending.packet.store, sending.packet.holder) == (sending.home, sending.recipient)


def test_after_a_lost_parcel_another_may_be_sent(sending: Sending) -> None:
    shipment_lost(actor=sending.donor, shipment=sending.dispatch())
    sending.fill()
    assert sending.dispatch().state == "dispatched"
    assert sorted(Shipment.objects.values_list("state", flat=True)) == ["dispatched", "lost"]


def test_what_came_back_lies_in_its_store_and_can_be_sent_anew(sending: Sending, clock: MovableClock) -> None:
    first = sending.dispatch()
    clock.move(days=9)
    shipment_returned(actor=sending.recipient, shipment=first)
    sending.packet.refresh_from_db()
    assert (sending.packet.store, sending.packet.holder) == (sending.lot.store, sending.donor)
    sources = [stay.packing or "store" for stay in sending.packet.stays.order_by("since", "pk")]
    assert sources == ["store", "cold_box", "store"]
    again = sending.dispatch()
    sending.packet.refresh_from_db()
    assert (again.state, sending.packet.shipment, first.pk != again.pk) == ("dispatched", again, True)
    assert_sums_hold()


# --- received ---


def come(sending: Sending, clock: MovableClock, condition: str) -> Shipment:
    """A parcel that came on Wednesday six days later; only what is told then counts."""
    shipment = sending.dispatch()
    forget()
    clock.move(days=6)
    sending.receive(shipment, condition=condition)
    shipment.refresh_from_db()
    return shipment


@pytest.mark.parametrize(
    ("condition", "words"),
    [
        ("intact", "all in good order"),
        ("damp", "it was damp"),
        ("crushed", "it was crushed"),
        ("warm", "it was warm"),
        ("label", "a label was wrong or missing"),
    ],
)
def test_a_parcel_comes_in_a_condition_and_its_donor_is_told(
    sending: Sending, clock: MovableClock, condition: str, words: str
) -> None:
    shipment = come(sending, clock, condition)
    # Second business day, Monday 5 July, and two days of customs.
    assert (shipment.state, shipment.business_days, shipment.condition) == ("received", 2, condition)
    assert shipment.ended_at is not None
    assert shipment.ended_at - project_clock.now() < timedelta(seconds=5)
    assert told(sending.donor) == [f"recipient has received 'Ferry': {words}."]
    assert told(sending.recipient) == []
    sending.packet.refresh_from_db()
    assert (sending.packet.store, sending.packet.holder) == (sending.home, sending.recipient)
    doubts = LotOutlook.objects.get(packet=sending.packet).doubts
    assert doubts == (["wetted"] if condition == "damp" else [])
    felt = list(TemperatureUpload.objects.values_list("felt", "packet"))
    assert felt == ([("warm", sending.packet.pk)] if condition == "warm" else [])


def test_a_damp_parcel_says_nothing_of_the_lot_at_home_and_nothing_to_others(
    sending: Sending, outsider: Grower, clock: MovableClock
) -> None:
    agree(sending.bargain.wanted_by(outsider), doses=1)
    come(sending, clock, "damp")
    assert LotOutlook.objects.get(lot=sending.lot, packet=None).doubts == []
    assert told(outsider, Notification.Kind.LOT) == []
    assert len(told(sending.donor, Notification.Kind.LOT)) == 2  # received, and that it got damp


def test_warm_is_reckoned_from_dispatch_to_arrival(sending: Sending, clock: MovableClock) -> None:
    shipment = come(sending, clock, "warm")
    upload = TemperatureUpload.objects.get()
    assert (upload.began_at, upload.ended_at) == (shipment.dispatched_at, shipment.ended_at)


def test_a_parcel_that_took_no_time_was_not_warm_on_its_way(sending: Sending) -> None:
    shipment = sending.dispatch()
    come = sending.receive(shipment, condition="warm", occurred_at=shipment.dispatched_at)
    assert (come.state, come.condition) == ("received", "warm")
    assert not TemperatureUpload.objects.exists()


def test_only_whom_it_is_for_receives_it_into_a_store_of_their_own(
    sending: Sending, outsider: Grower
) -> None:
    shipment = sending.dispatch()
    home = store_of_kind(sending.donor, "refrigerator")
    error = refused(lambda: shipment_receive(actor=sending.donor, shipment=shipment, store=home), Conflict)
    assert error.detail == "Only whom the parcel is for says that it has come."
    theirs = store_of_kind(outsider, "refrigerator")
    refused(lambda: shipment_receive(actor=sending.recipient, shipment=shipment, store=theirs), NotFound)


def test_a_condition_is_one_of_five(sending: Sending) -> None:
    shipment = sending.dispatch()
    found = problems(lambda: sending.receive(shipment, condition="burnt"))
    assert found == {"/condition": "condition is 'burnt'; allowed: intact, damp, crushed, warm, label."}


def test_a_parcel_comes_after_it_went_and_not_ahead(sending: Sending, clock: MovableClock) -> None:
    shipment = sending.dispatch()
    clock.move(days=1)
    for at in (NOON - timedelta(hours=1), project_clock.now() + timedelta(minutes=11)):
        found = problems(lambda at=at: sending.receive(shipment, occurred_at=at))  # type: ignore[misc]
        assert list(found) == ["/occurred_at"]


def test_a_packet_received_by_itself_stays_where_it_is(sending: Sending, clock: MovableClock) -> None:
    second = sending.fill()
    shipment = sending.dispatch()
    chest = store_of_kind(sending.recipient, "chest_freezer")
    clock.move(days=6)
    packet_receive(actor=sending.recipient, packet=sending.packet, store=chest)
    assert sending.receive(shipment).state == "received"
    for packet, store in ((sending.packet, chest), (second, sending.home)):
        packet.refresh_from_db()
        assert packet.store == store


def test_what_comes_after_the_agreement_was_closed_is_received_all_the_same(sending: Sending) -> None:
    shipment = sending.dispatch()
    agreement_end(actor=sending.recipient, agreement=sending.agreement)
    assert sending.receive(shipment).state == "received"
