"""Doses of one packet and the flowers of the donor that they take."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from exchange.matching.donor_flowers import DonorFlowers, donor_flowers
from exchange.matching.side import Bloom, PollenOffer
from exchange.science.bloom_scenario import BloomScenarios
from tests.exchange.pair import a_bloom, a_lane, an_offer
from tests.published import Row, cases

TODAY = date(2026, 7, 1)


def blooming(rates: list[float], first: date, days: int, **changes: object) -> PollenOffer:
    """An offer on request whose scenarios open so many flowers a day, within one window."""
    count = len(rates)
    scenarios = BloomScenarios(
        origin=first,
        start_day=np.zeros(count),
        end_day=np.full(count, days - 1.0),
        rate_per_day=np.array(rates),
        flowers=np.ones(count, dtype=np.bool_),
    )
    bloom: Bloom = replace(a_bloom(), scenarios=scenarios)
    return an_offer(lot=None, bloom=bloom, **changes)


def found(offer: PollenOffer, day: int, doses: int) -> DonorFlowers:
    flowers = donor_flowers(offer, a_lane(), TODAY, day, doses)
    assert flowers is not None
    return flowers


@pytest.mark.parametrize(
    "row", [row for row in cases("flower", "flowers") if row.values[0].inputs["days"] == 10]
)
def test_a_dose_from_each_flower_of_ten_days(row: Row) -> None:
    """The checked values of the flower model: at least one, two and three flowers in ten days."""
    offer = blooming([row.inputs["rate_per_day"]] * 4, TODAY, row.inputs["days"])
    flowers = found(offer, 30, row.inputs["least"])
    assert flowers.needed == row.inputs["least"]
    row.check(flowers.chance)


@pytest.mark.parametrize(("doses", "each", "needed"), [(4, 1, 4), (4, 2, 2), (5, 2, 3), (1, 50, 1)])
def test_flowers_needed_are_whole_ones(doses: int, each: int, needed: int) -> None:
    assert found(blooming([0.25], TODAY, 10, doses_per_flower=each), 30, doses).needed == needed


def test_it_is_the_mean_over_scenarios_and_not_of_the_mean_flowers() -> None:
    chance = found(blooming([0.0, 0.5], TODAY, 10), 30, 1).chance
    assert chance == pytest.approx((0.0 + 1.0 - np.exp(-5.0)) / 2.0)


@pytest.mark.parametrize(("opens", "chance"), [(-4, 0.0), (-3, 1.0), (6, 1.0), (7, 0.0)])
def test_only_flowers_in_time_count(opens: int, chance: float) -> None:
    """Hardy and dried: sheds on the days 1 and 2 after opening, ready a day later.

    The pollen that a flower of three days ago shed yesterday is dry today; for posting on day 8 the last
    flower opens on day 6.
    """
    offer = blooming([1000.0], TODAY + timedelta(days=opens), 1)
    assert found(offer, 8, 1).chance == pytest.approx(chance)


def test_pollen_in_hand_takes_no_flower() -> None:
    assert donor_flowers(an_offer(), a_lane(), TODAY, 8, 4) is None


@pytest.mark.parametrize(
    ("flowers", "too_many"),
    [(DonorFlowers(2, 0.49), True), (DonorFlowers(2, 0.5), False), (DonorFlowers(1, 0.1), False)],
)
def test_too_many_are_several_that_are_rather_not_there(flowers: DonorFlowers, too_many: bool) -> None:
    assert flowers.too_many is too_many
