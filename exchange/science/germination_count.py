"""One counted germination test: its share, how sure that is, and what to do next."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, NamedTuple, get_args

import numpy as np

from exchange.science.assay import GerminationAssay, check_same_method
from exchange.science.check import check_choice, check_range
from exchange.science.constants import (
    GRAINS_PER_REPLICATE_ADVISED,
    REPLICATE_CORRELATION,
    REPLICATES_ADVISED,
    REPLICATES_FULL,
)
from exchange.science.proportion import (
    effective_count,
    grains_for_half_width,
    score_interval,
    wilson_interval,
)
from exchange.science.replicate import ReplicateComparison, check_replicates, compare_replicates
from exchange.science.viability import TREATMENTS, Treatment

Method = Literal["in_vitro", "stigmatic_fluid", "stain"]
METHODS: tuple[str, ...] = get_args(Method)
Clumping = Literal["assumed", "observed"]


class Way(NamedTuple):
    """How a test was done: method, medium, and when a grain counts as germinated.

    Rules in use differ: a tube at least as long as the grain is wide (a teaching protocol; common
    practice), longer than that (ILRI biometrics, case study 9, read), or twice as long (COLOSS BEEBOOK,
    pollination, 3.1.5.2, read). None is better founded for *Nymphaea*: it is stated, and kept to.
    """

    method: str
    medium: str
    rule: str


@dataclass(frozen=True)
class CountedShare:
    """The share of one test with two intervals of 95 %, by Wilson's formula.

    Parameters
    ----------
    germinated, counted : int
        Grains of all replicates together.
    share : float
        0–1.
    low, high : float
        The interval to go by: grains of one replicate resemble each other.
    independent_low, independent_high : float
        The interval if each grain were independent; never wider.
    effective_grains : float
        Independent grains that the clumped ones are worth, 1 to ``counted``.
    clumping : {"assumed", "observed"}
        Whether that rests on the correlation assumed of all pollen, or on this test's own scatter.
    """

    germinated: int
    counted: int
    share: float
    low: float
    high: float
    independent_low: float
    independent_high: float
    effective_grains: float
    clumping: Clumping


@dataclass(frozen=True)
class MoreGrains:
    """Grains still to count for a wanted half-width, at the share counted so far; 0: enough.

    Parameters
    ----------
    independent : int
        The least, were each grain independent.
    clumped : int
        In replicates of the present size with grains as clumped as reckoned; never fewer.
    """

    independent: int
    clumped: int


@dataclass(frozen=True)
class Advice:
    """One thing to know or to do: a stable code and the parameters its sentence needs."""

    code: str
    parameters: Mapping[str, str | int | float] = field(default_factory=dict)


@dataclass(frozen=True)
class GerminationCount:
    """What one test says, and what to do next.

    Parameters
    ----------
    share : CountedShare
        Share and intervals.
    comparison : ReplicateComparison or None
        None where there was one replicate.
    more : MoreGrains or None
        None where no width was wanted, or replicates disagree: that is to be settled first.
    advice : tuple of Advice
        The most pressing first.
    """

    share: CountedShare
    comparison: ReplicateComparison | None
    more: MoreGrains | None
    advice: tuple[Advice, ...]


def counted_share(germinated: Sequence[int], counted: Sequence[int]) -> CountedShare:
    """Give the share of one test and how sure it is.

    Parameters
    ----------
    germinated, counted : sequence of int
        Grains of each replicate, one replicate or more.

    Returns
    -------
    CountedShare
        Share and both intervals, 0–1; at none and all they end at 0 and 1.

    Raises
    ------
    ValueError
        If there is no replicate or a count is out of range.

    Notes
    -----
    Effective grains n / (1 + (m − 1) ρ), ρ = 0.02 (judgement), with m the mean size weighted by size,
    which is exact for the pooled share of unequal replicates (Kish 1965, Survey Sampling [memory]). Where
    the replicates disagree and their own scatter, Pearson's chi-square over its degrees of freedom, says
    more than that, n is divided by the scatter instead (judgement).
    """
    check_replicates(germinated, counted)
    grains, total = sum(germinated), sum(counted)
    worth = effective_count(total, _weighted_size(counted))
    clumping: Clumping = "assumed"
    if len(counted) > 1 and not compare_replicates(germinated, counted).agree:
        scattered = total / _scatter(germinated, counted)
        if scattered < worth:
            worth, clumping = scattered, "observed"
    share = grains / total
    low, high = score_interval(share, worth)
    return CountedShare(grains, total, share, low, high, *wilson_interval(grains, total), worth, clumping)


def _weighted_size(counted: Sequence[int]) -> float:
    return sum(size * size for size in counted) / sum(counted)


def _scatter(germinated: Sequence[int], counted: Sequence[int]) -> float:
    grains, sizes = np.asarray(germinated, dtype=np.float64), np.asarray(counted, dtype=np.float64)
    mean = grains.sum() / sizes.sum()
    square = ((grains - sizes * mean) ** 2 / (sizes * mean * (1.0 - mean))).sum()
    return float(square / (len(sizes) - 1))


def more_grains(found: CountedShare, half_width_percent: float) -> MoreGrains:
    """Give how many more grains a wanted half-width takes.

    Parameters
    ----------
    found : CountedShare
        What was counted so far.
    half_width_percent : float
        Half of the wanted 95 % interval's width, 0.5 to 50 points of per cent.

    Returns
    -------
    MoreGrains
        Grains, 0 or more.

    Raises
    ------
    ValueError
        If ``half_width_percent`` is out of range.

    Notes
    -----
    Exact for Wilson's interval at the present share (see ``grains_for_half_width``), which will move.
    """
    check_range("half_width_percent", half_width_percent, 0.5, 50.0)
    needed = grains_for_half_width(found.share, half_width_percent / 100.0)
    # Rounding of the ratio must not ask for a grain more than is needed.
    clumped = int(np.ceil(needed * found.counted / found.effective_grains - 1e-9))
    return MoreGrains(max(0, needed - found.counted), max(0, clumped - found.counted))


def germination_count(
    germinated: Sequence[int],
    counted: Sequence[int],
    way: Way,
    *,
    treatment: Treatment,
    rehydrated: bool | None,
    wanted_half_width_percent: float | None = None,
) -> GerminationCount:
    """Reckon one test: share, whether its replicates agree, and what to do next.

    Parameters
    ----------
    germinated, counted : sequence of int
        Grains of each replicate, one replicate or more; of a stain, those stained.
    way : Way
        How it was done.
    treatment : {"fresh", "dried", "frozen"}
        Of the lot.
    rehydrated : bool or None
        Whether dried or frozen pollen stood in humid air before the test; None: not stated.
    wanted_half_width_percent : float, optional
        As in ``more_grains``.

    Returns
    -------
    GerminationCount
        Share, comparison, further grains and advice.

    Raises
    ------
    ValueError
        If an input is out of range, or method or treatment is none of those known.
    """
    check_choice("method", way.method, METHODS)
    check_choice("treatment", treatment, TREATMENTS)
    share = counted_share(germinated, counted)
    comparison = compare_replicates(germinated, counted) if len(counted) > 1 else None
    settled, wanted = comparison is None or comparison.agree, wanted_half_width_percent
    more = more_grains(share, wanted) if settled and wanted is not None else None
    advice = (
        *_of_rehydration(way, treatment, rehydrated),
        *_of_replicates(comparison, len(counted)),
        *_of_ends(share, way),
        *_of_count(share),
        *_of_width(more, wanted),
        *_of_clumping(share),
        *_of_way(way),
    )
    return GerminationCount(share, comparison, more, advice)


def _of_rehydration(way: Way, treatment: str, rehydrated: bool | None) -> tuple[Advice, ...]:
    # Pecan pollen stored cold germinated like fresh only after it was rehydrated (Yates & Sparks,
    # HortScience [abstract]). A stain does not need it.
    if way.method == "stain" or treatment == "fresh" or rehydrated is True:
        return ()
    return (Advice("rehydration_not_stated" if rehydrated is None else "rehydrate_first"),)


def _of_replicates(comparison: ReplicateComparison | None, replicates: int) -> tuple[Advice, ...]:
    # That a test out of tolerance is made again is 7 CFR 201.55 (a); counting again first, which costs no
    # pollen, and adding a replicate to less than a full test are judgement.
    if comparison is None:
        return (Advice("replicate_alone"),)
    if comparison.agree:
        return ()
    apart = {
        "range_percent": comparison.range_percent,
        "tolerated_percent": comparison.tolerated_percent,
    }
    full = replicates >= REPLICATES_FULL.value
    return (
        Advice("replicates_disagree", apart),
        Advice("count_again"),
        Advice("prepare_anew") if full else Advice("another_replicate"),
    )


def _of_ends(found: CountedShare, way: Way) -> tuple[Advice, ...]:
    stained = "stained" if way.method == "stain" else "germinated"
    if found.germinated == 0:
        highest = {"counted": found.counted, "high_percent": 100.0 * found.high}
        return (Advice(f"nothing_{stained}", highest),)
    if found.germinated == found.counted:
        lowest = {"counted": found.counted, "low_percent": 100.0 * found.low}
        return (Advice(f"all_{stained}", lowest),)
    return ()


def _of_count(found: CountedShare) -> tuple[Advice, ...]:
    replicates, grains = int(REPLICATES_ADVISED.value), int(GRAINS_PER_REPLICATE_ADVISED.value)
    if found.counted >= replicates * grains:
        return ()
    few = {"counted": found.counted, "replicates": replicates, "grains_per_replicate": grains}
    return (Advice("too_few_grains", few),)


def _of_width(more: MoreGrains | None, wanted: float | None) -> tuple[Advice, ...]:
    if more is None or wanted is None:
        return ()
    if more.clumped == 0:
        return (Advice("enough_grains", {"half_width_percent": wanted}),)
    lacking = {"half_width_percent": wanted, "more": more.independent, "more_clumped": more.clumped}
    return (Advice("more_grains", lacking),)


def _of_clumping(found: CountedShare) -> tuple[Advice, ...]:
    worth = {"counted": found.counted, "effective_grains": found.effective_grains}
    if found.clumping == "observed":
        return (Advice("clumping_observed", worth),)
    return (Advice("clumping_assumed", {**worth, "correlation": REPLICATE_CORRELATION.value}),)


def _of_way(way: Way) -> tuple[Advice, ...]:
    stated = Advice("same_way_only", way._asdict())
    return (Advice("stain_upper_bound"), stated) if way.method == "stain" else (stated,)


def sorted_by_way(assays: Sequence[GerminationAssay]) -> dict[Way, tuple[GerminationAssay, ...]]:
    """Sort tests by the way they were done.

    Parameters
    ----------
    assays : sequence of GerminationAssay
        Tests of one lot.

    Returns
    -------
    dict
        Tests of each way, in the order given.
    """
    found: dict[Way, tuple[GerminationAssay, ...]] = {}
    for assay in assays:
        way = Way(assay.method, assay.medium, assay.rule)
        found[way] = (*found.get(way, ()), assay)
    return found


def pooled_share(assays: Sequence[GerminationAssay]) -> CountedShare:
    """Give the share of several tests of one lot, of one way and one age, put together.

    Parameters
    ----------
    assays : sequence of GerminationAssay
        One or more.

    Returns
    -------
    CountedShare
        As if all replicates were of one test.

    Raises
    ------
    ValueError
        If method, medium, rule or age differ: those are never pooled.
    """
    check_same_method(assays)
    for assay in assays[1:]:
        if not np.array_equal(assay.thermal_age_days, assays[0].thermal_age_days):
            raise ValueError("thermal_age_days differs; allowed: tests of one age together.")
    return counted_share(
        [count for assay in assays for count in assay.germinated],
        [count for assay in assays for count in assay.counted],
    )
