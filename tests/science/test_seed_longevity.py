import numpy as np
import pytest

from exchange.science.seed_longevity import (
    BARLEY,
    seed_longevity_ratio,
    seed_sd_days,
    teosinte_water_potential_mpa,
)
from tests.published import Row, cases


@pytest.mark.parametrize("row", cases("temperature", "seed_longevity_ratio"))
def test_seed_lives_longer_in_the_cool_by_the_stated_factor(row: Row) -> None:
    row.check(seed_longevity_ratio(**row.inputs))


@pytest.mark.parametrize("row", cases("temperature", "seed_q10"))
def test_seed_coefficients_imply_the_stated_q10(row: Row) -> None:
    steps = (row.inputs["warm_c"] - row.inputs["cool_c"]) / 10.0
    row.check(seed_longevity_ratio(row.inputs["warm_c"], row.inputs["cool_c"]) ** (1.0 / steps))


@pytest.mark.parametrize("row", cases("viability", "barley_sd"))
def test_barley_loses_a_probit_in_the_stated_days(row: Row) -> None:
    row.check(seed_sd_days(BARLEY, **row.inputs))


@pytest.mark.parametrize("row", cases("viability", "teosinte_potential"))
def test_water_potential_has_its_stated_values(row: Row) -> None:
    row.check(float(teosinte_water_potential_mpa(row.inputs["relative_water_content"])))


def test_ratios_multiply_along_a_path_and_undo_each_other() -> None:
    direct = seed_longevity_ratio(30.0, -10.0)
    path = seed_longevity_ratio(30.0, 12.0) * seed_longevity_ratio(12.0, -10.0)
    assert path == pytest.approx(direct, rel=1e-12)
    assert seed_longevity_ratio(-10.0, 30.0) == pytest.approx(1.0 / direct, rel=1e-12)


def test_drier_seed_and_wetter_pollen() -> None:
    assert seed_sd_days(BARLEY, 6.0, 20.0) > seed_sd_days(BARLEY, 12.0, 20.0)
    assert (np.diff(teosinte_water_potential_mpa([0.2, 0.5, 1.0])) > 0.0).all()


def test_impossible_input_is_refused() -> None:
    with pytest.raises(ValueError, match=r"moisture_percent is 30; allowed: 1\.8 to 25"):
        seed_sd_days(BARLEY, 30.0, 20.0)
    with pytest.raises(ValueError, match="cool_c is -80; allowed: -20 to 90"):
        seed_longevity_ratio(4.0, -80.0)
    with pytest.raises(ValueError, match=r"relative_water_content is 0; allowed: 0\.05 to 1"):
        teosinte_water_potential_mpa(0.0)
