import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from exchange.science.proportion import (
    beta_interval,
    beta_mean,
    clopper_pearson_interval,
    effective_count,
    grains_for_half_width,
    wilson_interval,
)
from tests.published import Row, cases

ENDS = {"low": 0, "high": 1}
counts = st.integers(1, 3000).flatmap(lambda total: st.tuples(st.integers(0, total), st.just(total)))


@pytest.mark.parametrize("row", cases("proportion", "wilson", "clopper_pearson"))
def test_intervals_have_their_published_ends(row: Row) -> None:
    interval = wilson_interval if row.quantity == "wilson" else clopper_pearson_interval
    row.check(interval(row.inputs["successes"], row.inputs["total"])[ENDS[row.inputs["end"]]])


@pytest.mark.parametrize("row", cases("proportion", "beta_interval"))
def test_beta_intervals_have_their_published_ends(row: Row) -> None:
    prior = {name: row.inputs[name] for name in ("prior_alpha", "prior_beta")}
    row.check(beta_interval(row.inputs["successes"], row.inputs["total"], **prior)[ENDS[row.inputs["end"]]])


@pytest.mark.parametrize("row", cases("proportion", "beta_mean"))
def test_beta_mean_has_its_stated_value(row: Row) -> None:
    row.check(beta_mean(**row.inputs))


@pytest.mark.parametrize("row", cases("proportion", "wilson_half_width_percent"))
def test_half_widths_of_usual_counts(row: Row) -> None:
    low, high = wilson_interval(row.inputs["successes"], row.inputs["total"])
    row.check(50.0 * (high - low))


@pytest.mark.parametrize("row", cases("proportion", "effective_count"))
def test_clumped_grains_count_for_fewer(row: Row) -> None:
    row.check(effective_count(**row.inputs))
    assert effective_count(200, 100) == effective_count(200, 100, 0.02)


@given(count=counts, confidence=st.sampled_from([0.8, 0.95, 0.99]))
@settings(deadline=None)
def test_intervals_agree_with_statsmodels(count: tuple[int, int], confidence: float) -> None:
    successes, total = count
    for interval, method in (
        (wilson_interval, "wilson"),
        (clopper_pearson_interval, "beta"),
        (beta_interval, "jeffreys"),
    ):
        expected = proportion_confint(successes, total, alpha=1.0 - confidence, method=method)
        assert interval(successes, total, confidence=confidence) == pytest.approx(expected, abs=1e-9)


@given(count=counts)
@settings(deadline=None)
def test_intervals_hold_the_proportion_and_stay_inside(count: tuple[int, int]) -> None:
    successes, total = count
    for low, high in (wilson_interval(successes, total), clopper_pearson_interval(successes, total)):
        assert 0.0 <= low <= successes / total <= high <= 1.0


@given(proportion=st.floats(0.0, 1.0), half_width=st.floats(0.005, 0.45))
@settings(deadline=None)
def test_the_stated_number_of_grains_is_the_least_that_is_narrow_enough(
    proportion: float, half_width: float
) -> None:
    def half_width_at(total: float) -> float:
        z = 1.959963984540054
        spread = proportion * (1.0 - proportion) / total + z * z / (4.0 * total**2)
        return float(z / (1.0 + z * z / total) * np.sqrt(spread))

    grains = grains_for_half_width(proportion, half_width)
    assert half_width_at(grains) <= half_width * (1.0 + 1e-9)
    assert grains == 1 or half_width_at(grains - 1) > half_width * (1.0 - 1e-9)


def test_impossible_input_is_refused() -> None:
    with pytest.raises(ValueError, match="successes is 5; allowed: 0 to 4"):
        wilson_interval(5, 4)
    with pytest.raises(ValueError, match="total is 0; allowed: 1 to"):
        clopper_pearson_interval(0, 0)
    with pytest.raises(ValueError, match=r"successes is 1\.5; allowed: whole numbers"):
        beta_mean(1.5, 4)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=r"confidence is 1; allowed: 0\.5 to 0\.9999"):
        wilson_interval(1, 4, confidence=1.0)
    with pytest.raises(ValueError, match="prior_alpha is 0; allowed: above 0"):
        beta_interval(1, 4, prior_alpha=0.0)
    with pytest.raises(ValueError, match="replicate_size is 300; allowed: 1 to 200"):
        effective_count(200, 300)
    with pytest.raises(ValueError, match=r"half_width is 0; allowed: 0\.005 to 0\.5"):
        grains_for_half_width(0.3, 0.0)
