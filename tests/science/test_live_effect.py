import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.science.live_effect import (
    best_before_days,
    days_left,
    live_effect,
    live_effect_rates,
    worth_trying_until_days,
)
from exchange.science.thermal_age import constant_temperature_age, logged_age
from exchange.science.viability import Treatment, prior_draws, remaining_fraction
from exchange.science.weighted import weighted_mean, weighted_quantile
from tests.published import Row, cases

DRIED, RATE = prior_draws("dried"), live_effect_rates()


@pytest.mark.parametrize("row", cases("viability", "live_effect"))
def test_live_effect_has_its_stated_values(row: Row) -> None:
    row.check(float(live_effect(np.array([row.inputs["remaining"]]), np.array([row.inputs["rate"]]))[0]))


@pytest.mark.parametrize("row", cases("viability", "best_before"))
def test_best_before_from_other_plants_alone(row: Row) -> None:
    row.check(best_before_days(prior_draws(row.inputs["treatment"]), RATE)[0])


@pytest.mark.parametrize("row", cases("viability", "expected_effect_after_parcel"))
def test_a_parcel_is_not_dead_on_arrival(row: Row) -> None:
    drying = constant_temperature_age(row.inputs["dry_days"], row.inputs["dry_c"], DRIED.q10)
    parcel = constant_temperature_age(row.inputs["parcel_days"], row.inputs["parcel_c"], DRIED.q10)
    left = remaining_fraction(DRIED, drying + parcel)
    row.check(float(np.asarray(weighted_mean(live_effect(left, RATE), DRIED.weight))[0]))
    # The trap: judged on the 10 % quantile of v/v0 this parcel would count as dead.
    assert float(np.asarray(weighted_quantile(left, DRIED.weight, 0.1))[0]) < 0.5


@pytest.mark.parametrize("treatment", ["fresh", "dried", "frozen"])
def test_best_before_is_where_the_quantile_crosses_one_half(treatment: Treatment) -> None:
    draws = prior_draws(treatment)
    for probability, date in zip((0.1, 0.5), best_before_days(draws, RATE), strict=True):
        effects = live_effect(remaining_fraction(draws, date * np.array([1.0 - 1e-9, 1.0 + 1e-3])), RATE)
        before, after = np.asarray(weighted_quantile(effects, draws.weight, probability))
        assert before >= 0.5 - 1e-9
        assert after < 0.5


@pytest.mark.parametrize("least", [0.02, 0.1, 0.6])
def test_worth_trying_is_where_the_mean_crosses_the_least(least: float) -> None:
    date = worth_trying_until_days(DRIED, RATE, least_effect=least)
    effects = live_effect(remaining_fraction(DRIED, np.array([date])), RATE)[:, 0]
    assert float(weighted_mean(effects, DRIED.weight)) == pytest.approx(least, abs=1e-9)


def test_worth_trying_at_full_effect_is_at_once_and_its_default_is_a_tenth() -> None:
    assert worth_trying_until_days(DRIED, RATE, least_effect=1.0) == 0.0
    assert worth_trying_until_days(DRIED, RATE) == worth_trying_until_days(DRIED, RATE, least_effect=0.1)


@given(
    remaining=st.floats(0.0, 1.0),
    more=st.floats(0.0, 1.0),
    rate=st.one_of(st.just(0.0), st.floats(0.0, 500.0)),
)
@settings(deadline=None)
def test_live_effect_rises_from_nothing_to_one_and_never_below_the_share(
    remaining: float, more: float, rate: float
) -> None:
    low, high = sorted([remaining, more])
    effects = live_effect(np.array([0.0, low, high, 1.0]), np.array(rate))
    assert effects[0] == 0.0
    assert effects[3] == 1.0
    assert effects[1] <= effects[2] + 1e-15
    assert effects[1] >= low - 1e-12


def test_rate_nought_is_proportionality() -> None:
    shares = np.array([[0.0, 0.25, 1.0]])
    assert live_effect(shares, np.array([0.0])).tolist() == shares.tolist()
    near = live_effect(shares, np.array([1e-9]))
    assert near == pytest.approx(shares, abs=1e-9)
    dates = best_before_days(DRIED, np.zeros(4000))
    half = np.sort(DRIED.half_life_days)
    assert dates == (half[399], half[1999])


@given(first=st.floats(0.01, 0.99), second=st.floats(0.01, 0.99))
@settings(max_examples=15, deadline=None)
def test_a_higher_threshold_is_never_a_later_date(first: float, second: float) -> None:
    low, high = sorted([first, second])
    early = worth_trying_until_days(DRIED, RATE, least_effect=high)
    assert early <= worth_trying_until_days(DRIED, RATE, least_effect=low) * (1.0 + 1e-9)


@given(store_c=st.floats(0.0, 34.0), warmer=st.floats(0.0, 20.0))
@settings(max_examples=20, deadline=None)
def test_best_before_is_never_later_when_the_store_is_hotter(store_c: float, warmer: float) -> None:
    unused = np.zeros(4000)
    cool, hot = days_left(DRIED, RATE, unused, store_c), days_left(DRIED, RATE, unused, store_c + warmer)
    assert hot[0] <= cool[0] * (1.0 + 1e-12)
    assert hot[1] <= cool[1] * (1.0 + 1e-12)


def test_days_left_of_a_new_lot_at_four_degrees_is_best_before() -> None:
    assert days_left(DRIED, RATE, np.zeros(4000), 4.0) == pytest.approx(best_before_days(DRIED, RATE))


def test_loggers_move_best_before_as_they_must() -> None:
    hours = np.array([0.0, 24.0, 24.01, 30.0, 30.01, 120.0])
    planned = logged_age(hours, np.full(6, 9.0), DRIED.q10)
    heat = logged_age(hours, np.array([9.0, 9.0, 34.0, 34.0, 9.0, 9.0]), DRIED.q10)
    cool = logged_age(hours, np.full(6, 5.0), DRIED.q10)
    early, plan, late = (days_left(DRIED, RATE, age, 4.0)[0] for age in (heat, planned, cool))
    assert early < plan < late


def test_a_lot_past_its_date_has_negative_days_left() -> None:
    assert days_left(DRIED, RATE, np.full(4000, 1e6), 4.0)[1] < 0.0


def test_impossible_input_is_refused() -> None:
    with pytest.raises(ValueError, match=r"remaining is 1\.5; allowed: 0 to 1"):
        live_effect(np.array([1.5]), np.array([1.0]))
    with pytest.raises(ValueError, match="rate is -1; allowed: 0 to inf"):
        best_before_days(DRIED, np.full(4000, -1.0))
    with pytest.raises(ValueError, match=r"least_effect is 0; allowed: 0\.0001 to 1"):
        worth_trying_until_days(DRIED, RATE, least_effect=0.0)
    with pytest.raises(ValueError, match="temperature_c is 90"):
        days_left(DRIED, RATE, np.zeros(4000), 90.0)
    with pytest.raises(ValueError, match="read-only"):
        RATE[0] = 1.0
