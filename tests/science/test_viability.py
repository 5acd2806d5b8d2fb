import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from exchange.science.constants import SHAPE
from exchange.science.kinetic_temperature import activation_energy_from_rates, q10_from_rates
from exchange.science.viability import (
    Treatment,
    age_at_fraction,
    fraction_left,
    prior_draws,
    remaining_fraction,
    viability,
)
from exchange.science.weighted import weighted_mean, weighted_quantile
from tests.published import Row, cases
from tests.science import apple

TREATMENTS: tuple[Treatment, ...] = ("fresh", "dried", "frozen")
FIT_QUANTITIES = tuple(
    f"apple_{name}"
    for name in (
        "rate_through_start",
        "half_life_months",
        "exponential_initial",
        "exponential_rate",
        "exponential_rmse",
        "weibull_initial",
        "weibull_rate",
        "weibull_shape",
        "weibull_rmse",
        "probit_intercept",
        "probit_sd",
        "probit_rmse",
    )
)


@pytest.mark.parametrize("row", cases("viability", "apple_mean"))
def test_published_apple_means_lie_on_a_weibull_curve(row: Row) -> None:
    fit = apple.fits(row.inputs["cultivar"], row.inputs["temperature_c"])
    left = apple.fraction_at_rate(row.inputs["month"], fit["weibull_rate"], fit["weibull_shape"])
    row.check(fit["weibull_initial"] * float(left))


@pytest.mark.parametrize("row", cases("viability", *FIT_QUANTITIES))
def test_fits_to_the_apple_means_are_found_again(row: Row) -> None:
    fit = apple.fits(row.inputs["cultivar"], row.inputs["temperature_c"])
    row.check(fit[row.quantity.removeprefix("apple_")])


def test_cooler_apple_pollen_lives_longer_in_every_month() -> None:
    checked = 0
    for cultivar in ("petrovaca", "budimka", "third"):
        by_temperature = [apple.series().get((cultivar, degree)) for degree in (20, 4, -20, -80)]
        rows = [row[1:] for row in by_temperature if row is not None]
        for warmer, cooler in itertools.pairwise(rows):
            strict = warmer is not rows[-2]
            assert (warmer < cooler).all() if strict else (warmer <= cooler).all()
            checked += len(warmer)
    # Three comparisons in each of six months for two cultivars, two for the third (20 °C not readable).
    assert checked == 48


@pytest.mark.parametrize("cultivar", ["petrovaca", "budimka"])
def test_warm_apple_pollen_is_weibull_before_first_order_before_probit(cultivar: str) -> None:
    fit = apple.fits(cultivar, 20)
    assert fit["weibull_rmse"] < fit["exponential_rmse"] < fit["probit_rmse"]
    assert fit["weibull_shape"] < 1.0


def test_warm_petrovaca_has_the_stated_early_loss() -> None:
    fit = apple.fits("petrovaca", 20)
    assert fit["weibull_shape"] == pytest.approx(0.51, abs=0.03)
    assert fit["weibull_rmse"] < 1.0


def _rates(row: Row) -> tuple[float, float, float, float]:
    cool, warm = row.inputs["cool_c"], row.inputs["warm_c"]
    rates = [
        apple.rate_through_start(apple.series()[row.inputs["cultivar"], degree]) for degree in (cool, warm)
    ]
    return rates[0], float(cool), rates[1], float(warm)


@pytest.mark.parametrize("row", cases("viability", "apple_q10"))
def test_apple_rates_imply_the_stated_q10(row: Row) -> None:
    row.check(q10_from_rates(*_rates(row)))


@pytest.mark.parametrize("row", cases("viability", "apple_activation_energy"))
def test_apple_rates_imply_the_stated_activation_energy(row: Row) -> None:
    row.check(activation_energy_from_rates(*_rates(row)) / 1000.0)


@pytest.mark.parametrize("row", cases("viability", "apple_first_month_ratio"))
def test_first_month_of_apple_pollen_shows_a_steeper_temperature_effect(row: Row) -> None:
    cool = apple.series()[row.inputs["cultivar"], row.inputs["cool_c"]]
    warm = apple.series()[row.inputs["cultivar"], row.inputs["warm_c"]]
    row.check(float(np.log(warm[0] / warm[1]) / np.log(cool[0] / cool[1])))


@pytest.mark.parametrize("row", cases("viability", "weibull_curve"))
def test_weibull_curve_has_its_published_values(row: Row) -> None:
    left = apple.fraction_at_rate(row.inputs["month"], row.inputs["rate_per_month"], row.inputs["shape"])
    row.check(row.inputs["initial_percent"] * float(left))


@pytest.mark.parametrize("row", cases("viability", "fraction_left", "age_at_fraction"))
def test_first_order_decay_is_the_curve_of_shape_one(row: Row) -> None:
    given_ = row.inputs
    if row.quantity == "fraction_left":
        left = fraction_left(given_["age_days"], given_["half_life_days"], given_["shape"])
        row.check(given_["initial"] * float(left))
    else:
        share = given_["fraction"] / given_["initial"]
        row.check(float(age_at_fraction(share, given_["half_life_days"], given_["shape"])))


@pytest.mark.parametrize("row", cases("viability", "first_order_rate", "first_order_half_life"))
def test_two_points_of_frozen_orchid_pollen_give_a_first_order_rate(row: Row) -> None:
    share = row.inputs["last_percent"] / row.inputs["first_percent"]
    half_life = row.inputs["time"] / float(age_at_fraction(share, 1.0, 1.0))
    row.check(half_life if row.quantity == "first_order_half_life" else np.log(2.0) / half_life)


@pytest.mark.parametrize("row", cases("viability", "prior_quantile"))
def test_priors_have_their_stated_quantiles(row: Row) -> None:
    draws = prior_draws(row.inputs["treatment"])
    values = getattr(draws, row.inputs["parameter"])
    row.check(float(weighted_quantile(values, draws.weight, row.inputs["probability"])))


@pytest.mark.parametrize("row", cases("viability", "prior_initial_mean"))
def test_prior_of_initial_viability_has_its_stated_mean(row: Row) -> None:
    draws = prior_draws("fresh", wide_initial=row.inputs["wide_initial"])
    row.check(float(weighted_mean(draws.initial, draws.weight)))


def test_prior_draws_follow_their_distributions() -> None:
    draws = prior_draws("dried")
    assert stats.kstest(draws.initial, stats.beta(1.2, 4.0).cdf).statistic < 0.01
    assert stats.kstest(draws.half_life_days, stats.lognorm(0.82, scale=30.0).cdf).statistic < 0.01
    assert stats.kstest(draws.q10, stats.lognorm(0.234, scale=2.2).cdf).statistic < 0.01
    assert draws.shape.min() >= SHAPE.low
    assert draws.shape.max() <= SHAPE.high
    assert draws.weight.sum() == pytest.approx(1.0, abs=1e-12)


def test_treatments_share_everything_but_the_half_life() -> None:
    fresh, dried = prior_draws("fresh"), prior_draws("dried")
    assert np.array_equal(fresh.q10, dried.q10)
    assert np.array_equal(fresh.shape, dried.shape)
    assert dried.half_life_days / fresh.half_life_days == pytest.approx(6.0)


@pytest.mark.parametrize("treatment", TREATMENTS)
def test_decay_rate_gives_the_same_curve_as_the_half_life(treatment: Treatment) -> None:
    draws = prior_draws(treatment)
    ages = np.array([0.0, 0.5, 3.0, 40.0])
    direct = np.exp(-((draws.decay_per_day[:, None] * ages) ** draws.shape[:, None]))
    assert remaining_fraction(draws, ages) == pytest.approx(direct, abs=1e-12)
    half = remaining_fraction(draws, draws.half_life_days[:, None])
    assert half == pytest.approx(np.full_like(half, 0.5), abs=1e-12)


@given(first=st.floats(0.0, 500.0), longer=st.floats(0.0, 500.0))
@settings(max_examples=30, deadline=None)
def test_viability_never_rises_with_age_and_starts_at_its_initial(first: float, longer: float) -> None:
    draws = prior_draws("fresh", wide_initial=True)
    table = viability(draws, np.array([0.0, first, first + longer]))
    assert np.array_equal(table[:, 0], draws.initial)
    assert (np.diff(table, axis=1) <= 1e-12).all()
    assert (table >= 0.0).all()


@given(fraction=st.floats(1e-6, 1.0), half_life=st.floats(0.01, 1e4), shape=st.floats(0.3, 2.0))
@settings(deadline=None)
def test_age_at_fraction_undoes_fraction_left(fraction: float, half_life: float, shape: float) -> None:
    age = age_at_fraction(fraction, half_life, shape)
    assert float(fraction_left(age, half_life, shape)) == pytest.approx(fraction, rel=1e-9)


def test_ages_of_each_draw_are_taken_row_by_row() -> None:
    draws = prior_draws("dried")
    ages = np.column_stack([draws.q10, 2.0 * draws.q10])
    table = remaining_fraction(draws, ages)
    assert table.shape == (4000, 2)
    assert table[7] == pytest.approx(fraction_left(ages[7], draws.half_life_days[7], draws.shape[7]))


def test_impossible_input_is_refused() -> None:
    draws = prior_draws("dried")
    with pytest.raises(ValueError, match=r"thermal_age_days is -1; allowed: 0 to inf"):
        remaining_fraction(draws, np.array([-1.0]))
    with pytest.raises(ValueError, match="thermal_age_days is nan"):
        viability(draws, np.array([np.nan]))
    with pytest.raises(ValueError, match="treatment is 'pickled'; allowed: fresh, dried, frozen"):
        prior_draws("pickled")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=r"half_life_days is 0; allowed: above 0"):
        fraction_left(1.0, 0.0, 1.0)
    with pytest.raises(ValueError, match=r"fraction is 1\.2; allowed: 0 to 1"):
        age_at_fraction(1.2, 1.0, 1.0)
