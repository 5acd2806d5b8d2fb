"""Packets as the lot's grower, their holder and their recipient may read them."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Prefetch, Q, QuerySet

from exchange.models import LotOutlook, Packet, Shipment
from exchange.selectors.block import hidden_from
from exchange.selectors.lot import DoubtTold, doubts_told
from growers.models import Grower

TO_STEWARD = Shipment.Leg.TO_STEWARD


@dataclass(frozen=True, slots=True)
class PacketForViewer:
    """One packet; ``store_id`` is for its holder alone."""

    public_id: UUID
    lot_id: UUID
    code: str
    number: int
    doses: int
    agreement_id: UUID | None
    held_by_you: bool
    on_the_way: bool
    store_id: UUID | None
    filled_at: datetime
    best_before: datetime | None
    worth_trying_until: datetime | None
    doubts: tuple[DoubtTold, ...]


def packets_known(grower: Grower) -> QuerySet[Packet]:
    """Packets of own lots, packets that one holds, packets filled for one or on their way by way of one."""
    own = Q(lot__plant__grower=grower)
    by_way = Q(shipment__leg=TO_STEWARD, shipment__detour__gathering__steward=grower)
    theirs = (Q(holder=grower) | Q(agreement__recipient=grower) | by_way) & ~Q(
        lot__plant__grower__in=hidden_from(grower)
    )
    outlooks = Prefetch("outlooks", to_attr="outlooks_own", queryset=LotOutlook.objects.all())
    rows = Packet.objects.filter(own | theirs).select_related(
        "lot__plant__grower", "lot__plant__site", "lot__offer", "agreement", "store"
    )
    return rows.prefetch_related(outlooks)


def packet_for(viewer: Grower, packet: Packet) -> PacketForViewer:
    """A loaded packet for its viewer; no query."""
    found: list[LotOutlook] = packet.outlooks_own  # type: ignore[attr-defined]
    outlook = found[0] if found else None
    holds = packet.holder_id == viewer.pk
    return PacketForViewer(
        public_id=packet.public_id,
        lot_id=packet.lot.public_id,
        code=packet.lot.code,
        number=packet.number,
        doses=packet.doses,
        agreement_id=packet.agreement.public_id if packet.agreement else None,
        held_by_you=holds,
        on_the_way=packet.store_id is None,
        store_id=packet.store.public_id if holds and packet.store else None,
        filled_at=packet.filled_at,
        best_before=outlook.best_before_at if outlook else None,
        worth_trying_until=outlook.worth_trying_until_at if outlook else None,
        doubts=doubts_told(outlook.doubts if outlook else ()),
    )
