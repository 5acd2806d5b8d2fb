"""What is known beforehand of a cross: ordered pairs of groups, and draws for a pair of clones."""

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import cast, get_args

import numpy as np
from scipy.special import betaincinv

from exchange.science.arrays import FloatArray
from exchange.science.check import check_choice, check_positive, check_range
from exchange.science.constants import CLONE_CONCENTRATION, DRAW_COUNT, Status
from exchange.science.draws import uniform_column
from exchange.science.group import GROUPS, group_key

PRIOR_FILE = Path(__file__).resolve().parent / "data" / "compat_prior.csv"
PRIOR_COLUMNS = (
    "seed_group",
    "pollen_group",
    "alpha",
    "beta",
    "refused",
    "justification",
    "source",
    "status",
)
# A Beta whose mean is exactly 0 or 1 has no density; so near an end the draw is that end anyway.
MEAN_EDGE = 1e-12


@dataclass(frozen=True)
class GroupPrior:
    """Beta(alpha, beta) of the mean compatibility of an ordered pair of groups, seed group first."""

    seed_group: str
    pollen_group: str
    alpha: float
    beta: float
    refused: bool
    justification: str
    source: str
    status: Status
    hybrid: bool = False

    @property
    def mean(self) -> float:
        """Mean chance that one correctly done pollination sets a capsule, 0–1; 0 when refused."""
        return 0.0 if self.refused else self.alpha / (self.alpha + self.beta)


def _number(row: Mapping[str, str], field: str, line: int) -> float:
    try:
        return float(row[field])
    except ValueError:
        raise ValueError(f"compatibility row {line}: {field} is {row[field]!r}; allowed: a number.") from None


def _group(row: Mapping[str, str], field: str, line: int) -> str:
    try:
        return group_key(row[field])
    except ValueError as error:
        raise ValueError(f"compatibility row {line}: {field}: {error}") from None


def _read_row(row: Mapping[str, str], line: int) -> GroupPrior:
    for field in PRIOR_COLUMNS:
        if not (row[field] or "").strip():
            raise ValueError(f"compatibility row {line}: {field} is empty; allowed: a value in every column.")
    check_choice(f"compatibility row {line}: status", row["status"], get_args(Status))
    check_choice(f"compatibility row {line}: refused", row["refused"], ("yes", "no"))
    refused = row["refused"] == "yes"
    alpha, beta = _number(row, "alpha", line), _number(row, "beta", line)
    if not refused:
        check_positive(f"compatibility row {line}: alpha", alpha)
        check_positive(f"compatibility row {line}: beta", beta)
    return GroupPrior(
        seed_group=_group(row, "seed_group", line),
        pollen_group=_group(row, "pollen_group", line),
        alpha=alpha,
        beta=beta,
        refused=refused,
        justification=row["justification"],
        source=row["source"],
        status=cast(Status, row["status"]),
    )


def read_group_priors(path: Path) -> dict[tuple[str, str], GroupPrior]:
    """Read a table of group priors and insist that it is whole.

    Parameters
    ----------
    path : Path
        CSV file with the columns ``PRIOR_COLUMNS``.

    Returns
    -------
    dict
        One prior for each ordered pair (seed group, pollen group) of the seven groups.

    Raises
    ------
    ValueError
        Naming the row and field of a missing column, a wrong number, an empty source, an unknown
        status, a pair given twice or a pair left out.
    """
    with path.open(encoding="utf-8", newline="") as lines:
        reader = csv.DictReader(lines)
        missing = [column for column in PRIOR_COLUMNS if column not in (reader.fieldnames or ())]
        if missing:
            raise ValueError(
                f"{path.name} lacks the column {missing[0]}; allowed: {', '.join(PRIOR_COLUMNS)}."
            )
        priors: dict[tuple[str, str], GroupPrior] = {}
        for line, row in enumerate(reader, start=2):
            prior = _read_row(row, line)
            pair = (prior.seed_group, prior.pollen_group)
            if pair in priors:
                raise ValueError(
                    f"compatibility row {line}: {pair[0]} × {pair[1]} is given twice; allowed: once."
                )
            priors[pair] = prior
    for pair in ((seed, pollen) for seed in GROUPS for pollen in GROUPS):
        if pair not in priors:
            raise ValueError(f"{path.name} lacks {pair[0]} × {pair[1]}; allowed: every ordered pair, once.")
    return priors


@cache
def _priors() -> Mapping[tuple[str, str], GroupPrior]:
    return MappingProxyType(read_group_priors(PRIOR_FILE))


def group_priors() -> dict[tuple[str, str], GroupPrior]:
    """Give the prior of every ordered pair of groups.

    Returns
    -------
    dict
        49 rows, keyed (seed group, pollen group); a fresh dictionary on each call.

    Notes
    -----
    Each row carries its own source and status; almost no source states how many flowers were
    pollinated, so the weights (alpha + beta, 3 to 50) are judgement throughout.
    """
    return dict(_priors())


def group_prior(seed_group: str, pollen_group: str) -> GroupPrior:
    """Give the prior of one ordered pair of groups; the direction counts.

    Parameters
    ----------
    seed_group, pollen_group : str
        Group words as ``group_key`` takes them.

    Returns
    -------
    GroupPrior
        The row of the table.

    Raises
    ------
    ValueError
        If a word names no group.
    """
    return _priors()[group_key(seed_group), group_key(pollen_group)]


def mixed_prior(seed_groups: tuple[str, ...], pollen_groups: tuple[str, ...]) -> GroupPrior:
    """Give the prior of a cross whose parents may be hybrids between groups.

    Parameters
    ----------
    seed_groups, pollen_groups : tuple of str
        Groups that the seed parent and the pollen parent descend from, at least one each; a group
        named twice counts twice.

    Returns
    -------
    GroupPrior
        The plain row for two pure parents; else one with ``hybrid`` set, whose alpha and beta are
        the means over the rows of all combinations; refused if any of them is.

    Raises
    ------
    ValueError
        If a list is empty or a word names no group.

    Notes
    -----
    Judgement: rows are averaged parameter by parameter, so the row with more evidence behind it
    weighs more. No fertility count of a cultivar of mixed origin was found.
    """
    if not seed_groups or not pollen_groups:
        raise ValueError("groups of a parent are empty; allowed: at least one group.")
    rows = [group_prior(seed, pollen) for seed in seed_groups for pollen in pollen_groups]
    if len(set(rows)) == 1:
        return rows[0]
    return GroupPrior(
        seed_group=" + ".join(dict.fromkeys(row.seed_group for row in rows)),
        pollen_group=" + ".join(dict.fromkeys(row.pollen_group for row in rows)),
        alpha=sum(row.alpha for row in rows) / len(rows),
        beta=sum(row.beta for row in rows) / len(rows),
        refused=any(row.refused for row in rows),
        justification="mean of the parents' rows; no count of a cultivar of mixed origin found",
        source=" | ".join(dict.fromkeys(row.source for row in rows)),
        status="judgement",
        hybrid=True,
    )


def clone_shapes(group_mean: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the two shapes of the Beta of a pair of clones round the mean of their groups.

    Parameters
    ----------
    group_mean : FloatArray
        Any shape, 0–1.

    Returns
    -------
    tuple of FloatArray
        K·μ and K·(1 − μ), both above zero, shape of ``group_mean``.

    Raises
    ------
    ValueError
        If a mean is out of range.
    """
    check_range("group_mean", group_mean, 0.0, 1.0)
    mean = np.clip(group_mean, MEAN_EDGE, 1.0 - MEAN_EDGE)
    return CLONE_CONCENTRATION.value * mean, CLONE_CONCENTRATION.value * (1.0 - mean)


def group_mean_draws(prior: GroupPrior, *, count: int | None = None) -> FloatArray:
    """Draw the mean compatibility of an ordered pair of groups.

    Parameters
    ----------
    prior : GroupPrior
        Of the ordered pair.
    count : int, optional
        Only so many of the first draws; by default all.

    Returns
    -------
    FloatArray
        Shape (draws,), 0–1; all zero for a refused pair.
    """
    if prior.refused:
        return np.zeros(int(DRAW_COUNT.value))[:count]
    drawn = betaincinv(prior.alpha, prior.beta, uniform_column("group_mean")[:count])
    return np.asarray(drawn, dtype=np.float64)


def compatibility_draws(prior: GroupPrior, *, modifier: float = 1.0, count: int | None = None) -> FloatArray:
    """Draw the chance that one pollination of a pair of clones, with live pollen, sets a capsule.

    Parameters
    ----------
    prior : GroupPrior
        Of the ordered pair of groups.
    modifier : float, optional
        Product of the factors of fertility, heat and ploidy, 0–1.
    count : int, optional
        Only so many of the first draws; by default all.

    Returns
    -------
    FloatArray
        Shape (draws,), 0–1; all zero for a refused pair.

    Raises
    ------
    ValueError
        If ``modifier`` is out of range.

    Notes
    -----
    C ~ Beta(Kμ, K(1−μ)) with μ ~ Beta(α, β), K = 5 (judgement), both by inverse distribution
    function of the common points. The mean is that of the prior; the median may be far below it.
    """
    check_range("modifier", modifier, 0.0, 1.0)
    if prior.refused:
        return np.zeros(int(DRAW_COUNT.value))[:count]
    shapes = clone_shapes(group_mean_draws(prior, count=count))
    drawn = betaincinv(*shapes, uniform_column("compatibility")[:count])
    return np.asarray(modifier * drawn, dtype=np.float64)
