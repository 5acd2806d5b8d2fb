"""The first report of a bud, against every case of flowers, looks and days in sight."""

from itertools import product

import numpy as np
import pytest
from scipy import stats

from exchange.matching.bud_report import LONGEST_LAG_DAYS, NEGLIGIBLE, bud_days_chance, first_reports
from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.bloom_chain import BUD_LAG

RATE = np.array([0.3, 0.0, 0.2, 0.9, 0.4, 0.1])
DAYS = RATE.size
CASES = [np.array(case) for case in product([False, True], repeat=DAYS)]


def chance_of(case: FloatArray, of_true: FloatArray) -> float:
    return float(np.prod(np.where(case, of_true, 1.0 - of_true)))


def reported(flowers: FloatArray, looks: FloatArray, in_sight: int) -> int | None:
    """The first day on which somebody looks and a flower opens within the days in sight."""
    for day in range(DAYS):
        if looks[day] and flowers[day + 1 : day + 1 + in_sight].any():
            return day
    return None


def worth_after(flowers: FloatArray, day: int) -> float:
    """An arbitrary worth of the first flower from a day on; no two days have the same."""
    opened = np.flatnonzero(flowers[day:])
    return float(10.0 + (day + opened[0]) ** 2) if opened.size else 0.0


def test_chance_and_what_follows_are_those_of_every_case() -> None:
    shares = first_reports(RATE[None])[:, :, 0]
    usable_after = (1, 2, 4)
    chance, worth = np.zeros(DAYS), np.zeros((len(usable_after), DAYS))
    ahead = np.zeros(DAYS + LONGEST_LAG_DAYS + 5)
    in_sight = enumerate(bud_days_chance(), start=1)
    for (days, of_days), flowers, looks in product(list(in_sight), CASES, CASES):
        seen = reported(flowers, looks, days)
        if seen is None:
            continue
        look_chance = np.full(DAYS, constants.BUD_LOOK_CHANCE.value)
        weight = of_days * chance_of(flowers, -np.expm1(-RATE)) * chance_of(looks, look_chance)
        chance[seen] += weight
        for row, after in enumerate(usable_after):
            worth[row, seen] += weight * worth_after(flowers, seen + after)
    for flowers in CASES:
        weight = chance_of(flowers, -np.expm1(-RATE))
        ahead[:DAYS] += [weight * worth_after(flowers, day) for day in range(DAYS)]
    assert shares.sum(axis=1) == pytest.approx(chance, abs=1e-12)
    offsets = np.arange(LONGEST_LAG_DAYS + 1)
    for row, after in enumerate(usable_after):
        found = [shares[day] @ ahead[day + np.maximum(after, 1 + offsets)] for day in range(DAYS)]
        assert found == pytest.approx(worth[row], abs=1e-12)


def test_days_in_sight_are_those_of_the_lag_from_bud_to_flower() -> None:
    """SciPy's truncated normal, rounded up to whole days, of a lag whose 4 ± 3 d are a judgement."""
    lag = BUD_LAG["at the surface"]
    bounds = (-lag.mean / lag.sd, (LONGEST_LAG_DAYS - lag.mean) / lag.sd)
    until = stats.truncnorm(*bounds, lag.mean, lag.sd).cdf(np.arange(LONGEST_LAG_DAYS + 1))
    assert bud_days_chance() == pytest.approx(np.diff(until), abs=1e-12)
    beyond = stats.truncnorm(bounds[0], np.inf, lag.mean, lag.sd).sf(LONGEST_LAG_DAYS)
    assert beyond < 0.002


def test_a_season_without_a_flower_has_no_report() -> None:
    shares = first_reports(np.vstack([np.zeros(40), np.full(40, 0.5)]))
    assert shares[:, :, 0].sum(axis=1) == pytest.approx(np.zeros(40), abs=1e-12)
    assert shares[:, :, 1].sum() == pytest.approx(1.0, abs=2.0 * NEGLIGIBLE)
    assert not first_reports(np.zeros((2, 40))).any()


def test_days_long_before_the_first_flower_change_nothing() -> None:
    rate = np.zeros((1, 60))
    rate[0, 45:] = 0.4
    late, soon = first_reports(rate), first_reports(rate[:, 25:])
    np.testing.assert_array_equal(late[25:], soon)
    assert not late[:25].any()
