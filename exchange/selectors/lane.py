"""The way between two sites, from what is known of countries, climates and distance."""

from copy import copy
from datetime import date

import numpy as np

from exchange.matching.side import Lane
from exchange.models import Offer
from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.climate import climate_of
from exchange.science.distance import geodesic_km
from exchange.science.parcel import ambient_temperature_c
from exchange.science.transit import (
    slower,
    transit_predictive,
    transit_prior_weights,
)
from exchange.selectors.carrier_service import (
    delivery_calendar,
    handover_calendar,
    promised_days,
)
from exchange.selectors.lane_seen import LaneSeen, lanes_seen
from exchange.selectors.packing import packing_of
from growers.models import Site


def lane(offer: Offer, origin: Site, destination: Site, today: date, seen: LaneSeen | None = None) -> Lane:
    """The lane of an offer's parcels, computed from both cells and never from an exact place.

    The donor's end keeps the days of their carrier service, the other its country's working week and public
    holidays, with Saturday where the service has it; transit is the prior of promise and distance, and what
    was seen of parcels between the two countries, lost ones and those under way too. Without ``seen`` the
    records are read. The offer's service is read where it is not loaded.
    """
    service, saturday = offer.carrier_service, offer.posts_on_saturday
    record = lanes_seen(today).between(origin, destination, service) if seen is None else seen
    abroad = origin.cell_country != destination.cell_country
    promised = promised_days(service, abroad=abroad)
    weights = transit_prior_weights(promised, _distance_km(origin, destination))
    transit = transit_predictive(weights, record.delivered, record.lost, record.under_way)
    return Lane(
        origin=handover_calendar(service, origin.cell_country, today, saturday=saturday),
        destination=delivery_calendar(service, destination.cell_country, today, saturday=saturday),
        transit=transit,
        slow_transit=slower(transit),
        packing=packing_of(offer.packing, offer.box),
        ambient_c=ambient_between(origin, destination),
        customs_delay_days=int(constants.CUSTOMS_DELAY_DAYS.value) if abroad else 0,
        collected_before_cut_off=offer.collected_before_cut_off,
    )


def inland_lane(offer: Offer, origin: Site, destination: Site, today: date, seen: LaneSeen) -> Lane:
    """The lane of a steward who posts an offer's packets on: packed alike, by a service that is not known."""
    posted_on = copy(offer)
    posted_on.carrier_service, posted_on.posts_on_saturday = None, False
    return lane(posted_on, origin, destination, today, seen)


def _distance_km(origin: Site, destination: Site) -> float:
    return geodesic_km(
        origin.cell_latitude_deg,
        origin.cell_longitude_deg,
        destination.cell_latitude_deg,
        destination.cell_longitude_deg,
    )


def ambient_between(origin: Site, destination: Site) -> FloatArray:
    """Temperature assumed round a parcel between two sites in each month, from their cells; array (12,)."""
    warmer = np.maximum(*(_monthly_mean_c(site) for site in (origin, destination)))
    return np.array([ambient_temperature_c(float(mean)) for mean in warmer])


def _monthly_mean_c(site: Site) -> FloatArray:
    return climate_of(site.cell_latitude_deg, site.cell_longitude_deg).monthly_mean_c
