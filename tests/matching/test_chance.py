"""From where packets end to the chance that is shown, by loops."""

import numpy as np
import pytest

from exchange.matching.arrival import Journey, journey
from exchange.matching.chance import Estimate, Uses, packet_effect_by_draw, shown_estimate, uses_of
from exchange.matching.effect import dispatch_age_days
from exchange.science.live_effect import live_effect, live_effect_rates
from exchange.science.parcel import DEFAULT_PACKING, thermal_age_in_parcel_days
from exchange.science.transit import MAX_BUSINESS_DAYS
from exchange.science.viability import prior_draws, remaining_fraction
from tests.matching.instance import TODAY, lane

DAYS, SPAN = 5, 25


@pytest.fixture
def way() -> Journey:
    return journey(lane(), TODAY, DAYS, night_opening=False)


def test_uses_are_the_sum_over_every_packet_and_every_way(way: Journey) -> None:
    rng = np.random.default_rng(3)
    posted = rng.uniform(0.0, 0.1, (DAYS, 2))
    posted[2] = 0.0
    cool_start = rng.integers(0, 4, (DAYS, 2))
    share = rng.dirichlet(np.ones(MAX_BUSINESS_DAYS))
    weights = np.triu(rng.uniform(0.0, 0.05, (SPAN, SPAN)))[:, ::-1]
    expected: dict[tuple[float, int, int], float] = {}
    for day in range(DAYS):
        for rest in range(2):
            for step in range(MAX_BUSINESS_DAYS):
                first = way.usable_day[day, step]
                for wait in range(SPAN - first):
                    cell = (
                        float(way.heat_class_c[day]),
                        int(way.parcel_days[day, step]),
                        int(cool_start[day, rest]) + wait,
                    )
                    chance = posted[day, rest] * share[step] * weights[first, wait]
                    expected[cell] = expected.get(cell, 0.0) + chance
    found = uses_of(posted, cool_start, way, share, weights)
    assert found.chance.sum() == pytest.approx(sum(expected.values()), rel=1e-4)
    for heat, parcel, cool, chance in zip(
        found.heat_class_c, found.parcel_days, found.cool_days, found.chance, strict=True
    ):
        assert chance == pytest.approx(expected[float(heat), int(parcel), int(cool)], abs=1e-12)


def test_where_no_packet_meets_a_flower_there_are_no_uses(way: Journey) -> None:
    share = np.full(MAX_BUSINESS_DAYS, 1.0 / MAX_BUSINESS_DAYS)
    found = uses_of(np.ones((DAYS, 1)), np.zeros((DAYS, 1), np.int64), way, share, np.zeros((SPAN, SPAN)))
    assert found.chance.size == 0
    draws = prior_draws("dried")
    assert packet_effect_by_draw(found, draws, dispatch_age_days("dried"), DEFAULT_PACKING).max() == 0.0


def test_effect_of_a_packet_by_draw_is_the_sum_over_its_uses() -> None:
    uses = Uses(
        np.array([25.0, 25.0, 30.0]), np.array([2, 4, 2]), np.array([1, 5, 0]), np.array([0.2, 0.3, 0.1])
    )
    draws, age = prior_draws("dried"), dispatch_age_days("dried")
    expected = np.zeros(draws.q10.size)
    for heat, parcel, cool, chance in zip(
        uses.heat_class_c, uses.parcel_days, uses.cool_days, uses.chance, strict=True
    ):
        hours = np.array([24.0 * parcel])
        travelled = thermal_age_in_parcel_days(DEFAULT_PACKING, float(heat), hours, draws.q10)
        left = remaining_fraction(draws, age[:, None] + travelled + cool)
        expected += chance * live_effect(left, live_effect_rates())[:, 0]
    found = packet_effect_by_draw(uses, draws, age, DEFAULT_PACKING)
    assert found == pytest.approx(expected, abs=1e-12)


def test_a_range_is_the_middle_four_fifths_of_the_draws() -> None:
    by_draw = np.arange(1, 101) / 100.0
    assert shown_estimate(0.5, by_draw, np.full(100, 0.01)) == Estimate(0.5, 0.1, 0.9)


def test_a_range_is_widened_to_hold_its_mean() -> None:
    rare = np.where(np.arange(100) < 5, 1.0, 0.0)
    assert shown_estimate(0.05, rare, np.full(100, 0.01)) == Estimate(0.05, 0.0, 0.05)
    assert shown_estimate(0.95, 1.0 - rare, np.full(100, 0.01)) == Estimate(0.95, 0.95, 1.0)
