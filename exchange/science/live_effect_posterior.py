"""What the same pairs tried fresh and stored teach about the live effect's rate λ."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from exchange.science.arrays import FloatArray
from exchange.science.check import check_range
from exchange.science.compatibility import GroupPrior
from exchange.science.compatibility_grid import Grid, compatibility_grid
from exchange.science.constants import DRAW_COUNT
from exchange.science.outcome import Outcome, Reporting, outcome_likelihood


@dataclass(frozen=True)
class Use:
    """One pollination with the live effect of its pollen in every draw, and whether it was stored."""

    outcome: Outcome
    effect_draws: FloatArray
    stored: bool


def _use_log_likelihood(use: Use, grid: Grid, reporting: Reporting) -> FloatArray:
    check_range("effect_draws", use.effect_draws, 0.0, 1.0)
    check_range("modifier", use.outcome.modifier, 0.0, 1.0)
    chance = use.outcome.modifier * use.effect_draws[:, None] * grid.compatibility
    with np.errstate(divide="ignore"):
        return np.log(outcome_likelihood(use.outcome, chance, reporting))


def _pair_log_evidence(uses: Sequence[Use], grid: Grid, reporting: Reporting) -> FloatArray:
    total = sum((_use_log_likelihood(use, grid, reporting) for use in uses), np.zeros((1, 1)))
    top = total.max(axis=1, keepdims=True)
    if not np.isfinite(top).all():
        raise ValueError("effect × modifier is 0 for a controlled success; allowed: above 0.")
    return np.asarray(np.log(np.exp(total - top) @ grid.share.T) + top, dtype=np.float64)


def live_effect_weight(
    prior: GroupPrior, pairs: Sequence[Sequence[Use]], *, reporting: Reporting | None = None
) -> FloatArray:
    """Re-weight the draws of the live effect by pairs that were tried both fresh and stored.

    Parameters
    ----------
    prior : GroupPrior
        Of the ordered pair of groups of all these pairs, not refused.
    pairs : sequence of sequence of Use
        The uses of each pair of clones; the live effect of each, shape (draws,), 0–1.
    reporting : Reporting, optional
        Shares of outcomes reported; by default 0.9 and 0.6 (judgement).

    Returns
    -------
    FloatArray
        Shape (draws,), sums to 1; even where no pair was tried both ways.

    Raises
    ------
    ValueError
        If the prior is refused, or a number or word is out of range.

    Notes
    -----
    Compatibility and λ are weighed together, C integrated out. A pair tried in one way only is left
    out: it cannot tell a dead packet from an incompatible pair.
    """
    if prior.refused:
        raise ValueError("prior is refused; allowed: a cross that may be made.")
    usable = [uses for uses in pairs if len({use.stored for use in uses}) == 2]
    grid = compatibility_grid(prior.alpha, prior.beta)
    total = np.zeros((int(DRAW_COUNT.value), 1)) + np.log(grid.group_weight)
    for uses in usable:
        total = total + _pair_log_evidence(uses, grid, reporting or Reporting())
    weight = np.exp(total - total.max()).sum(axis=1)
    return np.asarray(weight / weight.sum(), dtype=np.float64)
