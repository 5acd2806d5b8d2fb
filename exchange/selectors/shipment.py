"""Parcels as their two growers read them: what is known, when it may come, what to mind."""

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, Q, QuerySet

from exchange.matching.side import Lane
from exchange.models import Packet, Shipment
from exchange.science.business_day import delivery_date
from exchange.science.parcel import hours_cold
from exchange.science.transit import MAX_BUSINESS_DAYS, arrival_quantile_days
from exchange.selectors.block import hidden_from
from exchange.selectors.carrier_service import accepted_on
from exchange.selectors.lane import lane
from exchange.selectors.lane_seen import UNSEEN, LaneSeen, LanesSeen
from exchange.selectors.packing import Box, box_shown
from exchange.selectors.parcel_plan import ParcelPlan
from exchange.wording.shipment import content_caution
from growers import clock
from growers.models import Grower, Site

HALF, LATE = 0.5, 0.9
LONGEST_COLD_HOURS = 24.0 * 30
"""Said where it is so cold that no coolant melts."""

Told = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Expected:
    """When a parcel that is handed over at an instant comes, if it comes."""

    dispatched_on: date
    half_on: date
    late_on: date
    lost_chance: float


@dataclass(frozen=True, slots=True)
class ShipmentForViewer:
    """One parcel for one of its two growers; addresses are read in a logged call of their own."""

    public_id: UUID
    role: Literal["consignor", "consignee"]
    agreement_id: UUID
    state: str
    packets: tuple[UUID, ...]
    packing: str
    box: Box
    hours_cold: float
    carrier: str
    tracking_number: str
    carrier_service_id: UUID | None
    posts_on_saturday: bool
    contents: tuple[Told, ...]
    origin_country: str
    destination_country: str
    dispatched_at: datetime | None
    half_on: date
    late_on: date
    lost_chance: float
    plan: ParcelPlan | None
    business_days: int | None
    condition: str | None
    ended_at: datetime | None
    created_at: datetime
    changed_at: datetime


def shipments_known(grower: Grower) -> QuerySet[Shipment]:
    """Parcels that a grower sends or gets."""
    hidden = hidden_from(grower)
    sent = Q(agreement__donor=grower) & ~Q(agreement__recipient__in=hidden)
    got = Q(agreement__recipient=grower) & ~Q(agreement__donor__in=hidden)
    rows = Shipment.objects.filter(sent | got).select_related(
        "agreement__offer__plant__site", "agreement__wanted_cross__seed_parent__site", "carrier_service"
    )
    return rows.prefetch_related(Prefetch("packets", Packet.objects.order_by("pk")))


def shipment_for(
    viewer: Grower, shipment: Shipment, seen: LanesSeen, plan: ParcelPlan | None = None
) -> ShipmentForViewer:
    """A loaded parcel for its viewer, reckoned with what was seen of its lane; no query."""
    at = shipment.dispatched_at or clock.now()
    agreement = shipment.agreement
    way = _lane(shipment, at, seen.between(*_ends(shipment), shipment.carrier_service))
    expected = _expected(shipment, at, way)
    cold = hours_cold(way.packing, float(way.ambient_c[at.month - 1]))
    return ShipmentForViewer(
        public_id=shipment.public_id,
        role="consignor" if agreement.donor_id == viewer.pk else "consignee",
        agreement_id=agreement.public_id,
        state=shipment.state,
        packets=tuple(packet.public_id for packet in shipment.packets.all()),
        packing=shipment.packing,
        box=box_shown(shipment.packing, shipment.box),
        hours_cold=round(min(cold, LONGEST_COLD_HOURS), 1),
        carrier=shipment.carrier,
        tracking_number=shipment.tracking_number,
        carrier_service_id=_service_id(shipment, viewer),
        posts_on_saturday=shipment.posts_on_saturday,
        contents=tuple(content_caution(code) for code in shipment.contents),
        origin_country=shipment.origin_country,
        destination_country=shipment.destination_country,
        dispatched_at=shipment.dispatched_at,
        half_on=shipment.half_on or expected.half_on,
        late_on=shipment.late_on or expected.late_on,
        lost_chance=round(expected.lost_chance, 4),
        plan=plan,
        business_days=shipment.business_days,
        condition=shipment.condition or None,
        ended_at=shipment.ended_at,
        created_at=shipment.created_at,
        changed_at=shipment.changed_at,
    )


def _service_id(shipment: Shipment, viewer: Grower) -> UUID | None:
    """For whom it belongs to alone."""
    service = shipment.carrier_service
    return service.public_id if service is not None and service.grower_id == viewer.pk else None


def expected_days(shipment: Shipment, at: datetime, seen: LanesSeen) -> Expected:
    """The days by which half and nine in ten of such parcels have come, on the consignee's calendar."""
    return _expected(
        shipment, at, _lane(shipment, at, seen.between(*_ends(shipment), shipment.carrier_service))
    )


def _expected(shipment: Shipment, at: datetime, way: Lane) -> Expected:
    sent_on = _day_of(shipment, at)
    half, late = (
        delivery_date(
            way.origin,
            way.destination,
            sent_on,
            arrival_quantile_days(way.transit, probability),
            customs_delay_days=way.customs_delay_days,
        )
        for probability in (HALF, LATE)
    )
    return Expected(sent_on, half, late, way.transit.lost_probability)


def business_days_taken(shipment: Shipment, at: datetime) -> int:
    """Business days a parcel took that came at an instant, 1 to 15, by the calendars of both ends."""
    sent_at = shipment.dispatched_at or at
    way = _lane(shipment, sent_at, UNSEEN)
    zone = ZoneInfo(shipment.agreement.wanted_cross.seed_parent.site.cell_zone)
    came_on, sent_on = at.astimezone(zone).date(), _day_of(shipment, sent_at)
    for days in range(1, MAX_BUSINESS_DAYS):
        due = delivery_date(
            way.origin, way.destination, sent_on, days, customs_delay_days=way.customs_delay_days
        )
        if due >= came_on:
            return days
    return MAX_BUSINESS_DAYS


def _ends(shipment: Shipment) -> tuple[Site, Site]:
    return shipment.agreement.offer.plant.site, shipment.agreement.wanted_cross.seed_parent.site


def _lane(shipment: Shipment, at: datetime, seen: LaneSeen) -> Lane:
    """The way of the offer's parcels, with the packing and the service of this one."""
    offer = copy(shipment.agreement.offer)
    offer.packing, offer.posts_on_saturday = shipment.packing, shipment.posts_on_saturday
    offer.box, offer.carrier_service = shipment.box, shipment.carrier_service
    return lane(offer, *_ends(shipment), at.date(), seen)


def _day_of(shipment: Shipment, at: datetime) -> date:
    site, saturday = shipment.agreement.offer.plant.site, shipment.posts_on_saturday
    return accepted_on(shipment.carrier_service, site, at, saturday=saturday)
