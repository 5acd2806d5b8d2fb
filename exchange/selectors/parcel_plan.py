"""When a parcel that has not been sent had best be handed over, as the pairing that stands has it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from exchange.models import Pairing, Shipment
from exchange.selectors.agreement_plan import standing_pairings
from exchange.selectors.calendar import flowers_window
from exchange.selectors.carrier_service import hand_over_until
from exchange.wording.pairing import decided_sentence

WAITING = (Shipment.State.PLANNED, Shipment.State.PACKED)


@dataclass(frozen=True, slots=True)
class ParcelPlan:
    """Best and last good day at the donor's, what decides the last, and the flowers it is for.

    ``hand_over_until`` is when the last good day ends at the donor's place, for a reader anywhere: with
    pollen in hand at the cut-off of the parcel's service, where one is known.
    """

    precision: str
    post_on: date
    not_later_than: date | None
    hand_over_until: datetime | None
    decided_by: Mapping[str, Any] | None
    flowers_from: date | None
    flowers_until: date | None


def parcel_plans(shipments: Iterable[Shipment]) -> dict[int, ParcelPlan]:
    """Plans of parcels that wait, by their keys; none where nothing stands or no day is named. One query."""
    waiting = [row for row in shipments if row.state in WAITING and row.leg != Shipment.Leg.INLAND]
    standing = standing_pairings([row.agreement for row in waiting]) if waiting else {}
    found = {}
    for row in waiting:
        pairing = standing.get((row.agreement.offer_id, row.agreement.wanted_cross_id))
        if pairing is not None and pairing.plan["dates"]:
            found[row.pk] = _plan(row, pairing)
    return found


def _plan(shipment: Shipment, pairing: Pairing) -> ParcelPlan:
    dates = pairing.plan["dates"]
    last = date.fromisoformat(dates["not_later_than"]) if dates["not_later_than"] else None
    flowers = flowers_window(pairing, date.fromisoformat(dates["arrival_half"]))
    return ParcelPlan(
        precision=pairing.plan["precision"],
        post_on=date.fromisoformat(dates["post_on"]),
        not_later_than=last,
        hand_over_until=_end_of(last, shipment, pairing.plan["precision"]) if last else None,
        decided_by=_decided(pairing, dates["decided_by"]) if last else None,
        flowers_from=flowers[0] if flowers else None,
        flowers_until=flowers[1] if flowers else None,
    )


def _decided(pairing: Pairing, code: str) -> dict[str, Any]:
    return {"code": code, "detail": decided_sentence(pairing), "parameters": {}}


def _end_of(day: date, shipment: Shipment, precision: str) -> datetime:
    """Before pollen is in hand a day is all that is known of the last one."""
    zone = shipment.agreement.offer.plant.site.cell_zone
    return hand_over_until(shipment.carrier_service if precision == "clock" else None, zone, day)
