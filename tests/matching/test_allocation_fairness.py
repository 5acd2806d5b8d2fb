"""What the default rule guarantees, and what it costs."""

import sys
from collections.abc import Collection

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.matching.allocation import Pair
from exchange.matching.allocation_report import price_of_rule
from tests.matching.allocation_case import Case, chances_by_pair, random_case, simple_case

CASES = st.builds(
    random_case,
    st.integers(0, 10**6),
    offers=st.integers(1, 6),
    wants=st.integers(2, 9),
    growers=st.integers(2, 7),
    density=st.sampled_from([0.2, 0.4, 0.8]),
)


def doses_left(case: Case) -> dict[str, int]:
    return {
        offer: doses - sum(count for pair, count in case.frozen.items() if pair[0] == offer)
        for offer, doses in case.supplies.items()
    }


def usable_offers(case: Case) -> dict[str, set[str]]:
    """Offers of which each grower could take one dose more, from the definition."""
    found: dict[str, set[str]] = {grower: set() for grower in case.growers}
    for (offer, wanted), values in chances_by_pair(case).items():
        agreed = sum(count for pair, count in case.frozen.items() if pair[1] == wanted)
        if len(values) > case.frozen.get((offer, wanted), 0) and case.wants[wanted].flowers > agreed:
            found[case.wants[wanted].grower].add(offer)
    return found


def can_all_be_served(case: Case, growers: Collection[str]) -> bool:
    """Whether every one of the growers can have a dose at the same time, by augmenting paths."""
    usable, left = usable_offers(case), doses_left(case)
    holders: dict[str, list[str]] = {offer: [] for offer in case.supplies}

    def serve(grower: str, seen: set[str]) -> bool:
        for offer in sorted(usable[grower] - seen):
            seen.add(offer)
            if len(holders[offer]) < left[offer]:
                holders[offer].append(grower)
                return True
            for place, holder in enumerate(holders[offer]):
                if serve(holder, seen):
                    holders[offer][place] = grower
                    return True
        return False

    with_agreed = {case.wants[wanted].grower for (_, wanted), count in case.frozen.items() if count}
    return all(serve(grower, set()) for grower in sorted(set(growers) - with_agreed))


@settings(max_examples=150, deadline=None)
@given(CASES)
def test_nobody_left_out_could_be_served_beside_those_who_are(case: Case) -> None:
    result = case.allocate()
    assert can_all_be_served(case, result.served)
    for grower in set(case.growers) - result.served:
        assert not can_all_be_served(case, result.served | {grower})


@settings(max_examples=150, deadline=None)
@given(CASES)
def test_nobody_has_a_second_dose_that_another_without_could_use(case: Case) -> None:
    result = case.allocate()
    usable = usable_offers(case)
    count = dict.fromkeys(case.growers, 0)
    for (_, wanted), doses in result.doses.items():
        count[case.wants[wanted].grower] += doses
    for each in result.given:
        if count[each.grower] > 1:
            assert not [
                grower for grower in case.growers if not count[grower] and each.offer in usable[grower]
            ]
    for offer, left in result.left.items():
        assert not left or not [
            grower for grower in case.growers if not count[grower] and offer in usable[grower]
        ]


def test_the_check_finds_an_unfair_allocation() -> None:
    chances: dict[Pair, tuple[float, ...]] = {("a", "x"): (0.5, 0.4), ("a", "y"): (0.01,)}
    case = simple_case(chances, {"a": 2}, {"x": "Ann", "y": "Ben"}, {"x": 2})
    unfair = case.allocate("most capsules").served
    assert unfair == {"Ann"}
    assert can_all_be_served(case, unfair | {"Ben"})
    case.supplies["a"] = 1
    assert not can_all_be_served(case, unfair | {"Ben"})


@pytest.mark.parametrize(("offers", "plenty"), [(60, True), (20, False), (8, False)])
def test_the_price_of_the_rule_is_told(offers: int, plenty: bool, capsys: pytest.CaptureFixture[str]) -> None:
    case = random_case(offers, offers=offers, wants=40, growers=16, density=0.3)
    case.frozen, case.proposed_before = {}, {}
    price = price_of_rule(case.allocate())
    most = case.allocate("most capsules")
    with capsys.disabled():
        sys.stdout.write(
            f"\nprice of the rule, {sum(case.supplies.values())} doses for {len(case.growers)} growers: "
            f"{price.lost_share:.1%} of {price.most_capsules:.2f} capsules; growers served "
            f"{price.growers_served} instead of {price.growers_served_most_capsules}\n"
        )
    assert price.most_capsules == most.expected_capsules
    assert price.lost_capsules == pytest.approx(most.expected_capsules - case.allocate().expected_capsules)
    assert (price.growers_served, price.growers_served_most_capsules) == (
        len(case.allocate().served),
        len(most.served),
    )
    assert price.lost_share < 0.05 if plenty else price.growers_served > price.growers_served_most_capsules
