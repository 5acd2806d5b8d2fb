"""Parcels as their growers read them: what is known, when it may come, what to mind."""

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, Q, QuerySet

from exchange.matching.detour import detour_lane
from exchange.matching.side import Lane
from exchange.models import Packet, Shipment
from exchange.science.business_day import delivery_date
from exchange.science.parcel import hours_cold
from exchange.science.transit import MAX_BUSINESS_DAYS, arrival_quantile_days
from exchange.selectors.block import hidden_from
from exchange.selectors.carrier_service import accepted_on
from exchange.selectors.lane import inland_lane, lane
from exchange.selectors.lane_seen import UNSEEN, LaneSeen, LanesSeen
from exchange.selectors.leg import ENDS_LOADED, ends_of
from exchange.selectors.packing import Box, box_shown
from exchange.selectors.parcel_plan import ParcelPlan
from exchange.wording.shipment import content_caution
from growers import clock
from growers.models import Grower, Site

HALF, LATE = 0.5, 0.9
LONGEST_COLD_HOURS = 24.0 * 30
"""Said where it is so cold that no coolant melts."""

Told = Mapping[str, Any]
Role = Literal["consignor", "consignee", "concerned"]


@dataclass(frozen=True, slots=True)
class Expected:
    """When a parcel that is handed over at an instant comes, if it comes."""

    dispatched_on: date
    half_on: date
    late_on: date
    lost_chance: float


@dataclass(frozen=True, slots=True)
class ShipmentForViewer:
    """One parcel for one of its growers; addresses are read in a logged call of their own.

    By way of a steward each of the two growers is told of the leg that is not theirs too, as ``concerned``.
    """

    public_id: UUID
    role: Role
    leg: str
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
    recipient_half_on: date
    recipient_late_on: date
    plan: ParcelPlan | None
    business_days: int | None
    condition: str | None
    ended_at: datetime | None
    created_at: datetime
    changed_at: datetime


def shipments_known(grower: Grower) -> QuerySet[Shipment]:
    """Parcels of agreements that a grower is a side of, or by whose steward they go."""
    hidden = hidden_from(grower)
    given, taken = Q(agreement__donor__in=hidden), Q(agreement__recipient__in=hidden)
    sent = Q(agreement__donor=grower) & ~taken
    got = Q(agreement__recipient=grower) & ~given
    by_way = Q(detour__gathering__steward=grower) & ~given & ~taken
    rows = Shipment.objects.filter(sent | got | by_way).select_related(*ENDS_LOADED, "carrier_service")
    return rows.prefetch_related(Prefetch("packets", Packet.objects.order_by("pk")))


def shipment_for(
    viewer: Grower, shipment: Shipment, seen: LanesSeen, plan: ParcelPlan | None = None
) -> ShipmentForViewer:
    """A loaded parcel for its viewer, reckoned with what was seen of its lane; no query."""
    at = shipment.dispatched_at or clock.now()
    agreement = shipment.agreement
    way = _lane(shipment, at, seen.between(*_ends(shipment), shipment.carrier_service))
    expected, there = _expected(shipment, at, way), expected_there(shipment, at, seen)
    cold = hours_cold(way.packing, float(way.ambient_c[at.month - 1]))
    return ShipmentForViewer(
        public_id=shipment.public_id,
        role=_role(viewer, shipment),
        leg=shipment.leg,
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
        recipient_half_on=_own_days(shipment, shipment.half_on) or there.half_on,
        recipient_late_on=_own_days(shipment, shipment.late_on) or there.late_on,
        plan=plan if viewer.pk in (agreement.donor_id, agreement.recipient_id) else None,
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


def expected_there(shipment: Shipment, at: datetime, seen: LanesSeen) -> Expected:
    """The same for the recipient: of a parcel to a steward with all days that the way inland adds."""
    ends, detour = _ends(shipment), shipment.detour
    way = _lane(shipment, at, seen.between(*ends, shipment.carrier_service))
    if shipment.leg == Shipment.Leg.TO_STEWARD and detour is not None:
        inland = ends[1], shipment.agreement.wanted_cross.seed_parent.site
        onward = inland_lane(shipment.agreement.offer, *inland, at.date(), seen.between(*inland))
        way = detour_lane(way, onward, detour.gathering.handling_days)
    return _expected(shipment, at, way)


def _role(viewer: Grower, shipment: Shipment) -> Role:
    ends = ends_of(shipment)
    if viewer.pk == ends.sender.pk:
        return "consignor"
    return "consignee" if viewer.pk == ends.taker.pk else "concerned"


def _own_days(shipment: Shipment, day: date | None) -> date | None:
    """The day of a parcel that goes to the recipient itself."""
    return None if shipment.leg == Shipment.Leg.TO_STEWARD else day


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
    zone = ZoneInfo(_ends(shipment)[1].cell_zone)
    came_on, sent_on = at.astimezone(zone).date(), _day_of(shipment, sent_at)
    for days in range(1, MAX_BUSINESS_DAYS):
        due = delivery_date(
            way.origin, way.destination, sent_on, days, customs_delay_days=way.customs_delay_days
        )
        if due >= came_on:
            return days
    return MAX_BUSINESS_DAYS


def _ends(shipment: Shipment) -> tuple[Site, Site]:
    ends = ends_of(shipment)
    return ends.origin, ends.destination


def _lane(shipment: Shipment, at: datetime, seen: LaneSeen) -> Lane:
    """The way of the offer's parcels, with the packing and the service of this one."""
    offer = copy(shipment.agreement.offer)
    offer.packing, offer.posts_on_saturday = shipment.packing, shipment.posts_on_saturday
    offer.box, offer.carrier_service = shipment.box, shipment.carrier_service
    return lane(offer, *_ends(shipment), at.date(), seen)


def _day_of(shipment: Shipment, at: datetime) -> date:
    origin, saturday = _ends(shipment)[0], shipment.posts_on_saturday
    return accepted_on(shipment.carrier_service, origin, at, saturday=saturday)
