"""Tables of the live effect, against the model of one cell written out."""

import numpy as np
import pytest

from exchange.matching import effect
from exchange.matching.effect import (
    EffectTable,
    dispatch_age_days,
    draws_used,
    effect_table,
    first_draws,
    posting_age_days,
)
from exchange.science import constants
from exchange.science.arrays import FloatArray
from exchange.science.live_effect import live_effect, live_effect_rates
from exchange.science.parcel import DEFAULT_PACKING, thermal_age_in_parcel_days
from exchange.science.viability import Treatment, prior_draws, remaining_fraction
from exchange.science.weighted import weighted_quantile

DAYS = np.array([1, 4])
DOUBLE, SINGLE = 1e-10, 1e-5


@pytest.fixture
def double(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(effect, "PRECISION", np.float64)


def cell(treatment: Treatment, heat_c: float, parcel_days: int, wait_days: int) -> FloatArray:
    draws = prior_draws(treatment)
    age = dispatch_age_days(treatment)[:, None] + wait_days
    age = age + thermal_age_in_parcel_days(DEFAULT_PACKING, heat_c, np.array([24.0 * parcel_days]), draws.q10)
    return live_effect(remaining_fraction(draws, age), live_effect_rates())[:, 0]


def made(wait_days: int, *, days: FloatArray | None = None, heat_c: float = 25.0) -> EffectTable:
    parcel_days = DAYS if days is None else days.astype(np.int64)
    return effect_table("dried", DEFAULT_PACKING, heat_c, parcel_days, wait_days)


def test_only_drying_ages_pollen_before_it_is_packed() -> None:
    assert dispatch_age_days("fresh").tolist() == [0.0] * prior_draws("fresh").q10.size
    # One day at 22 °C: 1.8 times ten kelvin above 4 °C.
    for treatment in ("dried", "frozen"):
        assert dispatch_age_days(treatment) == pytest.approx(prior_draws(treatment).q10 ** 1.8)


@pytest.mark.usefixtures("double")
@pytest.mark.parametrize("parcel_days", DAYS)
@pytest.mark.parametrize("wait_days", [0, 3, 40])
def test_a_cell_is_mean_and_quantile_over_the_draws(parcel_days: int, wait_days: int) -> None:
    table, by_draw = made(40), cell("dried", 25.0, parcel_days, wait_days)
    some = by_draw[: int(constants.RANGE_DRAW_COUNT.value)]
    low = weighted_quantile(some, np.ones(some.size), 0.1)
    assert table.mean[parcel_days, wait_days] == pytest.approx(by_draw.mean(), abs=DOUBLE)
    assert table.low[parcel_days, wait_days] == pytest.approx(low, abs=DOUBLE)
    assert low == pytest.approx(np.quantile(by_draw, 0.1), abs=0.02)


@pytest.mark.usefixtures("double")
@pytest.mark.parametrize(("heat_c", "parcel_days"), [(5.0, 1), (25.0, 2), (40.0, 30)])
@pytest.mark.parametrize("treatment", ["fresh", "dried", "frozen"])
def test_means_from_a_few_nodes_are_those_of_every_day(
    treatment: Treatment, heat_c: float, parcel_days: int
) -> None:
    waits = np.arange(440)
    table = effect_table(treatment, DEFAULT_PACKING, heat_c, np.array([parcel_days]), waits[-1])
    count = draws_used(treatment)
    draws = first_draws(prior_draws(treatment), count)
    in_parcel = thermal_age_in_parcel_days(DEFAULT_PACKING, heat_c, np.array([24.0 * parcel_days]), draws.q10)
    ages = dispatch_age_days(treatment)[:count, None] + in_parcel + waits
    exact = live_effect(remaining_fraction(draws, ages), live_effect_rates()[:count]).mean(axis=0)
    kept = exact >= constants.NEGLIGIBLE_EFFECT.value
    assert table.mean[parcel_days, waits] == pytest.approx(np.where(kept, exact, 0.0), abs=DOUBLE)


def test_low_ends_are_reckoned_only_where_they_are_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    # Another test of this process may have asked for the same pollen.
    monkeypatch.setattr(effect, "_low_rows", {})
    table = made(20, heat_c=32.5)

    def reckoned() -> set[int]:
        return {day for _, pollen, day in effect._low_rows if pollen == table.pollen}

    assert table.mean.any()
    assert reckoned() == set()
    assert table.low.any()
    assert reckoned() == set(DAYS.tolist())


def test_single_precision_moves_nothing_that_is_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    tables = []
    for precision in (np.float32, np.float64):
        monkeypatch.setattr(effect, "PRECISION", precision)
        tables.append(made(100))
    assert tables[0].mean == pytest.approx(tables[1].mean, abs=SINGLE)
    assert tables[0].low == pytest.approx(tables[1].low, abs=SINGLE)


def test_rows_that_nobody_asked_for_are_empty() -> None:
    assert made(5).mean[[0, 2, 3]].sum() == 0.0


def test_a_table_grows_where_a_longer_wait_is_asked_for() -> None:
    short, long = made(5, heat_c=27.5), made(150, heat_c=27.5)
    assert long.mean.shape[1] >= 151
    assert long.mean[:, :6] == pytest.approx(short.mean[:, :6], abs=SINGLE)
    assert (long.mean[DAYS, 150] > 0.0).all()


def test_what_is_negligible_is_nothing() -> None:
    table = effect_table("fresh", DEFAULT_PACKING, 20.0, DAYS, 3000)
    shown = table.mean[DAYS] > 0.0
    assert table.mean[DAYS][shown].min() >= 1e-4
    assert not shown[:, 3000].any()
    assert table.low[DAYS][~shown].max() == 0.0


def test_a_freezer_earns_no_more_than_the_rate_of_0_c() -> None:
    draws = prior_draws("frozen")
    expected = draws.q10**1.8 + 30.0 * draws.q10**-0.4
    assert posting_age_days("frozen", 30) == pytest.approx(expected)
    assert posting_age_days("dried", 0) == pytest.approx(dispatch_age_days("dried"))


def test_the_first_draws_are_draws() -> None:
    some = first_draws(prior_draws("frozen"), draws_used("frozen"))
    assert some.q10.size == draws_used("frozen") <= draws_used("dried") == prior_draws("dried").q10.size
    assert some.weight.sum() == pytest.approx(1.0)
    assert np.log(some.half_life_days).mean() == pytest.approx(np.log(180.0), abs=0.02)


def test_age_and_heat_never_help() -> None:
    cool, hot = made(60, heat_c=20.0), made(60, heat_c=35.0)
    assert (np.diff(cool.mean[DAYS], axis=1) <= SINGLE).all()
    assert (hot.mean[DAYS] <= cool.mean[DAYS] + SINGLE).all()
    assert (cool.low <= cool.mean + SINGLE).all()
