"""Parcels: planned for an agreement, packed, dispatched, and whatever becomes of them."""

from collections.abc import Sequence
from datetime import datetime
from typing import TypedDict, Unpack

from django.db import transaction
from django.db.models import Q

from exchange.models import (
    Agreement,
    AgreementEvent,
    CarrierService,
    Detour,
    Gathering,
    Packet,
    Reservation,
    Shipment,
    Store,
)
from exchange.selectors.carrier_service import promised_days
from exchange.selectors.lane_seen import lanes_seen
from exchange.selectors.leg import ENDS_LOADED, ends_of, ends_on, route_of, third_of
from exchange.selectors.packing import Box
from exchange.selectors.shipment import Expected, business_days_taken, expected_days, expected_there
from exchange.services.agreement_change import agreement_send
from exchange.services.agreement_event import event_note
from exchange.services.carrier_service import carrier_service_check
from exchange.services.custody import CLOCK_MAY_BE_FAST
from exchange.services.deal import deal_lock_by_time
from exchange.services.detour_reckon import route_check
from exchange.services.detour_rule import state_set as detour_state_set
from exchange.services.incident import WhatHappened, packet_incident
from exchange.services.packet import packet_back, packet_hand_over, packet_receive
from exchange.services.packing import box_check
from exchange.services.shipment_due import overdue_set
from exchange.services.shipment_rule import parcel_call_off, parcel_state_set
from exchange.services.temperature_felt import temperature_felt
from exchange.wording.detour import days_missed
from exchange.wording.shipment import CONTENTS
from growers import clock
from growers.errors import Conflict, FieldProblem, NotFound
from growers.models import Grower
from growers.services.problem import Problems
from growers.services.row import columns_check, fields_set

Kind = AgreementEvent.Kind
State = Shipment.State
Leg = Shipment.Leg
MOST_CONTENTS = 10


class ShipmentFields(TypedDict, total=False):
    """What a donor says of a parcel."""

    packing: str
    box: Box | None
    carrier: str
    tracking_number: str
    carrier_service: CarrierService | None
    posts_on_saturday: bool
    contents: Sequence[str]


def shipment_plan(*, actor: Grower, agreement: Agreement, **fields: Unpack[ShipmentFields]) -> Shipment:
    """Plan the parcel of an agreement: all its packets that have not been sent.

    By way of a steward the donor plans one to them, and the steward one inland with what has come. Raises
    ``NotFound`` for others, ``Conflict`` unless both have said yes, without a packet, while another parcel of
    it is under way, or where the detour leaves less chance than was asked for.
    """
    now = clock.now()
    if actor.pk == agreement.donor_id:
        route_check(agreement)
    with transaction.atomic():
        deal, leg, detour = _senders(actor, agreement)
        packets = _packets_waiting(actor, deal)
        if not packets:
            raise Conflict("No packet of it waits to be sent; fill one first.")
        if Shipment.objects.filter(agreement=deal, ended_at=None).exists():
            raise Conflict("A parcel of this agreement is planned or under way.")
        offer, ends = deal.offer, ends_on(deal, leg, detour)
        shipment = Shipment(
            agreement=deal,
            leg=leg,
            detour=detour,
            packing=offer.packing,
            box=offer.box,
            carrier_service=None if leg == Leg.INLAND else offer.carrier_service,
            posts_on_saturday=leg != Leg.INLAND and offer.posts_on_saturday,
            origin_country=ends.origin.cell_country,
            destination_country=ends.destination.cell_country,
            created_at=now,
            changed_at=now,
        )
        _fields_set(shipment, fields)
        shipment.save()
        Packet.objects.filter(pk__in=[packet.pk for packet in packets]).update(shipment=shipment)
    return shipment


def shipment_change(*, actor: Grower, shipment: Shipment, **fields: Unpack[ShipmentFields]) -> Shipment:
    """Change what is said of a parcel; once it is dispatched only its tracking number and carrier."""
    with transaction.atomic():
        own = _consignors(actor, shipment)
        late = set(fields) - {"carrier", "tracking_number"}
        if own.dispatched_at is not None and late:
            raise Conflict("The parcel has been dispatched; only carrier and tracking number may change.")
        _fields_set(own, fields)
        _save(own)
    return own


def shipment_pack(*, actor: Grower, shipment: Shipment) -> Shipment:
    """Say that a parcel is packed."""
    with transaction.atomic():
        own = _consignors(actor, shipment)
        parcel_state_set(own, State.PACKED)
        _save(own)
    return own


def shipment_call_off(*, actor: Grower, shipment: Shipment) -> Shipment:
    """End a parcel that was not dispatched; its packets can go into another, the doses stay promised."""
    with transaction.atomic():
        own = _consignors(actor, shipment)
        parcel_call_off(own, clock.now())
    return own


def shipment_dispatch(*, actor: Grower, shipment: Shipment, occurred_at: datetime | None = None) -> Shipment:
    """Hand a parcel over: its packets are on their way, the doses are sent, its consignee is told.

    Packets that were handed over one by one before are on their way already. Raises ``Conflict`` as
    ``agreement_send``, so where papers are lacking or the agreement has ended meanwhile.
    """
    now = clock.now()
    at = occurred_at or now
    with transaction.atomic():
        # The deal before the parcel, as whoever takes a detour back: in the other order both would wait.
        deal_lock_by_time(shipment.agreement)
        own = _consignors(actor, shipment)
        parcel_state_set(own, State.DISPATCHED)
        _time_check(at, own.created_at, now)
        if (
            own.leg != Leg.INLAND
            and not own.agreement.reservations.filter(state=Reservation.State.USED).exists()
        ):
            agreement_send(actor=actor, agreement=own.agreement)
        for packet in own.packets.filter(store__isnull=False).order_by("pk"):
            packet_hand_over(actor=actor, packet=packet, occurred_at=at, packed=own)
        seen = lanes_seen(now.date())
        expected = expected_days(own, at, seen)
        _days_check(own, expected)
        own.dispatched_at, own.dispatched_on = at, expected.dispatched_on
        own.half_on, own.late_on = expected.half_on, expected.late_on
        own.promised_days = _promised_days(own)
        _save(own)
        overdue_set(own)
        _note(own, Kind.DISPATCHED, actor, now, **_days_told(expected, expected_there(own, at, seen)))
    return own


def shipment_hold(*, actor: Grower, shipment: Shipment) -> Shipment:
    """Note that a parcel is held on its way, at a border or a depot; either side may know."""
    return _end(shipment, actor, State.HELD, Kind.HELD_BACK)


def shipment_receive(
    *,
    actor: Grower,
    shipment: Shipment,
    store: Store,
    condition: str = Shipment.Condition.INTACT,
    occurred_at: datetime | None = None,
) -> Shipment:
    """Say that a parcel for oneself has come, in which condition, and where its packets lie now.

    A damp one makes its packets doubtful; a warm one is reckoned as warm on its way; packets that were
    received one by one before stay as they are. Its lane learns.
    """
    now = clock.now()
    at = occurred_at or now
    with transaction.atomic():
        own = _known(actor, shipment)
        if ends_of(own).taker.pk != actor.pk:
            raise Conflict("Only whom the parcel is for says that it has come.")
        _condition_check(condition)
        parcel_state_set(own, State.RECEIVED)
        _time_check(at, own.dispatched_at or own.created_at, now)
        coming = own.packets.filter(store=None).order_by("pk")
        packets = [
            packet_receive(actor=actor, packet=packet, store=store, occurred_at=at) for packet in list(coming)
        ]
        own.condition, own.ended_at = condition, at
        own.business_days = business_days_taken(own, at)
        _save(own)
        _condition_follows(own, packets, actor, at)
        _note(own, Kind.RECEIVED, actor, now, condition=condition)
        if own.leg == Leg.INLAND and own.detour is not None and own.detour.state == Detour.State.AGREED:
            detour_state_set(own.detour, Detour.State.DONE, now)
    return own


def shipment_refused(*, actor: Grower, shipment: Shipment) -> Shipment:
    """Note that a parcel was refused, at the border or at the door."""
    return _end(shipment, actor, State.REFUSED, Kind.REFUSED)


def shipment_lost(*, actor: Grower, shipment: Shipment) -> Shipment:
    """Take a parcel for lost; its lane learns, and if it comes after all it can still be received."""
    return _end(shipment, actor, State.LOST, Kind.LOST)


def shipment_returned(*, actor: Grower, shipment: Shipment) -> Shipment:
    """Note that a parcel has come back: its packets lie in their lot's store again, and can be sent anew."""
    return _end(shipment, actor, State.RETURNED, Kind.RETURNED)


def _end(shipment: Shipment, actor: Grower, state: Shipment.State, kind: AgreementEvent.Kind) -> Shipment:
    now = clock.now()
    with transaction.atomic():
        own = _known(actor, shipment)
        if actor.pk not in (ends_of(own).sender.pk, ends_of(own).taker.pk):
            raise Conflict("Only who sends the parcel or gets it can do this.")
        parcel_state_set(own, state)
        own.ended_at = None if state == State.HELD else now
        _save(own)
        if state == State.RETURNED:
            for packet in own.packets.order_by("pk"):
                packet_back(actor=ends_of(own).sender, packet=packet, now=now)
        _note(own, kind, actor, now)
    return own


def _known(actor: Grower, shipment: Shipment) -> Shipment:
    """The locked row for one of its growers; to others there is none."""
    rows = Shipment.objects.select_for_update(of=("self",)).select_related(*ENDS_LOADED)
    own = rows.filter(pk=shipment.pk).first()
    if own is None or actor not in (own.agreement.donor, own.agreement.recipient, third_of(own)):
        raise NotFound("There is no such parcel.")
    return own


def _consignors(actor: Grower, shipment: Shipment) -> Shipment:
    own = _known(actor, shipment)
    if ends_of(own).sender.pk != actor.pk:
        raise Conflict(f"Only the {'steward' if own.leg == Leg.INLAND else 'donor'} can do this.")
    return own


def _senders(actor: Grower, agreement: Agreement) -> tuple[Agreement, Shipment.Leg, Detour | None]:
    """The locked agreement of its donor, or of the steward by whom it goes, and the leg that they send."""
    related = ("offer__plant__site", "wanted_cross__seed_parent__site", "donor", "recipient")
    rows = Agreement.objects.select_for_update(of=("self",)).select_related(*related)
    own = rows.filter(pk=agreement.pk).first()
    detour = None if own is None else route_of(own)
    steward = None if detour is None else detour.gathering.steward_id
    if own is None or actor.pk not in (own.donor_id, own.recipient_id, steward):
        raise NotFound("There is no such agreement.")
    if actor.pk not in (own.donor_id, steward):
        raise Conflict("Only the donor can do this.")
    _agreed_only(own)
    called_off = detour is not None and detour.gathering.state == Gathering.State.CALLED_OFF
    if called_off and actor.pk == own.donor_id:
        raise Conflict("The gathering is called off; nothing more is sent by way of it.")
    leg = Leg.DIRECT if detour is None else Leg.INLAND if actor.pk == steward else Leg.TO_STEWARD
    return own, leg, detour


def _packets_waiting(actor: Grower, agreement: Agreement) -> list[Packet]:
    """Packets that lie with who would send them; with a steward those that came in a parcel."""
    waits = Q(shipment=None) | Q(shipment__state=State.RETURNED)
    waits |= Q(shipment__leg=Leg.TO_STEWARD, shipment__state=State.RECEIVED)
    return list(Packet.objects.filter(waits, agreement=agreement, holder=actor, store__isnull=False))


def _agreed_only(own: Agreement) -> None:
    if own.state != Agreement.State.AGREED:
        raise Conflict(f"The agreement is {own.state}; a parcel is planned once both have said yes.")


def _days_check(shipment: Shipment, expected: Expected) -> None:
    """A parcel to a steward comes in their days: the permit they hold may cover no others."""
    if shipment.leg != Leg.TO_STEWARD or shipment.detour is None:
        return
    first, last = shipment.detour.gathering.reach_from, shipment.detour.gathering.reach_until
    if not first <= expected.half_on <= last:
        detail = days_missed(expected.half_on, first, last)
        raise Conflict(detail, problems=(FieldProblem("", "days_missed", detail),))


def _days_told(leg: Expected, there: Expected) -> dict[str, str]:
    """Both growers are told when it comes to the recipient, the steward when it comes to them."""
    days = {"half_on": there.half_on.isoformat(), "late_on": there.late_on.isoformat()}
    if leg == there:
        return days
    return {**days, "leg_half_on": leg.half_on.isoformat(), "leg_late_on": leg.late_on.isoformat()}


def _note(
    shipment: Shipment, kind: AgreementEvent.Kind, actor: Grower, now: datetime, **parameters: str
) -> None:
    leg = {} if shipment.leg == Leg.DIRECT else {"leg": str(shipment.leg)}
    third = third_of(shipment)
    event_note(shipment.agreement, kind, actor=actor, now=now, third=third, **parameters, **leg)


def _fields_set(shipment: Shipment, fields: ShipmentFields) -> None:
    problems = Problems()
    fields_set(shipment, fields, ShipmentFields.__annotations__)
    shipment.contents = list(shipment.contents)
    columns_check(shipment, problems, ranges={}, names=ShipmentFields.__annotations__)
    unknown = [word for word in shipment.contents if word not in CONTENTS]
    if unknown or len(shipment.contents) > MOST_CONTENTS:
        problems.add("contents", unknown or shipment.contents, ", ".join(CONTENTS))
    box_check(shipment, problems, stated="box" in fields)
    ends = ends_of(shipment)
    carrier_service_check(shipment.carrier_service, ends.sender, ends.origin, problems)
    problems.refuse_if_any()


def _promised_days(shipment: Shipment) -> int | None:
    abroad = shipment.origin_country != shipment.destination_country
    service = shipment.carrier_service
    return None if service is None else round(promised_days(service, abroad=abroad))


def _time_check(at: datetime, first: datetime, now: datetime) -> None:
    problems = Problems()
    if at > now + CLOCK_MAY_BE_FAST:
        problems.add("occurred_at", at.isoformat(), f"up to now, {now.isoformat(timespec='minutes')}")
    elif at < first:
        problems.add("occurred_at", at.isoformat(), f"since {first.isoformat(timespec='minutes')}")
    problems.refuse_if_any()


def _condition_check(condition: str) -> None:
    problems = Problems()
    if condition not in Shipment.Condition.values:
        problems.add("condition", condition, ", ".join(Shipment.Condition.values))
    problems.refuse_if_any()


def _condition_follows(shipment: Shipment, packets: Sequence[Packet], actor: Grower, at: datetime) -> None:
    took_time = shipment.dispatched_at is not None and shipment.dispatched_at < at
    for packet in packets:
        if shipment.condition == Shipment.Condition.DAMP:
            packet_incident(actor=actor, packet=packet, happened=WhatHappened("got_damp", began_at=at))
        if shipment.condition == Shipment.Condition.WARM and took_time:
            temperature_felt(actor=actor, lot=packet.lot, packet=packet, felt="warm")


def _save(shipment: Shipment) -> None:
    shipment.changed_at = clock.now()
    shipment.save()
