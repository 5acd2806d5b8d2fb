"""Factors on the chance of a cross: fertility of the plants, heat, chromosome counts."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, get_args

from exchange.science.check import check_choice, check_range
from exchange.science.chromosome import counts_differ
from exchange.science.constants import (
    CHROMOSOME_FACTOR,
    HARDY_HEAT_LIMIT_C,
    HEAT_FACTOR,
    POOR_FERTILITY_FACTOR,
    STERILE_FACTOR,
)
from exchange.science.group import group_key

Fertility = Literal["fertile", "poor", "sterile", "not stated"]
Reason = tuple[str, Mapping[str, float | str]]

LOWEST_WATER_C = -2.0
HIGHEST_WATER_C = 50.0
_FERTILITY_FACTOR = {
    "sterile": STERILE_FACTOR.value,
    "poor": POOR_FERTILITY_FACTOR.value,
}


@dataclass(frozen=True)
class Parent:
    """What bears on one parent's part in a cross; fertility is that of the role it plays."""

    groups: tuple[str, ...]
    fertility: Fertility = "not stated"
    chromosome_counts: tuple[int, ...] = ()
    water_week_mean_c: float | None = None


@dataclass(frozen=True)
class Modifier:
    """The product of all factors, and the reason of each that is not 1."""

    factor: float
    reasons: tuple[Reason, ...] = field(default=())


def fertility_factor(fertility: str) -> float:
    """Give the factor of one parent's fertility in its role.

    Parameters
    ----------
    fertility : str
        ``sterile`` (with proof: no carpels, no anthers, never a fruit), ``poor``, ``fertile`` or
        ``not stated``.

    Returns
    -------
    float
        0, 0.2, 1 or 1 (judgement).

    Raises
    ------
    ValueError
        If the word is not one of these.
    """
    check_choice("fertility", fertility, get_args(Fertility))
    return _FERTILITY_FACTOR.get(fertility, 1.0)


def _fertility_reasons(side: str, parent: Parent) -> list[tuple[float, Reason]]:
    factor = fertility_factor(parent.fertility)
    return [] if factor == 1.0 else [(factor, (f"{parent.fertility}_{side}_parent", {"factor": factor}))]


def _heat_reasons(parents: Mapping[str, Parent]) -> list[tuple[float, Reason]]:
    hottest: tuple[float, str] | None = None
    for side, parent in parents.items():
        hardy = all(group_key(group) == "hardy" for group in parent.groups)
        if parent.water_week_mean_c is None:
            continue
        check_range(
            "water_week_mean_c",
            parent.water_week_mean_c,
            LOWEST_WATER_C,
            HIGHEST_WATER_C,
        )
        if hardy and parent.water_week_mean_c > HARDY_HEAT_LIMIT_C.value:
            hottest = max(hottest or (0.0, ""), (parent.water_week_mean_c, side))
    if hottest is None:
        return []
    facts: dict[str, float | str] = {
        "factor": HEAT_FACTOR.value,
        "water_c": hottest[0],
        "limit_c": HARDY_HEAT_LIMIT_C.value,
        "side": hottest[1],
    }
    return [(HEAT_FACTOR.value, ("hardy_in_hot_water", facts))]


def _chromosome_reasons(seed: Parent, pollen: Parent) -> list[tuple[float, Reason]]:
    if not counts_differ(seed.chromosome_counts, pollen.chromosome_counts):
        return []
    facts: dict[str, float | str] = {
        "factor": CHROMOSOME_FACTOR.value,
        "seed_count": float(seed.chromosome_counts[0]),
        "pollen_count": float(pollen.chromosome_counts[0]),
    }
    return [(CHROMOSOME_FACTOR.value, ("different_chromosome_counts", facts))]


def pair_modifier(seed: Parent, pollen: Parent) -> Modifier:
    """Multiply the factors of a pair and say why each is there.

    Parameters
    ----------
    seed, pollen : Parent
        The seed parent in its role as seed parent, the pollen parent in its role as pollen parent;
        ``water_week_mean_c`` is the mean water temperature of the last week, −2 to 50 °C.

    Returns
    -------
    Modifier
        Factor 0–1 and reasons (code, facts): ``sterile_seed_parent``, ``poor_seed_parent``,
        ``sterile_pollen_parent``, ``poor_pollen_parent``, ``hardy_in_hot_water``,
        ``different_chromosome_counts``.

    Raises
    ------
    ValueError
        If a parent has no group, a word is unknown, or a number is out of range.

    Notes
    -----
    Heat counts once a cross, and only for a parent all of whose groups are hardy (direction:
    Strawn, Water lily hybridization; size and limit: custom). Kinship is no factor: no effect on
    seed set is known for *Nymphaea*.
    """
    for side, parent in (("seed", seed), ("pollen", pollen)):
        if not parent.groups:
            raise ValueError(f"groups of the {side} parent are empty; allowed: at least one group.")
    found = [
        *_fertility_reasons("seed", seed),
        *_fertility_reasons("pollen", pollen),
        *_heat_reasons({"seed": seed, "pollen": pollen}),
        *_chromosome_reasons(seed, pollen),
    ]
    factor = 1.0
    for part, _ in found:
        factor *= part
    return Modifier(factor, tuple(reason for _, reason in found))
