"""Likelihood of an outcome: what each result, its control and silence say."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.science.arrays import FloatArray
from exchange.science.outcome import (
    Outcome,
    PairRecord,
    Reporting,
    control_weight,
    log_likelihood,
    merged_records,
    outcome_likelihood,
)
from tests.published import Row, cases

CHANCES: FloatArray = np.array([0.0, 0.25, 1.0])
COMPLETE = Reporting(1.0, 1.0)


@pytest.mark.parametrize("row", cases("compatibility", "control_weight"))
def test_trust_in_a_capsule_follows_its_control(row: Row) -> None:
    row.check(control_weight(Outcome("set", **row.inputs)))


@pytest.mark.parametrize("row", cases("compatibility", "silence_likelihood"))
def test_silence_leans_towards_failure(row: Row) -> None:
    chance = np.array([float(row.inputs["success_chance"])])
    row.check(outcome_likelihood(Outcome("unknown"), chance, Reporting())[0])


def test_a_controlled_success_and_a_failure_are_the_plain_chances() -> None:
    success = Outcome("set", emasculated=True, bagged=True)
    np.testing.assert_array_equal(outcome_likelihood(success, CHANCES, Reporting()), CHANCES)
    np.testing.assert_array_equal(outcome_likelihood(Outcome("failed"), CHANCES, Reporting()), 1.0 - CHANCES)


def test_an_uncontrolled_success_cannot_rule_out_that_the_cross_never_works() -> None:
    likelihood = outcome_likelihood(Outcome("set"), CHANCES, Reporting())
    np.testing.assert_allclose(likelihood, 0.3 * CHANCES + 0.7)


@pytest.mark.parametrize("outcome", [Outcome("made"), Outcome("lost")])
def test_a_flower_still_waiting_or_lost_before_the_check_says_nothing(outcome: Outcome) -> None:
    np.testing.assert_array_equal(outcome_likelihood(outcome, CHANCES, Reporting()), np.ones(3))
    assert not outcome.is_known


def test_a_capsule_seen_and_then_lost_is_a_success() -> None:
    lost = Outcome("lost", emasculated=True, bagged=True, capsule_seen=True)
    np.testing.assert_array_equal(outcome_likelihood(lost, CHANCES, Reporting()), CHANCES)
    assert lost.is_known


def test_the_bounds_of_silence_are_a_success_and_a_failure() -> None:
    unknown = Outcome("unknown")
    np.testing.assert_array_equal(outcome_likelihood(unknown, CHANCES, COMPLETE, "set"), CHANCES)
    np.testing.assert_array_equal(outcome_likelihood(unknown, CHANCES, COMPLETE, "failed"), 1.0 - CHANCES)


@given(st.floats(0.0, 0.99))
def test_silence_says_nothing_when_both_results_are_reported_alike(share: float) -> None:
    likelihood = outcome_likelihood(Outcome("unknown"), CHANCES, Reporting(share, share))
    np.testing.assert_allclose(likelihood, likelihood[0])


def test_failures_with_half_alive_pollen_tell_less() -> None:
    weak, strong = (
        log_likelihood([Outcome("failed", effect=effect)], CHANCES, Reporting()) for effect in (0.5, 1.0)
    )
    np.testing.assert_allclose(np.exp(weak), 1.0 - 0.5 * CHANCES)
    assert weak[2] > strong[2] == -np.inf


def test_the_modifier_explains_a_failure_too() -> None:
    own = log_likelihood([Outcome("failed", effect=0.5, modifier=0.2)], CHANCES, Reporting())
    np.testing.assert_allclose(np.exp(own), 1.0 - 0.1 * CHANCES)


@pytest.mark.parametrize("result", ["failed", "unknown"])
def test_dead_pollen_teaches_nothing_of_the_pair(result: str) -> None:
    dead = Outcome(result, effect=0.0)  # type: ignore[arg-type]
    np.testing.assert_array_equal(log_likelihood([dead], CHANCES, Reporting()), np.zeros(3))


def test_a_controlled_success_of_a_sterile_plant_is_refused_with_advice() -> None:
    wrong = Outcome("set", modifier=0.0, emasculated=True, bagged=True)
    with pytest.raises(ValueError, match="correct its fertility first"):
        log_likelihood([wrong], CHANCES, Reporting())


@pytest.mark.parametrize(
    ("outcome", "reporting", "sentence"),
    [
        (Outcome("failed", effect=1.5), Reporting(), r"effect is 1\.5; allowed: 0 to 1"),
        (Outcome("failed", modifier=float("nan")), Reporting(), "modifier is nan; allowed: 0 to 1"),
        (Outcome("dead"), Reporting(), "result is 'dead'; allowed: made, set, failed, unknown, lost"),  # type: ignore[arg-type]
        (Outcome("unknown"), Reporting(success=2.0), r"reporting\.success is 2; allowed: 0 to 1"),
        (Outcome("unknown"), COMPLETE, "reporting is complete, yet an outcome is unknown"),
    ],
)
def test_impossible_input_is_refused(outcome: Outcome, reporting: Reporting, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        log_likelihood([outcome], CHANCES, reporting)


def test_records_of_one_pair_are_joined_but_never_with_the_reverse_direction() -> None:
    failed, success = Outcome("failed"), Outcome("set")
    merged = merged_records(
        [
            PairRecord("a", "b", (failed,)),
            PairRecord("b", "a", (success,)),
            PairRecord("a", "b", (success,), flagged_sterile=True),
        ]
    )
    assert merged == {
        ("a", "b"): PairRecord("a", "b", (failed, success), flagged_sterile=True),
        ("b", "a"): PairRecord("b", "a", (success,)),
    }
