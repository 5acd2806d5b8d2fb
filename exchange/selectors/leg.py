"""Who sends a parcel and who gets it, and between which sites: by way of a steward it takes two."""

from dataclasses import dataclass

from exchange.models import Agreement, Detour, Shipment
from growers.models import Grower, Site

Leg = Shipment.Leg
ROUTED = (Detour.State.AGREED, Detour.State.DONE)
"""Packets of such a detour's agreement go by way of its steward, later ones too."""

ENDS_LOADED = (
    "agreement__donor",
    "agreement__recipient",
    "agreement__offer__plant__site",
    "agreement__wanted_cross__seed_parent__site",
    "detour__gathering__steward",
    "detour__gathering__site",
)
"""What must be joined to a parcel for its ends."""


@dataclass(frozen=True, slots=True)
class Ends:
    """The two growers of one parcel, and their sites."""

    sender: Grower
    taker: Grower
    origin: Site
    destination: Site


def ends_of(shipment: Shipment) -> Ends:
    """The ends of a loaded parcel; no query."""
    return ends_on(shipment.agreement, shipment.leg, shipment.detour)


def ends_on(agreement: Agreement, leg: str, detour: Detour | None) -> Ends:
    """The ends of a leg of an agreement's way."""
    home, there = agreement.offer.plant.site, agreement.wanted_cross.seed_parent.site
    if detour is None:
        return Ends(agreement.donor, agreement.recipient, home, there)
    gathering = detour.gathering
    if leg == Leg.TO_STEWARD:
        return Ends(agreement.donor, gathering.steward, home, gathering.site)
    return Ends(gathering.steward, agreement.recipient, gathering.site, there)


def route_of(agreement: Agreement) -> Detour | None:
    """The detour by which an agreement's packets go, with its steward and site; None on the direct way."""
    rows = Detour.objects.filter(agreement=agreement, state__in=ROUTED)
    return rows.select_related("gathering__steward", "gathering__site").first()


def leg_from(agreement: Agreement, holder_id: int) -> tuple[Shipment.Leg, Detour | None]:
    """The next leg of a packet that this grower holds."""
    detour = route_of(agreement)
    if detour is None:
        return Leg.DIRECT, None
    return (Leg.TO_STEWARD if holder_id == agreement.donor_id else Leg.INLAND), detour


def third_of(shipment: Shipment) -> Grower | None:
    """The steward of a parcel that does not go directly."""
    return None if shipment.detour is None else shipment.detour.gathering.steward
