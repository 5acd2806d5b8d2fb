"""Explanations of an allocation, each held against solving the whole anew."""

import pytest

from exchange.matching.allocation import Allocation, Pair, Rule
from exchange.matching.allocation_explain import Explainer, OneMore, Passed
from tests.matching.allocation_case import (
    RULES,
    Case,
    every_allocation,
    proposed,
    random_case,
    served,
    simple_case,
    value,
)


def code_of(case: Case, wanted: str, rule: Rule = RULES[0]) -> str:
    return Explainer(case.allocate(rule)).explanation(wanted).reason.code


def doses_by_wanted(allocation: Allocation) -> dict[str, int]:
    found: dict[str, int] = {}
    for each in allocation.given:
        found[each.wanted] = found.get(each.wanted, 0) + each.doses
    return found


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("seed", range(12))
def test_one_more_dose_adds_what_a_new_run_with_it_finds(seed: int, rule: Rule) -> None:
    case = random_case(seed, offers=5, wants=7, growers=4)
    now = case.allocate(rule)
    explainer = Explainer(now)
    for offer in case.supplies:
        case.supplies[offer] += 1
        then = case.allocate(rule)
        case.supplies[offer] -= 1
        told = explainer.one_more(offer)
        before, after = doses_by_wanted(now), doses_by_wanted(then)
        assert told.growers_served == len(then.served) - len(now.served)
        assert told.expected_capsules == pytest.approx(
            then.expected_capsules - now.expected_capsules, abs=1e-12
        )
        assert told.goes_to == tuple(sorted(key for key in after if after[key] > before.get(key, 0)))


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("seed", range(12))
def test_the_next_best_is_the_best_way_without_the_offer(seed: int, rule: Rule) -> None:
    case = random_case(seed, offers=4, wants=4, growers=3, density=0.6)
    case.frozen, case.edges = {}, case.edges[:7]
    now = case.allocate(rule)
    explainer = Explainer(now)
    assert now.given
    for given in now.given:
        then = explainer.without(given.pair)
        best = max(key(case, way, rule) for way in every_allocation(case) if given.pair not in way)
        assert given.pair not in proposed(then)
        assert key(case, proposed(then), rule) == best
        told = next(
            each for each in explainer.explanation(given.wanted).next_best if each.without == given.offer
        )
        assert told.instead == tuple(each for each in then.given if each.wanted == given.wanted)
        assert told.expected_capsules == then.capsules_of(given.wanted)
        assert told.growers_served_change == len(then.served) - len(now.served)
        assert rule == RULES[1] or told.growers_served_change <= 0
        assert told.all_capsules_change == then.expected_capsules - now.expected_capsules


def key(case: Case, doses: dict[Pair, int], rule: Rule) -> tuple[int, int]:
    return len(served(case, doses)) if rule == RULES[0] else 0, value(case, doses, rule)


@pytest.mark.parametrize("rule", RULES)
def test_the_other_rule_stands_beside(rule: Rule) -> None:
    case = random_case(11, offers=6, wants=12, growers=8)
    case.proposed_before = {}
    other = case.allocate(RULES[1] if rule == RULES[0] else RULES[0])
    explainer = Explainer(case.allocate(rule))
    assert {key: explainer.explanation(key).capsules_by_other_rule for key in case.wants} == {
        key: other.capsules_of(key) for key in case.wants
    }
    assert any(other.capsules_of(key) != explainer.allocation.capsules_of(key) for key in case.wants)


class TestWhy:
    def test_it_is_the_best_there_could_be(self) -> None:
        case = simple_case({("a", "x"): (0.3,), ("b", "x"): (0.2,)}, {"a": 1, "b": 1}, {"x": "Ann"})
        told = Explainer(case.allocate()).explanation("x")
        assert told.reason.code == "allocation_best"
        assert told.reason.parameters == {"doses": 1, "flowers": 1, "offers": 2}
        assert told.passed == ()
        assert [(each.without, each.expected_capsules) for each in told.next_best] == [("a", 0.2)]
        assert told.next_best[0].all_capsules_change == pytest.approx(-0.1)

    def test_no_offer_suits(self) -> None:
        assert code_of(simple_case({}, {"a": 1}, {"x": "Ann"}), "x") == "allocation_no_offer"

    def test_all_flowers_have_an_agreed_dose(self) -> None:
        case = simple_case({("a", "x"): (0.3,), ("b", "x"): (0.2,)}, {"a": 1, "b": 1}, {"x": "Ann"})
        case.frozen = {("b", "x"): 1}
        assert code_of(case, "x") == "allocation_no_flower_left"

    def test_all_doses_are_agreed_away(self) -> None:
        case = simple_case({("a", "x"): (0.3,), ("a", "y"): (0.2,)}, {"a": 1}, {"x": "Ann", "y": "Ben"})
        case.frozen = {("a", "x"): 1}
        assert code_of(case, "y") == "allocation_none_left"

    def test_a_grower_without_any_came_first(self) -> None:
        chances = {("a", "x"): (0.5,), ("b", "x2"): (0.5,), ("a", "y"): (0.001,), ("c", "y"): (0.5,)}
        case = simple_case(chances, {"a": 1, "b": 1, "c": 0}, {"x": "Ann", "x2": "Ann", "y": "Ben"})
        told = Explainer(case.allocate()).explanation("x")
        assert told.reason.code == "allocation_growers_without_first"
        assert told.passed == (Passed("a", 0.5, ("y",)),)
        assert told.capsules_by_other_rule == 0.5
        assert [(each.offer, each.growers_served, each.goes_to) for each in told.one_more] == [
            ("a", 0, ("x",))
        ]
        assert told.one_more[0].expected_capsules == pytest.approx(0.5)

    def test_the_dose_counts_for_more_elsewhere(self) -> None:
        case = simple_case({("a", "x"): (0.3,), ("a", "y"): (0.2,)}, {"a": 1}, {"x": "Ann", "y": "Ben"})
        assert code_of(case, "y", "most capsules") == "allocation_more_elsewhere"

    def test_it_stays_as_it_was_proposed(self) -> None:
        case = simple_case({("a", "x"): (0.5,), ("b", "x"): (0.505,)}, {"a": 1, "b": 1}, {"x": "Ann"})
        case.proposed_before = {("a", "x"): 1}
        told = Explainer(case.allocate()).explanation("x")
        assert told.reason.code == "allocation_stays"
        assert told.passed == (Passed("b", 0.505, ()),)

    def test_another_s_proposal_stays(self) -> None:
        case = simple_case({("a", "x"): (0.5,), ("a", "y"): (0.505,)}, {"a": 1}, {"x": "Ann", "y": "Ben"})
        case.proposed_before = {("a", "x"): 1}
        assert code_of(case, "y", "most capsules") == "allocation_others_stay"

    def test_agreed_doses_are_no_part_of_what_is_passed(self) -> None:
        case = simple_case(
            {("a", "x"): (0.5, 0.4), ("b", "x"): (0.45,)}, {"a": 1, "b": 1}, {"x": "Ann"}, {"x": 2}
        )
        case.frozen = {("a", "x"): 1}
        told = Explainer(case.allocate()).explanation("x")
        assert [given.offer for given in told.given] == ["b"]
        assert (told.reason.code, told.passed) == ("allocation_best", ())

    def test_what_is_not_there_is_not_explained(self) -> None:
        explainer = Explainer(simple_case({("a", "x"): (0.5,)}, {"a": 1}, {"x": "Ann"}).allocate())
        for ask in (explainer.explanation, explainer.one_more):
            with pytest.raises(KeyError):
                ask("nothing")


def test_doses_that_nobody_takes_make_one_more_worth_nothing() -> None:
    case = simple_case({("a", "x"): (0.5,)}, {"a": 2}, {"x": "Ann"})
    assert Explainer(case.allocate()).one_more("a") == OneMore("a", 0, 0.0, ())


def test_one_more_dose_may_serve_one_more_grower_and_cost_capsules() -> None:
    chances = {("a", "x"): (0.9,), ("b", "x"): (0.1,), ("a", "y"): (0.2,), ("b", "z"): (0.5,)}
    case = simple_case(chances, {"a": 1, "b": 0}, {"x": "Ann", "y": "Ben", "z": "Ann"})
    case.frozen = {}
    told = Explainer(case.allocate()).one_more("b")
    assert told.growers_served == 1
    assert told.expected_capsules == pytest.approx(proposed_capsules(case, 1) - proposed_capsules(case, 0))


def proposed_capsules(case: Case, doses: int) -> float:
    case.supplies["b"] = doses
    return case.allocate().expected_capsules
