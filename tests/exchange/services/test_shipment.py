"""Parcels: planned, packed, called off, dispatched; which state follows which."""

from collections.abc import Callable
from datetime import timedelta
from functools import partial
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from exchange.models import (
    Notification,
    Shipment,
    Stay,
    Supply,
)
from exchange.services.agreement_change import agreement_send, agreement_withdraw
from exchange.services.packet import packet_hand_over
from exchange.services.shipment import (
    ShipmentFields,
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
from exchange.services.shipment_rule import ALLOWED
from exchange.services.store import store_of_kind
from growers import clock as project_clock
from growers.errors import Conflict, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.bargain import accept, assert_sums_hold, propose, state_papers
from tests.exchange.parcel import Sending, forget, make_sending, told
from tests.exchange.refusal import problems, refused, rows
from tests.exchange.society import NOON
from tests.growers.services.test_race import at_once

pytestmark = pytest.mark.django_db

State = Shipment.State


@pytest.fixture
def sending(donor: Grower, recipient: Grower, clock: MovableClock) -> Sending:
    clock.set(NOON)
    return make_sending(donor, recipient)


# --- states ---

ACTS: dict[str, Callable[[Sending, Shipment], Shipment]] = {
    State.PACKED: lambda s, row: shipment_pack(actor=s.donor, shipment=row),
    State.DISPATCHED: lambda s, row: s.dispatch(row),
    State.HELD: lambda s, row: shipment_hold(actor=s.donor, shipment=row),
    State.RECEIVED: lambda s, row: s.receive(row),
    State.REFUSED: lambda s, row: shipment_refused(actor=s.recipient, shipment=row),
    State.LOST: lambda s, row: shipment_lost(actor=s.recipient, shipment=row),
    State.RETURNED: lambda s, row: shipment_returned(actor=s.donor, shipment=row),
    State.CALLED_OFF: lambda s, row: shipment_call_off(actor=s.donor, shipment=row),
}
PATHS: dict[str, tuple[str, ...]] = {
    State.PLANNED: (),
    State.PACKED: (State.PACKED,),
    State.CALLED_OFF: (State.CALLED_OFF,),
    State.DISPATCHED: (State.DISPATCHED,),
    **{end: (State.DISPATCHED, end) for end in (*ALLOWED[State.HELD], State.HELD)},
}


def at_state(sending: Sending, state: str) -> Shipment:
    shipment = sending.plan()
    for step in PATHS[state]:
        shipment = ACTS[step](sending, shipment)
    assert shipment.state == state
    return shipment


def test_every_state_has_a_way_to_it_and_an_act() -> None:
    assert PATHS.keys() == ALLOWED.keys() == set(State)
    assert ACTS.keys() == set(State) - {State.PLANNED}


@pytest.mark.parametrize("state", ALLOWED)
def test_a_state_follows_as_the_table_says(sending: Sending, state: str) -> None:
    key = at_state(sending, state).pk
    possible = ", ".join(sorted(ALLOWED[state])) or "nothing: it is over"
    for wanted in ACTS:
        shipment = Shipment.objects.get(pk=key)
        if wanted not in ALLOWED[state]:
            error = refused(partial(ACTS[wanted], sending, shipment), Conflict)
            assert error.detail == f"The parcel is {state} and cannot become {wanted}; allowed: {possible}."
            continue
        before = transaction.savepoint()
        assert ACTS[wanted](sending, shipment).state == wanted
        assert Shipment.objects.get().state == wanted
        transaction.savepoint_rollback(before)


# --- planned, changed, packed, called off ---


def test_a_parcel_takes_all_packets_that_wait_and_what_the_offer_says(sending: Sending) -> None:
    second = sending.fill()
    shipment = sending.plan(carrier=" the post ", contents=("silica_gel", "ice_pack"))
    shipment.refresh_from_db()
    assert list(shipment.packets.order_by("pk")) == [sending.packet, second]
    assert (shipment.state, shipment.packing, shipment.posts_on_saturday) == ("planned", "cold_box", False)
    assert (shipment.origin_country, shipment.destination_country) == ("FR", "DE")
    assert (shipment.carrier, shipment.contents) == ("the post", ["silica_gel", "ice_pack"])
    assert (shipment.dispatched_at, shipment.half_on, shipment.ended_at) == (None, None, None)
    assert told(sending.recipient)[-1].startswith("donor has collected")  # a plan is told to nobody


def test_a_parcel_needs_a_packet_that_lies_at_the_donors(sending: Sending) -> None:
    packet_hand_over(actor=sending.donor, packet=sending.packet)
    error = refused(sending.plan, Conflict)
    assert error.detail == "No packet of it waits to be sent; fill one first."


def test_one_parcel_of_an_agreement_is_under_way_at_a_time(sending: Sending) -> None:
    first = sending.plan()
    sending.fill()
    error = refused(sending.plan, Conflict)
    assert error.detail == "A parcel of this agreement is planned or under way."
    sending.dispatch(first)
    refused(sending.plan, Conflict)
    sending.receive(first)
    assert sending.plan().state == "planned"


def test_called_off_its_packets_go_into_another_and_the_doses_stay_promised(sending: Sending) -> None:
    first = sending.plan()
    before = list(Supply.objects.values())
    error = refused(lambda: shipment_call_off(actor=sending.recipient, shipment=first), Conflict)
    assert error.detail == "Only the donor can do this."
    forget()
    shipment_call_off(actor=sending.donor, shipment=first)
    first.refresh_from_db()
    assert (first.state, first.dispatched_at, first.ended_at is None) == ("called_off", None, False)
    assert list(Supply.objects.values()) == before
    assert told(sending.recipient) == []  # they were not told of the plan either
    second = sending.plan()
    assert list(second.packets.all()) == [sending.packet]
    assert sending.dispatch(second).state == "dispatched"


def test_only_the_donor_of_what_both_agreed_plans_it(sending: Sending, outsider: Grower) -> None:
    deal = sending.agreement
    error = refused(lambda: shipment_plan(actor=sending.recipient, agreement=deal), Conflict)
    assert error.detail == "Only the donor can do this."
    error = refused(lambda: shipment_plan(actor=outsider, agreement=deal), NotFound)
    assert error.detail == "There is no such agreement."
    proposed = propose(sending.bargain.wanted_by(outsider), doses=1)
    error = refused(lambda: shipment_plan(actor=sending.donor, agreement=proposed), Conflict)
    assert error.detail == "The agreement is proposed; a parcel is planned once both have said yes."
    accept(proposed)
    error = refused(lambda: shipment_plan(actor=sending.donor, agreement=proposed), Conflict)
    assert error.detail == "No packet of it waits to be sent; fill one first."


@pytest.mark.parametrize(
    ("field", "value", "shown", "allowed"),
    [
        ("packing", "crate", "'crate'", "cold_box, envelope, own_box"),
        ("carrier", "a" * 61, f"'{'a' * 59}… (63 characters)", "at most 60 characters"),
        ("tracking_number", "RR\x07", "'RR\\x07'", "text without control or invisible characters"),
        ("posts_on_saturday", 1, "1", "true or false"),
    ],
)
def test_what_does_not_fit_is_refused(
    sending: Sending, field: str, value: Any, shown: str, allowed: str
) -> None:
    shipment = sending.plan()
    found = problems(lambda: shipment_change(actor=sending.donor, shipment=shipment, **{field: value}))
    assert found == {f"/{field}": f"{field} is {shown}; allowed: {allowed}."}


def test_unknown_contents_are_refused(sending: Sending) -> None:
    found = problems(lambda: sending.plan(contents=["silica_gel", "blades"]))
    listed = "ice_pack, silica_gel, logger_battery, dry_ice, alcohol, liquid_nitrogen"
    assert found == {"/contents": f"contents is ['blades']; allowed: {listed}."}
    found = problems(lambda: sending.plan(contents=["ice_pack"] * 11))
    assert list(found) == ["/contents"]


def test_a_parcel_changes_freely_until_it_is_posted(sending: Sending, outsider: Grower) -> None:
    shipment = sending.plan()
    shipment_change(actor=sending.donor, shipment=shipment, packing="envelope", posts_on_saturday=True)
    shipment.refresh_from_db()
    assert (shipment.packing, shipment.posts_on_saturday) == ("envelope", True)
    sending.dispatch(shipment)
    late: ShipmentFields = {"carrier": "the post", "tracking_number": "RR 1"}
    shipment_change(actor=sending.donor, shipment=shipment, **late)
    shipment.refresh_from_db()
    assert (shipment.carrier, shipment.tracking_number) == ("the post", "RR 1")
    error = refused(
        lambda: shipment_change(actor=sending.donor, shipment=shipment, packing="cold_box"), Conflict
    )
    assert error.detail == "The parcel has been dispatched; only carrier and tracking number may change."
    refused(lambda: shipment_change(actor=sending.recipient, shipment=shipment, **late), Conflict)
    refused(lambda: shipment_change(actor=outsider, shipment=shipment, **late), NotFound)


def test_others_have_no_part_in_a_parcel(sending: Sending, outsider: Grower) -> None:
    shipment = sending.plan()
    acts = (
        shipment_change,
        shipment_pack,
        shipment_dispatch,
        shipment_hold,
        shipment_refused,
        shipment_lost,
        shipment_returned,
    )
    for act in acts:
        error = refused(lambda act=act: act(actor=outsider, shipment=shipment), NotFound)  # type: ignore[misc]
        assert error.detail == "There is no such parcel."
    for act in acts[:3]:
        error = refused(lambda act=act: act(actor=sending.recipient, shipment=shipment), Conflict)  # type: ignore[misc]
        assert error.detail == "Only the donor can do this."
    theirs = store_of_kind(outsider, "refrigerator")
    refused(lambda: shipment_receive(actor=outsider, shipment=shipment, store=theirs), NotFound)


# --- dispatched ---


def test_dispatching_sends_packets_and_doses_and_tells_the_consignee_once(
    sending: Sending, clock: MovableClock
) -> None:
    shipment = sending.plan(packing="envelope")
    forget()
    clock.move(minutes=9)
    sending.dispatch(shipment)
    shipment.refresh_from_db()
    # From Thursday 1 July: five business days end on Thursday 8, with two of customs on Monday 12; seven
    # end on Monday 12, so on Wednesday 14.
    days = shipment.dispatched_on, shipment.half_on, shipment.late_on
    assert [str(day) for day in days] == ["2027-07-01", "2027-07-12", "2027-07-14"]
    sending.packet.refresh_from_db()
    assert (sending.packet.store, sending.packet.holder) == (None, sending.donor)
    assert Stay.objects.get(packet=sending.packet, until=None).packing == "envelope"
    assert told(sending.recipient) == [
        "donor has handed over 2 doses of 'Ferry'.",
        "donor has posted 'Ferry'. Half of such parcels come by 2027-07-12, nine in ten by 2027-07-14, if"
        " they come.",
    ]
    assert len(told(sending.recipient, Notification.Kind.LOT)) == 1
    assert told(sending.donor) == told(sending.donor, Notification.Kind.LOT) == []


def test_doses_are_sent_once_however_many_parcels_there_are(sending: Sending) -> None:
    sending.receive(sending.dispatch())
    assert_sums_hold()
    assert Supply.objects.get(lot=sending.lot).sent == 2
    sending.fill()
    sending.dispatch()
    assert_sums_hold()
    assert Supply.objects.get(lot=sending.lot).sent == 2
    kinds = sending.agreement.events.values_list("kind", flat=True)
    assert [list(kinds).count(kind) for kind in ("sent", "dispatched", "received")] == [1, 2, 1]


def test_doses_noted_as_sent_before_are_not_sent_again(sending: Sending) -> None:
    agreement_send(actor=sending.donor, agreement=sending.agreement)
    assert sending.dispatch().state == "dispatched"
    assert Supply.objects.get(lot=sending.lot).sent == 2
    assert_sums_hold()


def test_without_papers_a_parcel_stays_planned(donor: Grower, recipient: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    sending = make_sending(donor, recipient, papers=False)
    shipment = sending.plan()
    error = refused(lambda: sending.dispatch(shipment), Conflict)
    codes = [problem.code for problem in error.problems]
    assert codes == ["donor_statement_missing", "recipient_statement_missing"]
    assert Shipment.objects.get().state == "planned"
    state_papers(sending.agreement)
    assert sending.dispatch(shipment).state == "dispatched"


def test_nothing_is_sent_once_the_agreement_has_ended(sending: Sending) -> None:
    shipment = sending.plan()
    agreement_withdraw(actor=sending.recipient, agreement=sending.agreement)
    error = refused(lambda: sending.dispatch(shipment), Conflict)
    assert error.detail == "The agreement is ended; doses are reserved once both have said yes."


@pytest.mark.parametrize("hours", [-1, 1])
def test_a_parcel_is_posted_after_it_was_planned_and_not_ahead(sending: Sending, hours: int) -> None:
    shipment = sending.plan()
    at = project_clock.now() + timedelta(hours=hours)
    found = problems(lambda: sending.dispatch(shipment, at))
    bound = "up to now, 2027-07-01T12:00+00:00" if hours > 0 else "since 2027-07-01T12:00+00:00"
    assert found == {"/occurred_at": f"occurred_at is {at.isoformat()!r}; allowed: {bound}."}


def test_what_was_posted_yesterday_may_be_told_today(sending: Sending, clock: MovableClock) -> None:
    shipment = sending.plan()
    at = project_clock.now() + timedelta(hours=2)
    clock.move(days=1)
    sending.dispatch(shipment, at)
    shipment.refresh_from_db()
    assert (shipment.dispatched_at, str(shipment.dispatched_on)) == (at, "2027-07-01")
    assert Stay.objects.get(packet=sending.packet, until=None).since == at


def test_a_packet_handed_over_by_itself_is_on_its_way_already(sending: Sending) -> None:
    sending.fill()
    shipment = sending.plan()
    packet_hand_over(actor=sending.donor, packet=sending.packet)
    assert sending.dispatch(shipment).state == "dispatched"
    assert not shipment.packets.filter(store__isnull=False).exists()


# --- two at once ---


def test_the_database_holds_one_parcel_under_way(sending: Sending) -> None:
    first = sending.plan()
    before = rows()
    with pytest.raises(IntegrityError), transaction.atomic():
        Shipment.objects.create(
            agreement=sending.agreement,
            packing=first.packing,
            origin_country="FR",
            destination_country="DE",
        )
    assert rows() == before


@pytest.mark.django_db(transaction=True)
def test_of_two_at_once_one_plans_and_one_dispatches(
    donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    sending = make_sending(donor, recipient)
    made = at_once(sending.plan, sending.plan)
    assert sorted(type(each).__name__ for each in made) == ["Conflict", "NoneType"]
    shipment = Shipment.objects.get()
    made = at_once(lambda: sending.dispatch(shipment), lambda: sending.dispatch(shipment))
    assert sorted(type(each).__name__ for each in made) == ["Conflict", "NoneType"]
    assert_sums_hold()
    assert sending.agreement.events.filter(kind="dispatched").count() == 1
