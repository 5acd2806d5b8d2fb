"""The way of a parcel: calendars of both ends, home and abroad, the warmer end, never an exact place."""

from dataclasses import fields
from datetime import date
from typing import Any

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from exchange.matching.side import Lane
from exchange.models import CarrierService, Offer
from exchange.science.climate import climate_of
from exchange.science.packing import DEFAULT_PACKING, UNCOOLED_PACKING
from exchange.science.transit import arrival_quantile_days, transit_prior_weights
from exchange.selectors.lane import lane
from growers.models import Grower, Site
from growers.services.site import SiteFields
from tests.factories import make_offer, make_plant, make_site

pytestmark = pytest.mark.django_db

TODAY = date(2026, 6, 15)
PARIS = SiteFields(country="FR", latitude_deg=48.85, longitude_deg=2.35)
PARIS_TOO = SiteFields(name="pond by the road", country="FR", latitude_deg=48.85, longitude_deg=2.35)
NANTES = SiteFields(name="west", country="FR", latitude_deg=47.25, longitude_deg=-1.6)
BANGKOK = SiteFields(name="canal", country="TH", latitude_deg=13.75, longitude_deg=100.25)
RIYADH = SiteFields(country="SA", latitude_deg=24.7, longitude_deg=46.7)
MONDAY_TO_FRIDAY = (True, True, True, True, True, False, False)
PACKINGS = {"cold_box": DEFAULT_PACKING, "envelope": UNCOOLED_PACKING}
SUNDAY_TO_THURSDAY = (True, True, True, True, False, False, True)


def offer_at(grower: Grower, place: SiteFields, **said: Any) -> Offer:
    return make_offer(make_plant(grower, site=make_site(grower, **place)), **said)


def way(offer: Offer, destination: Site) -> Lane:
    return lane(offer, offer.plant.site, destination, TODAY)


def same(one: Lane, other: Lane) -> bool:
    """Whether two lanes agree in everything, arrays included."""
    return all(_same(getattr(one, field.name), getattr(other, field.name)) for field in fields(Lane))


def _same(one: Any, other: Any) -> bool:
    if hasattr(one, "day_probability"):
        return np.array_equal(one.day_probability, other.day_probability) and (
            one.lost_probability == other.lost_probability
        )
    return bool(np.array_equal(one, other) if isinstance(one, np.ndarray) else one == other)


# --- calendars ---


def test_each_end_has_its_countrys_week_and_holidays(donor: Grower, recipient: Grower) -> None:
    found = way(offer_at(donor, PARIS), make_site(recipient, **RIYADH))
    assert found.origin.open_weekdays == MONDAY_TO_FRIDAY
    assert found.destination.open_weekdays == SUNDAY_TO_THURSDAY
    national_days = (date(2026, 7, 14), date(2026, 9, 23))
    assert [found.origin.is_open(day) for day in national_days] == [False, True]
    assert [found.destination.is_open(day) for day in national_days] == [True, False]


def test_a_saturday_service_opens_saturdays_but_no_holiday(donor: Grower, recipient: Grower) -> None:
    found = way(offer_at(donor, PARIS, posts_on_saturday=True), make_site(recipient, **BANGKOK))
    assert found.origin.open_weekdays == found.destination.open_weekdays == (*[True] * 6, False)
    # 15 August 2026 is a Saturday and a public holiday of France, not of Thailand.
    days = [date(2026, 8, 8), date(2026, 8, 15), date(2026, 8, 16)]
    assert [found.origin.is_open(day) for day in days] == [True, False, False]
    assert [found.destination.is_open(day) for day in days] == [True, True, False]


def test_the_way_is_that_of_the_carrier_service(donor: Grower, recipient: Grower) -> None:
    weekly = CarrierService.objects.create(
        grower=donor,
        country="FR",
        weekdays=["tuesday", "saturday"],
        delivers_on_saturday=True,
        promised_days_abroad=9,
        closed_days=["2026-08-04"],
    )
    usual = way(offer_at(donor, PARIS), make_site(recipient, **BANGKOK))
    found = way(offer_at(donor, PARIS_TOO, carrier_service=weekly), Site.objects.get(name="canal"))
    # 4 August 2026 is a Tuesday, 8 August a Saturday.
    days = [date(2026, 8, day) for day in (3, 4, 8, 11)]
    assert [found.origin.is_open(day) for day in days] == [False, False, True, True]
    assert [found.destination.is_open(day) for day in days] == [True, True, True, True]
    assert not found.transit.day_probability[:4].any()  # nothing comes in less than half the promise
    assert usual.transit.day_probability[3] > 0.0


def test_a_saturday_service_leaves_a_friday_closed(donor: Grower, recipient: Grower) -> None:
    found = way(offer_at(donor, PARIS, posts_on_saturday=True), make_site(recipient, **RIYADH))
    assert found.destination.open_weekdays == (True, True, True, True, False, True, True)


def test_holidays_are_known_for_the_season_ahead_and_the_one_after(donor: Grower, recipient: Grower) -> None:
    found = way(offer_at(donor, PARIS), make_site(recipient, **NANTES))
    closed = [date(2026, 5, 25), date(2027, 7, 14), date(2028, 5, 1)]
    assert [found.origin.is_open(day) for day in closed] == [False, False, False]


# --- how long and how warm ---


def test_abroad_takes_longer_and_waits_at_the_border(
    donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    offer = offer_at(donor, PARIS)
    home, abroad = way(offer, make_site(recipient, **NANTES)), way(offer, make_site(outsider, **BANGKOK))
    assert (home.customs_delay_days, abroad.customs_delay_days) == (0, 2)
    assert [arrival_quantile_days(found.transit, 0.5) for found in (home, abroad)] == [2, 5]
    for found in (home, abroad):
        assert found.transit.lost_probability == pytest.approx(0.01, abs=1e-12)
        slowest = arrival_quantile_days(found.transit, 0.9)
        assert found.slow_transit.day_probability[slowest - 1] == pytest.approx(0.99, abs=1e-12)


def test_transit_is_the_prior_of_the_distance_between_the_cells(donor: Grower, recipient: Grower) -> None:
    found = way(offer_at(donor, PARIS), make_site(recipient, **BANGKOK))
    between_m = Geodesic.WGS84.Inverse(48.75, 2.25, 13.75, 100.25)["s12"]
    shares = transit_prior_weights(5.0, between_m / 1000.0) / 6.0
    assert found.transit.day_probability == pytest.approx(shares[:-1], abs=1e-9)


def test_the_parcel_is_as_warm_as_the_warmer_end_of_each_month(donor: Grower, recipient: Grower) -> None:
    south = make_site(recipient, country="AU", latitude_deg=-33.8, longitude_deg=150.9)
    found = way(offer_at(donor, PARIS), south)
    ends = [climate_of(48.75, 2.25).monthly_mean_c, climate_of(-33.75, 150.75).monthly_mean_c]
    expected = np.maximum(*ends) + 5.0
    assert np.allclose(found.ambient_c, expected, rtol=0, atol=1e-12)
    warmer_in_the_north = np.flatnonzero(ends[0] > ends[1]) + 1
    assert warmer_in_the_north.tolist() == [5, 6, 7, 8, 9]


# --- what the donor says ---


@pytest.mark.parametrize(
    ("packing", "expected"), [("cold_box", DEFAULT_PACKING), ("envelope", UNCOOLED_PACKING)]
)
def test_packing_and_cut_off_are_the_donors(
    donor: Grower, recipient: Grower, packing: str, expected: Any
) -> None:
    said = {"packing": packing, "collected_before_cut_off": packing == "envelope"}
    found = way(offer_at(donor, PARIS, **said), make_site(recipient, **NANTES))
    assert found.packing == expected
    assert found.collected_before_cut_off is (packing == "envelope")


# --- the exact place ---


def test_two_exact_places_of_one_cell_have_one_lane(
    donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    corner = SiteFields(country="FR", latitude_deg=48.99, longitude_deg=2.01)
    here = make_site(donor, keep_exact=True, **PARIS)
    there = make_site(recipient, keep_exact=True, **corner)
    assert here.latitude_deg != there.latitude_deg
    far = make_site(recipient, **BANGKOK)
    offer = make_offer(make_plant(donor, site=here))
    assert same(lane(offer, here, far, TODAY), lane(offer, there, far, TODAY))
    assert same(lane(offer, far, here, TODAY), lane(offer, far, there, TODAY))
    assert not same(lane(offer, here, far, TODAY), lane(offer, far, here, TODAY))
