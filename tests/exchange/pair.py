"""An invented offer and an invented wanted cross with the way between them, as the matching takes them."""

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from exchange.matching.side import Bloom, CrossWanted, Lane, LotInHand, Parent, PollenOffer
from exchange.science.bloom import BloomWindow
from exchange.science.bloom_scenario import bloom_scenarios
from exchange.science.business_day import ServiceCalendar
from exchange.science.packing import UNCOOLED_PACKING
from exchange.science.transit import MAX_BUSINESS_DAYS, slower, transit_predictive, transit_prior_weights


def a_parent(clone: str, **changes: Any) -> Parent:
    """A hardy day bloomer that sheds on its second and third day."""
    plain = Parent(
        key=clone,
        name=f"'{clone.title()}'",
        clone=clone,
        groups=("hardy",),
        diel="day",
        pollen_first_day=2,
        pollen_last_day=3,
        taxon="",
    )
    return replace(plain, **changes)


def a_bloom() -> Bloom:
    """In flower from about the end of June to the end of August 2026."""
    window = BloomWindow(
        origin=date(2026, 6, 1),
        start_mean=30.0,
        start_sd=5.0,
        end_mean=90.0,
        end_sd=7.0,
        rate_shape=2.0,
        rate_exposure_days=8.0,
        crowns=2,
        flowering_chance=1.0,
        basis="records",
        years=3,
    )
    return Bloom(window, bloom_scenarios(window, seed=1))


def an_offer(**changes: Any) -> PollenOffer:
    """Four doses of dried pollen in hand, in France, posted to Germany too."""
    plain = PollenOffer(
        key="offer",
        parent=a_parent("pollen"),
        country="FR",
        ships_to=frozenset({"DE"}),
        treatment="dried",
        doses=4,
        lot=LotInHand("refrigerator", 3),
    )
    return replace(plain, **changes)


def a_wanted_cross(**changes: Any) -> CrossWanted:
    """Pollen of anything for four flowers, in France; when they open is not known."""
    plain = CrossWanted(key="wanted", parent=a_parent("seed"), country="FR", flowers=4, bloom=None)
    return replace(plain, **changes)


def a_lane(**changes: Any) -> Lane:
    """Inside one country, in an envelope, in air of 15 °C in January to 26 °C in December."""
    usual = transit_predictive(transit_prior_weights(2.0, 500.0), np.zeros(MAX_BUSINESS_DAYS))
    plain = Lane(
        origin=ServiceCalendar(),
        destination=ServiceCalendar(),
        transit=usual,
        slow_transit=slower(usual),
        packing=UNCOOLED_PACKING,
        ambient_c=np.arange(12.0) + 15.0,
    )
    return replace(plain, **changes)
