"""The way between two sites, from what is known of countries, climates and distance."""

from dataclasses import replace
from datetime import date, timedelta
from functools import lru_cache

import numpy as np

from exchange.matching.side import Lane
from exchange.models import Offer
from exchange.models.offer import PackingPreset
from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.business_day import ServiceCalendar, country_calendar
from exchange.science.climate import climate_of
from exchange.science.distance import geodesic_km
from exchange.science.packing import DEFAULT_PACKING, UNCOOLED_PACKING
from exchange.science.parcel import ambient_temperature_c
from exchange.science.transit import (
    slower,
    transit_predictive,
    transit_prior_weights,
)
from exchange.selectors.lane_seen import LaneSeen, lanes_seen
from growers.models import Site

PACKINGS = {PackingPreset.COLD_BOX: DEFAULT_PACKING, PackingPreset.ENVELOPE: UNCOOLED_PACKING}
CALENDAR_PAST_DAYS = 30
CALENDAR_AHEAD_DAYS = 800
SATURDAY = 5


def lane(offer: Offer, origin: Site, destination: Site, today: date, seen: LaneSeen | None = None) -> Lane:
    """The lane of an offer's parcels, computed from both cells and never from an exact place.

    Each end keeps its country's working week and public holidays, with Saturday where the donor's
    service has it; transit is the prior of the distance, and what was seen of parcels between the two
    countries, lost ones and those under way too. Without ``seen`` the records are read.
    """
    record = lanes_seen(today).between(origin, destination) if seen is None else seen
    abroad = origin.cell_country != destination.cell_country
    promised = constants.PROMISED_DAYS_ABROAD if abroad else constants.PROMISED_DAYS_HOME
    weights = transit_prior_weights(promised.value, _distance_km(origin, destination))
    transit = transit_predictive(weights, record.delivered, record.lost, record.under_way)
    return Lane(
        origin=lane_calendar(origin.cell_country, offer.posts_on_saturday, today),
        destination=lane_calendar(destination.cell_country, offer.posts_on_saturday, today),
        transit=transit,
        slow_transit=slower(transit),
        packing=PACKINGS[PackingPreset(offer.packing)],
        ambient_c=ambient_between(origin, destination),
        customs_delay_days=int(constants.CUSTOMS_DELAY_DAYS.value) if abroad else 0,
        collected_before_cut_off=offer.collected_before_cut_off,
    )


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


@lru_cache(maxsize=512)
def lane_calendar(country: str, saturday: bool, today: date) -> ServiceCalendar:
    """Open days of a parcel service in a country, some years round a day."""
    usual = country_calendar(
        country,
        today - timedelta(days=CALENDAR_PAST_DAYS),
        today + timedelta(days=CALENDAR_AHEAD_DAYS),
    )
    if not saturday:
        return usual
    week = tuple(is_open or day == SATURDAY for day, is_open in enumerate(usual.open_weekdays))
    return replace(usual, open_weekdays=week)
