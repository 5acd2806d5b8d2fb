"""Lots as their grower and their partners may read them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal
from uuid import UUID

from django.db.models import Prefetch, Q, QuerySet

from exchange.models import Assay, CustodyEvent, Lot, LotOutlook, Packet, Reservation
from exchange.selectors.block import hidden_from
from exchange.selectors.offer import SupplyCount, supply_of_lot
from exchange.wording.lot import custody_words, doubt_sentence
from growers.models import Grower

LIVE = (Reservation.State.ACTIVE, Reservation.State.USED)
Role = Literal["owner", "partner"]


@dataclass(frozen=True, slots=True)
class DoubtTold:
    """A cause that puts a lot in doubt."""

    code: str
    detail: str
    parameters: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class LotForViewer:
    """One lot; what belongs to its grower alone is None for a partner."""

    public_id: UUID
    code: str
    role: Role
    plant_id: UUID | None
    plant_name: str
    offer_id: UUID | None
    state: str
    treatment: str
    store_id: UUID | None
    store: str
    collected_on: date
    collected_hour: int | None
    zone: str | None
    flowers_emptied: int | None
    flower_day: int | None
    netted_before_opening: bool | None
    dried_at: datetime | None
    doses: int | None
    supply: SupplyCount | None
    best_before: datetime | None
    best_before_median: datetime | None
    worth_trying_until: datetime | None
    doubts: tuple[DoubtTold, ...]
    reckoned_at: datetime | None
    created_at: datetime
    changed_at: datetime


@dataclass(frozen=True, slots=True)
class CustodyForViewer:
    """One event in the history of a lot."""

    public_id: UUID
    kind: str
    packet: int | None
    occurred_at: datetime
    received_at: datetime
    zone: str | None
    by: str
    detail: str
    parameters: Mapping[str, Any]
    corrects: UUID | None


def lots_of(grower: Grower) -> QuerySet[Lot]:
    """A grower's own lots."""
    return _loaded(Lot.objects.filter(plant__grower=grower))


def lots_known(grower: Grower) -> QuerySet[Lot]:
    """Own lots, and those of which doses are promised or were sent to one, or a packet is held."""
    promised = Reservation.objects.filter(agreement__recipient=grower, state__in=LIVE)
    held = Packet.objects.filter(holder=grower)
    theirs = Q(supply__in=promised.values("supply")) | Q(pk__in=held.values("lot"))
    hidden = ~Q(plant__grower__in=hidden_from(grower))
    return _loaded(Lot.objects.filter(Q(plant__grower=grower) | theirs & hidden))


def lot_for(viewer: Grower, lot: Lot) -> LotForViewer:
    """A loaded lot for its viewer; no query."""
    own = lot.plant.grower_id == viewer.pk
    outlook = _outlook(lot)
    return LotForViewer(
        public_id=lot.public_id,
        code=lot.code,
        role="owner" if own else "partner",
        plant_id=lot.plant.public_id if own else None,
        plant_name=lot.plant.name_as_grown,
        offer_id=lot.offer.public_id if lot.offer else None,
        state=lot.state,
        treatment=lot.treatment,
        store_id=lot.store.public_id if own else None,
        store=lot.store.kind,
        collected_on=lot.collected_on,
        collected_hour=lot.collected_hour,
        zone=lot.plant.site.cell_zone if own else None,
        flowers_emptied=lot.flowers_emptied,
        flower_day=lot.flower_day,
        netted_before_opening=lot.netted_before_opening,
        dried_at=lot.dried_at,
        doses=lot.doses if own else None,
        supply=supply_of_lot(lot) if own else None,
        best_before=outlook.best_before_at if outlook else None,
        best_before_median=outlook.best_before_median_at if outlook else None,
        worth_trying_until=outlook.worth_trying_until_at if outlook else None,
        doubts=doubts_told(outlook.doubts if outlook else ()),
        reckoned_at=outlook.reckoned_at if outlook else None,
        created_at=lot.created_at,
        changed_at=lot.changed_at,
    )


def doubts_told(codes: Iterable[str]) -> tuple[DoubtTold, ...]:
    """Causes of doubt with their sentences."""
    return tuple(DoubtTold(code, doubt_sentence(code), {}) for code in codes)


def custody_of(viewer: Grower, lot: Lot) -> QuerySet[CustodyEvent]:
    """A lot's history in order; to a partner that of the lot itself and of packets that concern them."""
    history = CustodyEvent.objects.filter(lot=lot).order_by("pk")
    rows = history.select_related("packet", "corrects", "lot__plant")
    return rows if lot.plant.grower_id == viewer.pk else rows.filter(_of_ones_own_packets(viewer))


def _of_ones_own_packets(viewer: Grower) -> Q:
    return Q(packet=None) | Q(packet__holder=viewer) | Q(packet__agreement__recipient=viewer)


def custody_for(viewer: Grower, event: CustodyEvent) -> CustodyForViewer:
    """A loaded event for whoever may see its lot; notes are not in it."""
    return CustodyForViewer(
        public_id=event.public_id,
        kind=event.kind,
        packet=event.packet.number if event.packet else None,
        occurred_at=event.occurred_at,
        received_at=event.created_at,
        zone=event.zone if event.lot.plant.grower_id == viewer.pk else None,
        by="you" if event.actor_id == viewer.pk else "other",
        detail=custody_words(event),
        parameters=event.parameters,
        corrects=event.corrects.public_id if event.corrects else None,
    )


def tests_known(viewer: Grower, lot: Lot) -> QuerySet[Assay]:
    """Tests of a lot that the viewer may see: its grower all, a partner those of the lot and own packets."""
    rows = Assay.objects.filter(lot=lot).select_related("packet")
    if lot.plant.grower_id == viewer.pk:
        return rows
    return rows.filter(_of_ones_own_packets(viewer))


def _loaded(rows: QuerySet[Lot]) -> QuerySet[Lot]:
    own = Prefetch("outlooks", LotOutlook.objects.filter(packet=None), to_attr="outlooks_own")
    related = ("plant__site", "plant__grower", "plant__taxon", "offer", "store", "supply")
    return rows.select_related(*related).prefetch_related(own, "supply__reservations")


def _outlook(lot: Lot) -> LotOutlook | None:
    found: list[LotOutlook] = lot.outlooks_own  # type: ignore[attr-defined]
    return found[0] if found else None
