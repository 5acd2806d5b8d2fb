"""Outcomes of pollinations, and how likely each is at a given compatibility."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from exchange.science.arrays import FloatArray
from exchange.science.check import check_choice, check_range
from exchange.science.constants import (
    CONTROL_BOTH,
    CONTROL_NEITHER,
    CONTROL_ONE,
    REPORTED_FAILURE,
    REPORTED_SUCCESS,
)

Result = Literal["made", "set", "failed", "unknown", "lost"]
UnknownAs = Literal["reported rates", "set", "failed"]


@dataclass(frozen=True)
class Outcome:
    """One pollination: result, mean live effect of its pollen, modifier, and how it was controlled.

    ``emasculated`` (in bud) and ``bagged`` are True only when the grower said so. ``capsule_seen``
    matters for *lost*: a capsule that was seen and then lost is a success of the cross.
    """

    result: Result
    effect: float = 1.0
    modifier: float = 1.0
    emasculated: bool = False
    bagged: bool = False
    capsule_seen: bool = False

    @property
    def is_success(self) -> bool:
        """Whether a capsule was seen."""
        return self.result == "set" or (self.result == "lost" and self.capsule_seen)

    @property
    def is_known(self) -> bool:
        """Whether anybody saw what became of the flower."""
        return self.is_success or self.result == "failed"


@dataclass(frozen=True)
class PairRecord:
    """All outcomes of one seed parent × pollen parent; flagged when a plant of it is known sterile."""

    seed_parent: str
    pollen_parent: str
    outcomes: tuple[Outcome, ...]
    flagged_sterile: bool = False


@dataclass(frozen=True)
class Reporting:
    """Shares of capsules and of failures that are reported; silence is read in their light."""

    success: float = REPORTED_SUCCESS.value
    failure: float = REPORTED_FAILURE.value


def control_weight(outcome: Outcome) -> float:
    """Give the trust that a capsule comes from the pollen that was applied.

    Parameters
    ----------
    outcome : Outcome
        With what was said of emasculation in bud and bagging.

    Returns
    -------
    float
        1 for both, 0.7 for one, 0.3 for neither (judgement).
    """
    return (CONTROL_NEITHER, CONTROL_ONE, CONTROL_BOTH)[outcome.emasculated + outcome.bagged].value


def outcome_likelihood(
    outcome: Outcome,
    success_chance: FloatArray,
    reporting: Reporting,
    unknown_as: UnknownAs = "reported rates",
) -> FloatArray:
    """Give the likelihood of one outcome at each chance of success.

    Parameters
    ----------
    outcome : Outcome
        The result and its control; its effect and modifier are not used here.
    success_chance : FloatArray
        Compatibility × live effect × modifier, any shape, 0–1.
    reporting : Reporting
        Shares reported, 0–1, not both 1.
    unknown_as : str, optional
        ``reported rates``, or ``set`` / ``failed`` for the two bounds.

    Returns
    -------
    FloatArray
        Shape of ``success_chance``; ones where the outcome tells nothing.

    Raises
    ------
    ValueError
        If a word or a number is out of range.

    Notes
    -----
    A success of trust w is w·p + (1 − w)·1: the rest is as if nobody knew the outcome, whose
    likelihood is p + (1 − p). Silence is (1 − ρ₁)·p + (1 − ρ₀)·(1 − p).
    """
    check_choice("result", outcome.result, get_args(Result))
    check_choice("unknown_as", unknown_as, get_args(UnknownAs))
    if outcome.is_success:
        trust = control_weight(outcome)
        return trust * success_chance + (1.0 - trust)
    if outcome.result == "failed":
        return 1.0 - success_chance
    if outcome.result != "unknown":
        return np.ones_like(success_chance)
    if unknown_as != "reported rates":
        return success_chance if unknown_as == "set" else 1.0 - success_chance
    silent_success, silent_failure = _silence(reporting)
    return silent_success * success_chance + silent_failure * (1.0 - success_chance)


def _silence(reporting: Reporting) -> tuple[float, float]:
    check_range("reporting.success", reporting.success, 0.0, 1.0)
    check_range("reporting.failure", reporting.failure, 0.0, 1.0)
    if reporting.success == 1.0 and reporting.failure == 1.0:
        raise ValueError(
            "reporting is complete, yet an outcome is unknown; allowed: at least one share below 1."
        )
    return 1.0 - reporting.success, 1.0 - reporting.failure


def _live_chance(outcome: Outcome) -> float:
    check_range("effect", outcome.effect, 0.0, 1.0)
    check_range("modifier", outcome.modifier, 0.0, 1.0)
    chance = outcome.effect * outcome.modifier
    if chance == 0.0 and outcome.is_success and control_weight(outcome) == 1.0:
        raise ValueError(
            "effect × modifier is 0 for a controlled success; allowed: above 0 "
            "(a plant that set a capsule is not sterile: correct its fertility first)."
        )
    return chance


def log_likelihood(
    outcomes: Sequence[Outcome],
    compatibility: FloatArray,
    reporting: Reporting,
    unknown_as: UnknownAs = "reported rates",
) -> FloatArray:
    """Give the log-likelihood of all outcomes of one pair of clones at each compatibility.

    Parameters
    ----------
    outcomes : sequence of Outcome
        Of one seed parent × pollen parent; effects and modifiers 0–1.
    compatibility : FloatArray
        Shape (k,), 0–1.
    reporting : Reporting
        Shares reported, 0–1, not both 1.
    unknown_as : str, optional
        As in ``outcome_likelihood``.

    Returns
    -------
    FloatArray
        Shape (k,); minus infinity where an outcome is impossible.

    Raises
    ------
    ValueError
        If a word or number is out of range, or a controlled success has no chance at all.
    """
    total = np.zeros_like(compatibility)
    for outcome in outcomes:
        chance = _live_chance(outcome)
        # A cross that cannot succeed teaches nothing, whatever is assumed of its end.
        if chance > 0.0 or outcome.is_success:
            with np.errstate(divide="ignore"):
                total += np.log(outcome_likelihood(outcome, compatibility * chance, reporting, unknown_as))
    return total


def merged_records(records: Sequence[PairRecord]) -> dict[tuple[str, str], PairRecord]:
    """Join records of the same ordered clones: split in two they would count as independent pairs.

    Parameters
    ----------
    records : sequence of PairRecord
        In any order.

    Returns
    -------
    dict
        One record for each (seed parent, pollen parent); flagged if any of its parts is.
    """
    pairs: dict[tuple[str, str], PairRecord] = {}
    for record in records:
        key = (record.seed_parent, record.pollen_parent)
        known = pairs.get(key, PairRecord(*key, outcomes=()))
        pairs[key] = PairRecord(
            *key,
            outcomes=known.outcomes + record.outcomes,
            flagged_sterile=known.flagged_sterile or record.flagged_sterile,
        )
    return pairs
