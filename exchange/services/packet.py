"""Packets: doses of a lot in a container of their own, handed over and received."""

from datetime import datetime
from typing import cast

from django.db import transaction
from django.db.models import Max, Sum

from exchange.models import Agreement, CustodyEvent, Detour, Lot, Offer, Packet, Shipment, Stay, Store
from exchange.selectors.lane import ambient_between
from exchange.selectors.leg import Ends, ends_on, leg_from
from exchange.services.custody import note_check, occurred_check
from exchange.services.lot_acting import Deed, deed_on
from exchange.services.lot_tell import concerned, custody_tell
from exchange.services.outlook import outlook_renew, outlooks_renew_later
from exchange.services.store import own_store
from growers import clock
from growers.errors import Conflict, NotFound
from growers.models import Grower
from growers.services.problem import Problems

Kind = CustodyEvent.Kind
Packed = Offer | Shipment


def packet_fill(
    *, actor: Grower, lot: Lot, doses: int, agreement: Agreement | None = None, note: str = ""
) -> Packet:
    """Put doses of one's own lot into a packet, for an agreement or for nobody yet; it stays in the store.

    Raises ``InvalidInput`` for more doses than are in no packet, ``NotFound`` for an agreement of others.
    """
    with deed_on(lot, actor=actor, note=note) as deed:
        if deed.lot.state == Lot.State.IN_FLUID:
            raise Conflict("Pollen in fluid lives for hours; it cannot be posted.")
        _doses_check(deed, doses)
        _agreement_check(deed, agreement)
        packet = Packet.objects.create(
            lot=deed.lot,
            number=(deed.lot.packets.aggregate(most=Max("number"))["most"] or 0) + 1,
            doses=doses,
            agreement=agreement,
            holder=actor,
            store=deed.lot.store,
            filled_at=deed.at,
        )
        Stay.objects.create(lot=deed.lot, packet=packet, store=deed.lot.store, since=deed.at)
        deed.noted(Kind.PACKET_FILLED, packet=packet, doses=doses, number=packet.number)
    return packet


def packet_hand_over(
    *,
    actor: Grower,
    packet: Packet,
    occurred_at: datetime | None = None,
    note: str = "",
    packed: Packed | None = None,
) -> Packet:
    """Give a packet on its way to whom it was filled for; its temperature is reckoned by the parcel model.

    It is packed as its parcel, or else as its offer says. By way of a steward it goes in a parcel that is
    planned: who gets it must be told.
    """
    _holder_only(actor, packet)
    if packet.shipment_id is None and _ends(packet)[1] is not None:
        raise Conflict("This packet goes by way of a steward; plan a parcel for it.")
    if packet.lot.plant.grower_id != actor.pk:
        return _post_on(actor, packet, occurred_at, note, packed)
    with deed_on(packet.lot, actor=actor, occurred_at=occurred_at, note=note) as deed:
        return _leave(deed, packet, packed)


def _post_on(
    actor: Grower, packet: Packet, occurred_at: datetime | None, note: str, packed: Packed | None
) -> Packet:
    """A steward gives a packet that lay with them on its way inland."""
    ends, detour = _ends(packet)
    if detour is None or ends is None or ends.sender.pk != actor.pk:
        raise NotFound("There is no such lot.")
    now = clock.now()
    with transaction.atomic():
        lot = Lot.objects.select_related("plant__site", "plant__grower", "offer").get(pk=packet.lot_id)
        deed = Deed(lot, actor, now, occurred_at or now, note, Problems())
        occurred_check(lot, deed.at, now, deed.problems)
        note_check(note, deed.problems)
        deed.problems.refuse_if_any()
        own = _leave(deed, packet, packed)
        outlooks_renew_later([lot], now)
    outlook_renew(lot)
    return own


def _leave(deed: Deed, packet: Packet, packed: Packed | None) -> Packet:
    own = Packet.objects.select_for_update(of=("self",)).select_related("agreement").get(pk=packet.pk)
    if own.store_id is None:
        raise Conflict("The packet is on its way already.")
    _stay_end(own, deed.at, deed.problems)
    said = packed or deed.lot.offer or Offer()
    Stay.objects.create(
        lot=deed.lot,
        packet=own,
        packing=said.packing,
        box=said.box,
        ambient_c=_ambient_c(deed, own),
        since=deed.at,
    )
    own.store = None
    own.save(update_fields=["store"])
    event = deed.noted(Kind.HANDED_OVER, packet=own, packing=said.packing, number=own.number)
    custody_tell(event, [each for each in concerned(deed.lot) if _gets(each, own)])
    return own


def packet_receive(
    *,
    actor: Grower,
    packet: Packet,
    store: Store,
    occurred_at: datetime | None = None,
    note: str = "",
) -> Packet:
    """Say that a packet for oneself has come, and where it lies now; its donor is told."""
    now = clock.now()
    at = occurred_at or now
    with transaction.atomic():
        rows = Packet.objects.select_for_update(of=("self",)).select_related(
            "agreement__recipient", "lot__plant__site", "lot__plant__grower"
        )
        own = rows.get(pk=packet.pk)
        _recipient_only(actor, own)
        if own.store_id is not None:
            raise Conflict("The packet is not on its way.")
        problems = Problems()
        occurred_check(own.lot, at, now, problems)
        note_check(note, problems)
        _stay_end(own, at, problems)
        own.store, own.holder = own_store(actor, store), actor
        own.save(update_fields=["store", "holder"])
        Stay.objects.create(lot=own.lot, packet=own, store=own.store, since=at)
        deed = Deed(own.lot, actor, now, at, note, problems)
        event = deed.noted(Kind.RECEIVED, packet=own, store=own.store.kind, number=own.number)
        custody_tell(event, [own.lot.plant.grower])
        outlooks_renew_later([own.lot], now)
    outlook_renew(own.lot)
    return own


def packet_back(*, actor: Grower, packet: Packet, now: datetime) -> None:
    """A packet has come back to who sent it, in a transaction: it lies with its lot, or where it lay."""
    own = Packet.objects.select_for_update(of=("self",)).select_related("lot__store").get(pk=packet.pk)
    if own.store_id is None and own.holder_id == actor.pk:
        stay = Stay.objects.get(packet=own, until=None)
        stay.until = max(now, stay.since)
        stay.save(update_fields=["until"])
        own.store = _store_before(own, actor)
        own.save(update_fields=["store"])
        Stay.objects.create(lot=own.lot, packet=own, store=own.store, since=stay.until)
        outlooks_renew_later([own.lot], now)


def _store_before(packet: Packet, sender: Grower) -> Store:
    """Where its lot lies if that is the sender's, else the store out of which they posted it on."""
    if packet.lot.store.grower_id == sender.pk:
        return packet.lot.store
    stays = Stay.objects.filter(packet=packet, store__grower=sender).select_related("store")
    return cast(Store, stays.latest("since", "pk").store)


def _holder_only(actor: Grower, packet: Packet) -> None:
    if packet.holder_id != actor.pk:
        _others_are_strangers(actor, packet)
        raise Conflict("Only who holds the packet gives it on its way.")


def _recipient_only(actor: Grower, packet: Packet) -> None:
    if not _gets(actor, packet):
        if packet.agreement is not None and packet.agreement.recipient_id == actor.pk:
            raise Conflict("It goes to the steward first, who says that it has come.")
        _others_are_strangers(actor, packet)
        raise Conflict("Only whom the packet was filled for says that it has come.")


def _others_are_strangers(actor: Grower, packet: Packet) -> None:
    if actor not in concerned(packet.lot):
        raise NotFound("There is no such packet.")


def _doses_check(deed: Deed, doses: int) -> None:
    filled = deed.lot.packets.aggregate(sum=Sum("doses"))["sum"] or 0
    free = deed.lot.doses - filled
    if not 1 <= doses <= free:
        allowed = f"whole numbers from 1 to {free}" if free else "none; all doses are in packets"
        deed.problems.add("doses", doses, allowed)
    deed.problems.refuse_if_any()


def _agreement_check(deed: Deed, agreement: Agreement | None) -> None:
    if agreement is None:
        return
    if agreement.donor_id != deed.actor.pk or agreement.offer_id != deed.lot.offer_id:
        raise NotFound("There is no such agreement about pollen of this lot.")
    if agreement.state != Agreement.State.AGREED:
        raise Conflict(f"The agreement is {agreement.state}; packets are filled once both have said yes.")


def _stay_end(packet: Packet, at: datetime, problems: Problems) -> None:
    stay = Stay.objects.get(packet=packet, until=None)
    if at < stay.since:
        problems.add("occurred_at", at.isoformat(), f"after {stay.since.isoformat()}")
    problems.refuse_if_any()
    stay.until = at
    stay.save(update_fields=["until"])


def _ambient_c(deed: Deed, packet: Packet) -> float:
    home = deed.lot.plant.site
    ends, _ = _ends(packet)
    origin, there = (home, home) if ends is None else (ends.origin, ends.destination)
    return float(ambient_between(origin, there)[deed.at.month - 1])


def _gets(grower: Grower, packet: Packet) -> bool:
    ends, _ = _ends(packet)
    return ends is not None and grower.pk == ends.taker.pk


def _ends(packet: Packet) -> tuple[Ends | None, Detour | None]:
    """Who sends a packet next and who gets it, and the detour if it goes by one; None if it is for nobody."""
    if packet.agreement is None:
        return None, None
    leg, detour = leg_from(packet.agreement, packet.holder_id)
    return ends_on(packet.agreement, leg, detour), detour
