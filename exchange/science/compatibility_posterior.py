"""What outcomes teach: the mean of a pair of groups, and the compatibility of a pair of clones."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from exchange.science.arrays import FloatArray
from exchange.science.check import check_range
from exchange.science.compatibility import GroupPrior, compatibility_draws
from exchange.science.compatibility_grid import Grid, compatibility_grid, fixed_mean_grid
from exchange.science.draws import uniform_column
from exchange.science.outcome import (
    Outcome,
    PairRecord,
    Reporting,
    UnknownAs,
    log_likelihood,
    merged_records,
)
from exchange.science.weighted import weighted_quantile

LOW, HIGH = 0.1, 0.9


@dataclass(frozen=True)
class Estimate:
    """Mean with 10 and 90 % quantiles, 0–1, and the evidence: pairs and pollinations with a known end."""

    mean: float
    low: float
    high: float
    pairs: int
    pollinations: int


def _scaled(log_values: FloatArray) -> FloatArray:
    return np.asarray(np.exp(log_values - log_values.max()), dtype=np.float64)


def _log_evidence(grid: Grid, own: FloatArray) -> FloatArray:
    """Log of a pair's likelihood integrated over its compatibility, for each group mean."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(grid.share @ _scaled(own)), dtype=np.float64)


def _group_weight(
    grid: Grid, records: Sequence[PairRecord], reporting: Reporting, unknown_as: UnknownAs
) -> FloatArray:
    with np.errstate(divide="ignore"):
        total = np.log(grid.group_weight)
    for record in records:
        if not record.flagged_sterile:
            total = total + _log_evidence(
                grid, log_likelihood(record.outcomes, grid.compatibility, reporting, unknown_as)
            )
    weight = _scaled(total)
    return np.asarray(weight / weight.sum(), dtype=np.float64)


def _estimate(values: FloatArray, weight: FloatArray, records: Sequence[PairRecord]) -> Estimate:
    mean = float(values @ weight)
    low, high = (float(weighted_quantile(values, weight, share)) for share in (LOW, HIGH))
    known = [sum(outcome.is_known for outcome in record.outcomes) for record in records]
    return Estimate(mean, min(low, mean), max(high, mean), sum(count > 0 for count in known), sum(known))


def group_estimate(
    prior: GroupPrior,
    records: Sequence[PairRecord],
    *,
    reporting: Reporting | None = None,
    unknown_as: UnknownAs = "reported rates",
) -> Estimate:
    """Estimate the mean compatibility of an ordered pair of groups from all outcomes in it.

    Parameters
    ----------
    prior : GroupPrior
        Of the ordered pair.
    records : sequence of PairRecord
        Outcomes of all pairs of clones of this ordered pair of groups.
    reporting : Reporting, optional
        Shares of outcomes reported; by default 0.9 and 0.6 (judgement).
    unknown_as : str, optional
        ``set`` and ``failed`` give the two bounds that silence leaves open.

    Returns
    -------
    Estimate
        Of the group mean, 0–1, with the pairs and pollinations it rests on; a record flagged
        sterile is left out, a refused pair stays 0.

    Raises
    ------
    ValueError
        If an outcome has a word or number out of range, or a success where none is possible.

    Notes
    -----
    Each pair enters by its likelihood integrated over its own compatibility, so forty failures of
    one sterile clone weigh little more than a few. Weighting failures by the pollen's life and adding
    them to beta is biased: at live effect 0.5 a true 0.8 converges to 0.57 (own computation).
    """
    kept = [record for record in merged_records(records).values() if not record.flagged_sterile]
    if prior.refused:
        return Estimate(0.0, 0.0, 0.0, 0, 0)
    grid = compatibility_grid(prior.alpha, prior.beta)
    weight = _group_weight(grid, kept, reporting or Reporting(), unknown_as)
    return _estimate(grid.group_mean, weight, kept)


def _joint_weight(
    grid: Grid,
    records: Sequence[PairRecord],
    pair: tuple[str, str],
    reporting: Reporting,
    unknown_as: UnknownAs,
) -> tuple[FloatArray, PairRecord]:
    merged = merged_records(records)
    own = merged.pop(pair, PairRecord(*pair, outcomes=()))
    # The pair's own outcomes enter here only, not through the group as well: they would count twice.
    others = _group_weight(grid, list(merged.values()), reporting, unknown_as)
    likelihood = _scaled(log_likelihood(own.outcomes, grid.compatibility, reporting, unknown_as))
    joint = others[:, None] * grid.share * likelihood
    return np.asarray(joint / joint.sum(), dtype=np.float64), own


def pair_estimate(
    prior: GroupPrior,
    records: Sequence[PairRecord],
    seed_parent: str,
    pollen_parent: str,
    *,
    reporting: Reporting | None = None,
    unknown_as: UnknownAs = "reported rates",
) -> Estimate:
    """Estimate the compatibility of one seed parent × pollen parent with live pollen.

    Parameters
    ----------
    prior : GroupPrior
        Of the ordered pair of groups.
    records : sequence of PairRecord
        Outcomes of all pairs of clones of this ordered pair of groups, this one's among them.
    seed_parent, pollen_parent : str
        The clones, in this direction; a pair without outcomes takes what its group has learned.
    reporting : Reporting, optional
        Shares of outcomes reported; by default 0.9 and 0.6 (judgement).
    unknown_as : str, optional
        ``set`` and ``failed`` give the two bounds that silence leaves open.

    Returns
    -------
    Estimate
        Of C, 0–1, before modifiers, with this pair's own evidence; 0 for a refused pair.

    Raises
    ------
    ValueError
        If an outcome has a word or number out of range, or a success where none is possible.
    """
    if prior.refused:
        return Estimate(0.0, 0.0, 0.0, 0, 0)
    grid = compatibility_grid(prior.alpha, prior.beta)
    pair = (seed_parent, pollen_parent)
    joint, own = _joint_weight(grid, records, pair, reporting or Reporting(), unknown_as)
    return _estimate(grid.compatibility, np.asarray(joint.sum(axis=0), dtype=np.float64), [own])


def known_group_estimate(
    group_mean: float, outcomes: Sequence[Outcome], *, reporting: Reporting | None = None
) -> Estimate:
    """Estimate the compatibility of a pair of clones whose groups' mean is known exactly.

    Parameters
    ----------
    group_mean : float
        0–1.
    outcomes : sequence of Outcome
        All outcomes of this pair in this direction.
    reporting : Reporting, optional
        Shares of outcomes reported; by default 0.9 and 0.6 (judgement).

    Returns
    -------
    Estimate
        Of C, 0–1, before modifiers; at full live effect the conjugate Beta update.

    Raises
    ------
    ValueError
        If a word or number is out of range, or a success where none is possible.
    """
    own = PairRecord("", "", tuple(outcomes))
    joint, _ = _joint_weight(
        fixed_mean_grid(group_mean), [own], ("", ""), reporting or Reporting(), "reported rates"
    )
    return _estimate(fixed_mean_grid(group_mean).compatibility, joint[0], [own])


def pair_draws(
    prior: GroupPrior,
    records: Sequence[PairRecord],
    seed_parent: str,
    pollen_parent: str,
    *,
    modifier: float = 1.0,
    reporting: Reporting | None = None,
) -> FloatArray:
    """Draw the compatibility of one pair of clones after all outcomes so far.

    Parameters
    ----------
    prior, records, seed_parent, pollen_parent, reporting
        As in ``pair_estimate``.
    modifier : float, optional
        Product of the factors of fertility, heat and ploidy, 0–1.

    Returns
    -------
    FloatArray
        Shape (draws,), 0–1; without any record the draws of the prior.

    Raises
    ------
    ValueError
        As ``pair_estimate``, or if ``modifier`` is out of range.
    """
    if prior.refused or not records:
        return compatibility_draws(prior, modifier=modifier)
    check_range("modifier", modifier, 0.0, 1.0)
    grid = compatibility_grid(prior.alpha, prior.beta)
    pair = (seed_parent, pollen_parent)
    joint, _ = _joint_weight(grid, records, pair, reporting or Reporting(), "reported rates")
    cumulative = np.cumsum(joint, axis=1)
    reached = np.cumsum(cumulative[:, -1])
    row = np.minimum(np.searchsorted(reached / reached[-1], uniform_column("group_mean")), reached.size - 1)
    wanted = uniform_column("compatibility") * cumulative[row, -1]
    column = (cumulative[row] < wanted[:, None]).sum(axis=1)
    return np.asarray(modifier * grid.compatibility[column], dtype=np.float64)
