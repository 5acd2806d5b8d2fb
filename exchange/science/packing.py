"""A box with its coolant: how fast heat leaks in and how much ice that needs."""

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np

from exchange.science import constants
from exchange.science.check import check_positive, check_range

COLDEST_C = constants.READING_MINIMUM_C.value
HOTTEST_C = constants.READING_MAXIMUM_C.value
SECONDS_PER_HOUR = 3600.0


@dataclass(frozen=True)
class Packing:
    """A box or envelope with its coolant and what lies in it.

    Parameters
    ----------
    inside_cm : tuple of float
        Inside length, width and height, cm, above 0.
    wall_cm : float
        Thickness of the wall, cm, above 0.
    conductivity_w_m_k : float
        Thermal conductivity of the wall, W/(m K), above 0.
    ice_kg : float
        Coolant, frozen through and tempered to its melting point, kg; 0 means none.
    payload_kg, payload_heat_j_kg_k : float
        What warms with the packet: mass, kg, and specific heat, J/(kg K), above 0.
    coolant_melting_c, coolant_latent_heat_j_kg, coolant_heat_j_kg_k : float
        Melting point, °C; latent heat, J/kg; specific heat when melted, J/(kg K).
    """

    inside_cm: tuple[float, float, float]
    wall_cm: float
    conductivity_w_m_k: float
    ice_kg: float
    payload_kg: float = constants.DEFAULT_PAYLOAD_KG.value
    payload_heat_j_kg_k: float = constants.DEFAULT_PAYLOAD_HEAT_J_KG_K.value
    coolant_melting_c: float = constants.ICE_MELTING_C.value
    coolant_latent_heat_j_kg: float = constants.LATENT_HEAT_ICE_J_KG.value
    coolant_heat_j_kg_k: float = constants.HEAT_CAPACITY_WATER_J_KG_K.value

    def __post_init__(self) -> None:
        check_range("ice_kg", self.ice_kg, 0.0, 1000.0)
        check_range("coolant_melting_c", self.coolant_melting_c, COLDEST_C, HOTTEST_C)
        check_positive("inside_cm", self.inside_cm)
        for name in ("wall_cm", "conductivity_w_m_k", "payload_kg", "payload_heat_j_kg_k"):
            check_positive(name, getattr(self, name))
        for name in ("coolant_latent_heat_j_kg", "coolant_heat_j_kg_k"):
            check_positive(name, getattr(self, name))


DEFAULT_PACKING = Packing(
    inside_cm=(constants.DEFAULT_BOX_INSIDE_CM.value,) * 3,
    wall_cm=constants.DEFAULT_BOX_WALL_CM.value,
    conductivity_w_m_k=constants.CONDUCTIVITY_EPS_W_M_K.value,
    ice_kg=constants.DEFAULT_ICE_KG.value,
)

UNCOOLED_PACKING = Packing(
    inside_cm=(
        constants.ENVELOPE_INSIDE_CM.value,
        constants.ENVELOPE_INSIDE_CM.value,
        constants.ENVELOPE_THICKNESS_CM.value,
    ),
    wall_cm=constants.ENVELOPE_WALL_CM.value,
    conductivity_w_m_k=constants.CONDUCTIVITY_PADDING_W_M_K.value,
    ice_kg=0.0,
    payload_kg=constants.ENVELOPE_PAYLOAD_KG.value,
)


def wall_area_m2(packing: Packing) -> float:
    """Mean wall area of the box: geometric mean of its inside and outside surface.

    Parameters
    ----------
    packing : Packing

    Returns
    -------
    float
        Area, m².

    Notes
    -----
    The geometric mean suits a thick small box; it is the exact mean for a spherical shell.
    """
    wall = 2.0 * packing.wall_cm
    length, width, height = packing.inside_cm
    inside = _surface_cm2(length, width, height)
    outside = _surface_cm2(length + wall, width + wall, height + wall)
    return sqrt(inside * outside) / 1e4


def _surface_cm2(length: float, width: float, height: float) -> float:
    return 2.0 * (length * width + length * height + width * height)


def heat_conductance_w_k(packing: Packing) -> float:
    """Heat that leaks through the walls for each kelvin between outside and inside.

    Parameters
    ----------
    packing : Packing

    Returns
    -------
    float
        Conductance UA, W/K.

    Notes
    -----
    Air films, seams and opening are left out: a real box leaks more.
    """
    return packing.conductivity_w_m_k * wall_area_m2(packing) / (packing.wall_cm / 100.0)


def ice_melt_resistance_m2_k_w(
    area_m2: float,
    temperature_difference_k: float,
    melted_kg: float,
    hours: float,
    *,
    latent_heat_j_kg: float = constants.LATENT_HEAT_ICE_J_KG.value,
) -> float:
    """Thermal resistance of a wall from an ice-melt test of the box.

    Parameters
    ----------
    area_m2, temperature_difference_k, melted_kg, hours, latent_heat_j_kg : float
        Mean wall area, m²; room minus melting point, K; melt water, kg; duration, h;
        latent heat, J/kg; all above 0.

    Returns
    -------
    float
        Resistance R, m² K/W.

    Raises
    ------
    ValueError
        If a parameter is not above 0.

    References
    ----------
    Ice-melt method as named by Burgess G 1999, Packag Technol Sci 12:75-80 (abstract read).
    """
    check_positive("area_m2", area_m2)
    check_positive("temperature_difference_k", temperature_difference_k)
    check_positive("melted_kg", melted_kg)
    check_positive("hours", hours)
    heat_flow_w = melted_kg * latent_heat_j_kg / (hours * SECONDS_PER_HOUR)
    return area_m2 * temperature_difference_k / heat_flow_w


def spherical_conductance_w_k(
    conductivity_w_m_k: float, inner_radius_m: float, outer_radius_m: float
) -> float:
    """Heat conductance of a spherical shell.

    Parameters
    ----------
    conductivity_w_m_k, inner_radius_m, outer_radius_m : float
        Conductivity, W/(m K); radii, m, above 0, the outer one larger.

    Returns
    -------
    float
        Conductance, W/K.

    Raises
    ------
    ValueError
        If a parameter is not above 0 or the outer radius is not the larger one.
    """
    check_positive("conductivity_w_m_k", conductivity_w_m_k)
    check_positive("inner_radius_m", inner_radius_m)
    if not outer_radius_m > inner_radius_m:
        raise ValueError(f"outer_radius_m is {outer_radius_m:g}; allowed: above {inner_radius_m:g}.")
    return 4.0 * pi * conductivity_w_m_k / (1.0 / inner_radius_m - 1.0 / outer_radius_m)


def ice_needed_kg(packing: Packing, ambient_c: float, hours: float) -> float:
    """Coolant that lasts the given hours at a constant ambient temperature.

    Parameters
    ----------
    packing : Packing
        Its own ``ice_kg`` is ignored.
    ambient_c : float
        Temperature round the parcel, °C, -90 to 60.
    hours : float
        Hours to last, at least 0.

    Returns
    -------
    float
        Mass, kg; 0 where the ambient does not melt the coolant.

    Raises
    ------
    ValueError
        If a number is out of its range.
    """
    check_range("ambient_c", ambient_c, COLDEST_C, HOTTEST_C)
    check_range("hours", hours, 0.0, 1e5)
    difference = max(ambient_c - packing.coolant_melting_c, 0.0)
    heat_j = heat_conductance_w_k(packing) * difference * hours * SECONDS_PER_HOUR
    return heat_j / packing.coolant_latent_heat_j_kg


def ice_fits(packing: Packing, ice_kg: float) -> bool:
    """Whether so much ice leaves the share of the inside free that packet, air and card need."""
    check_range("ice_kg", ice_kg, 0.0, 1000.0)
    return ice_kg <= most_ice_kg(packing.inside_cm)


def most_ice_kg(inside_cm: tuple[float, float, float]) -> float:
    """The ice, kg, that leaves the share of an inside (length, width, height in cm) free that is needed."""
    check_positive("inside_cm", inside_cm)
    room_litres = (1.0 - constants.FREE_INSIDE_SHARE.value) * float(np.prod(inside_cm)) / 1000.0
    return room_litres * constants.ICE_DENSITY_KG_L.value
