"""Heat through the walls and the ice that meets it."""

from dataclasses import replace
from typing import Any

import pytest
from scipy import constants as units

from exchange.science.constants import LATENT_HEAT_ICE_J_KG
from exchange.science.packing import (
    DEFAULT_PACKING,
    UNCOOLED_PACKING,
    Packing,
    heat_conductance_w_k,
    ice_fits,
    ice_melt_resistance_m2_k_w,
    ice_needed_kg,
    spherical_conductance_w_k,
    wall_area_m2,
)
from exchange.science.parcel import hours_cold
from tests.published import Row, cases

BTU_PER_LB = units.Btu / units.lb
US_RESISTANCE = units.foot**2 * units.hour * units.degree_Fahrenheit / units.Btu


def box(inputs: dict[str, Any]) -> Packing:
    return Packing(tuple(inputs["inside_cm"]), inputs["wall_cm"], inputs["conductivity_w_m_k"], ice_kg=0.0)


def melt_resistance(inputs: dict[str, float]) -> float:
    return ice_melt_resistance_m2_k_w(
        inputs["area_ft2"] * units.foot**2,
        inputs["difference_f"] * units.degree_Fahrenheit,
        inputs["melt_lb_h"] * units.lb,
        1.0,
        latent_heat_j_kg=inputs["latent_btu_lb"] * BTU_PER_LB,
    )


def shell_heat_j(inputs: dict[str, float]) -> float:
    conductance = spherical_conductance_w_k(
        inputs["conductivity_w_m_k"], inputs["inner_radius_m"], inputs["outer_radius_m"]
    )
    return conductance * inputs["difference_k"] * inputs["hours"] * units.hour


@pytest.mark.parametrize("row", cases("parcel", "wall_area"))
def test_wall_area_lies_between_inside_and_outside(row: Row) -> None:
    row.check(wall_area_m2(box(row.inputs)))


@pytest.mark.parametrize("row", cases("parcel", "heat_conductance"))
def test_heat_conductance_of_common_boxes(row: Row) -> None:
    row.check(heat_conductance_w_k(box(row.inputs)))


@pytest.mark.parametrize("row", cases("parcel", "ice_needed"))
def test_ice_for_two_days_in_common_boxes(row: Row) -> None:
    row.check(ice_needed_kg(box(row.inputs), row.inputs["ambient_c"], row.inputs["hours"]))


@pytest.mark.parametrize("row", cases("parcel", "ice_melt_resistance_us"))
def test_ice_melt_resistance_in_united_states_units(row: Row) -> None:
    row.check(melt_resistance(row.inputs) / US_RESISTANCE)


@pytest.mark.parametrize("row", cases("parcel", "ice_melt_resistance_si"))
def test_ice_melt_resistance_in_si_units(row: Row) -> None:
    row.check(melt_resistance(row.inputs))


@pytest.mark.parametrize("row", cases("parcel", "latent_heat"))
def test_latent_heat_agrees_with_the_handbook(row: Row) -> None:
    assert row.inputs["btu_lb"] * BTU_PER_LB / 1000.0 == pytest.approx(row.value, abs=1e-3)
    row.check(LATENT_HEAT_ICE_J_KG.value / 1000.0)


@pytest.mark.parametrize("row", cases("parcel", "spherical_conductance"))
def test_heat_conductance_of_a_shell(row: Row) -> None:
    row.check(spherical_conductance_w_k(**row.inputs))


@pytest.mark.parametrize("row", cases("parcel", "spherical_heat"))
def test_heat_through_a_shell(row: Row) -> None:
    row.check(shell_heat_j(row.inputs) / 1000.0)


@pytest.mark.parametrize("row", cases("parcel", "spherical_ice"))
def test_ice_melted_through_a_shell(row: Row) -> None:
    row.check(shell_heat_j(row.inputs) / LATENT_HEAT_ICE_J_KG.value * 1000.0)


def test_ice_for_the_cold_hours_is_the_ice_packed() -> None:
    hours = hours_cold(DEFAULT_PACKING, 25.0)
    assert ice_needed_kg(DEFAULT_PACKING, 25.0, hours) == pytest.approx(DEFAULT_PACKING.ice_kg, rel=1e-12)


def test_frost_needs_no_ice() -> None:
    assert ice_needed_kg(DEFAULT_PACKING, -5.0, 48.0) == 0.0


def test_one_litre_of_foam_cannot_hold_the_ice_for_two_days() -> None:
    needed = ice_needed_kg(DEFAULT_PACKING, 25.0, 48.0)
    assert not ice_fits(DEFAULT_PACKING, needed)
    assert ice_fits(DEFAULT_PACKING, DEFAULT_PACKING.ice_kg)


def test_three_litres_fit_with_vacuum_panels_only() -> None:
    foam = Packing((15.0, 20.0, 10.0), 3.0, 0.035, ice_kg=0.0)
    panel = replace(foam, wall_cm=2.0, conductivity_w_m_k=0.006)
    assert not ice_fits(foam, ice_needed_kg(foam, 25.0, 48.0))
    assert ice_fits(panel, ice_needed_kg(panel, 25.0, 48.0))


def test_envelope_carries_no_ice() -> None:
    assert UNCOOLED_PACKING.ice_kg == 0.0


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"wall_cm": 0.0}, "wall_cm is 0; allowed: above 0."),
        ({"inside_cm": (10.0, -1.0, 10.0)}, "inside_cm is -1; allowed: above 0."),
        ({"ice_kg": -0.1}, "ice_kg is -0.1; allowed: 0 to 1000."),
        ({"payload_kg": float("nan")}, "payload_kg is nan; allowed: above 0."),
        ({"coolant_melting_c": 100.0}, "coolant_melting_c is 100; allowed: -90 to 60."),
    ],
)
def test_impossible_packing_is_refused_by_name(change: dict[str, Any], sentence: str) -> None:
    with pytest.raises(ValueError) as refusal:
        replace(DEFAULT_PACKING, **change)
    assert str(refusal.value) == sentence


def test_impossible_wall_tests_are_refused_by_name() -> None:
    with pytest.raises(ValueError, match=r"^melted_kg is 0; allowed: above 0\.$"):
        ice_melt_resistance_m2_k_w(0.1, 20.0, 0.0, 24.0)
    with pytest.raises(ValueError, match=r"^outer_radius_m is 0\.1; allowed: above 0\.2\.$"):
        spherical_conductance_w_k(0.02, 0.2, 0.1)
