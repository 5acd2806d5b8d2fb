import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from exchange.science.probit import (
    NotIdentifiedError,
    age_at_probit_fraction,
    fit_probit,
    probit_viability,
)
from tests.published import Row, cases


@pytest.mark.parametrize("row", cases("viability", "probit_fraction", "probit_age"))
def test_viability_equation_has_its_stated_values(row: Row) -> None:
    line = row.inputs["intercept"], row.inputs["sd_days"]
    if row.quantity == "probit_age":
        row.check(age_at_probit_fraction(row.inputs["fraction"], *line))
    else:
        row.check(float(probit_viability(row.inputs["age_days"], *line)))


@pytest.mark.parametrize("row", cases("viability", "probit_fit"))
def test_fits_have_their_stated_values(row: Row) -> None:
    columns = (np.array(row.inputs[name], dtype=np.float64) for name in ("dose", "living", "counted"))
    row.check(getattr(fit_probit(*columns), row.inputs["attribute"]))


@pytest.mark.parametrize("row", cases("viability", "probit_sd"))
def test_two_points_of_frozen_orchid_pollen_give_a_spread_of_deaths(row: Row) -> None:
    first, last = (stats.norm.ppf(row.inputs[name] / 100.0) for name in ("first_percent", "last_percent"))
    counted = np.full(2, 1e6)
    living = counted * np.array([row.inputs["first_percent"], row.inputs["last_percent"]]) / 100.0
    fit = fit_probit(np.array([0.0, float(row.inputs["time"])]), living, counted)
    row.check(fit.sd_days)
    assert fit.sd_days == pytest.approx(row.inputs["time"] / (first - last))


@pytest.mark.parametrize("seed", range(8))
def test_fit_agrees_with_statsmodels(seed: int) -> None:
    rng = np.random.default_rng(seed)
    age = np.sort(rng.uniform(0.0, 40.0, 7))
    counted = rng.integers(20, 400, 7)
    living = rng.binomial(counted, stats.norm.cdf(rng.uniform(-0.5, 2.0) - age / rng.uniform(5.0, 30.0)))
    family = sm.families.Binomial(link=sm.families.links.Probit())
    table = np.column_stack([living, counted - living])
    expected = sm.GLM(table, sm.add_constant(age), family=family).fit(tol=1e-12, maxiter=200)
    fit = fit_probit(age, living.astype(np.float64), counted.astype(np.float64))
    assert (fit.intercept, fit.slope) == pytest.approx(tuple(expected.params), rel=1e-6, abs=1e-8)
    assert (fit.intercept_error, fit.slope_error) == pytest.approx(tuple(expected.bse), rel=1e-4)
    assert fit.deviance == pytest.approx(expected.deviance, rel=1e-6, abs=1e-7)


def test_age_at_a_fraction_undoes_the_curve() -> None:
    age = age_at_probit_fraction(0.37, 1.2, 9.0)
    assert float(probit_viability(age, 1.2, 9.0)) == pytest.approx(0.37)
    assert age_at_probit_fraction(0.95, 0.0, 9.0) < 0.0


def test_a_lot_that_does_not_die_has_no_end() -> None:
    fit = fit_probit(np.array([0.0, 10.0]), np.array([50.0, 60.0]), np.array([100.0, 100.0]))
    assert fit.sd_days == float("inf")


@pytest.mark.parametrize(
    ("age", "living"),
    [
        ([0.0, 5.0], [0.0, 0.0]),
        ([0.0, 5.0], [100.0, 100.0]),
        ([0.0, 5.0], [100.0, 0.0]),
        ([3.0, 3.0], [40.0, 50.0]),
    ],
)
def test_counts_that_leave_the_curve_open_are_said_to(age: list[float], living: list[float]) -> None:
    with pytest.raises(NotIdentifiedError, match="allowed: "):
        fit_probit(np.array(age), np.array(living), np.array([100.0, 100.0]))


def test_impossible_input_is_refused() -> None:
    with pytest.raises(ValueError, match="living is 120; allowed: 0 to 100"):
        fit_probit(np.array([0.0, 1.0]), np.array([1.0, 120.0]), np.array([100.0, 100.0]))
    with pytest.raises(ValueError, match="counted has shape"):
        fit_probit(np.array([0.0, 1.0]), np.array([1.0, 2.0]), np.array([100.0]))
    with pytest.raises(ValueError, match="sd_days is 0; allowed: above 0"):
        probit_viability(1.0, 1.0, 0.0)
    with pytest.raises(ValueError, match="intercept is 9; allowed: -8 to 8"):
        age_at_probit_fraction(0.5, 9.0, 1.0)
