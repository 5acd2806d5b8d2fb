"""The report of an allocation: hand-made figures, and sums that must agree."""

import pytest

from exchange.matching.allocation import Edge, GrowerLabels, Rule, Want
from exchange.matching.allocation_report import (
    AllocationReport,
    Heading,
    Loss,
    PriceOfRule,
    ReportRow,
    allocation_report,
)
from tests.matching.allocation_case import RULES, Case, random_case


def hand_made() -> Case:
    """Ann has two flowers and good pollen near; Ben, new and far, a wide cross that wants the same."""
    return Case(
        [
            Edge("a", "near", (0.5, 0.4)),
            Edge("a", "wide", (0.02,), between_groups=True),
            Edge("b", "wide", (0.01,)),
        ],
        {"a": 2, "b": 0},
        {"near": Want("Ann", 2), "wide": Want("Ben", 1), "hopeless": Want("Cleo", 1)},
        {
            "Ann": GrowerLabels("Europe", False),
            "Ben": GrowerLabels("Oceania", True),
            "Cleo": GrowerLabels("Oceania", False),
        },
    )


def row(report: AllocationReport, heading: Heading, group: str) -> ReportRow:
    return next(each for each in report.rows if (each.heading, each.group) == (heading, group))


def test_the_default_rule_by_hand() -> None:
    report = allocation_report(hand_made().allocate())
    assert report.rule == "one for each grower first"
    assert row(report, "region", "Europe") == ReportRow("region", "Europe", 1, 1, 1, 1, 0.5, 0.9, 0.9)
    assert row(report, "region", "Oceania") == ReportRow("region", "Oceania", 2, 1, 1, 1, 0.02, 0.0, 0.02)
    assert row(report, "season", "first season").growers_served == 1
    assert row(report, "season", "later season").lost_capsules == pytest.approx(0.4)
    assert row(report, "cross", "within groups") == ReportRow(
        "cross", "within groups", 1, 1, 1, 1, 0.5, 0.9, 0.9
    )
    assert row(report, "cross", "between groups").growers_served == 1
    assert report.losers == (Loss("Ann", 1, 2, 0.5, 0.9, True),)
    assert report.price == PriceOfRule(2, 1, 0.52, 0.9)
    assert report.price.lost_share == pytest.approx(0.38 / 0.9)


def test_most_capsules_says_who_loses() -> None:
    report = allocation_report(hand_made().allocate("most capsules"))
    assert report.losers == (Loss("Ben", 0, 1, 0.0, 0.02, False),)
    assert row(report, "region", "Oceania").lost_capsules == 0.02
    assert row(report, "season", "first season").growers_served == 0
    assert report.price == PriceOfRule(1, 1, 0.9, 0.9)
    assert report.price.lost_capsules == 0.0


def test_agreed_doses_count_in_the_rows_and_on_both_sides() -> None:
    case = hand_made()
    case.frozen = {("a", "near"): 1}
    report = allocation_report(case.allocate())
    assert row(report, "region", "Europe") == ReportRow("region", "Europe", 1, 1, 1, 1, 0.5, 0.9, 0.9)
    assert row(report, "region", "Oceania").expected_capsules == 0.02
    assert report.price == PriceOfRule(2, 1, 0.02, 0.4)


def test_losers_come_with_the_worst_first() -> None:
    report = allocation_report(random_case(11, offers=6, wants=12, growers=8).allocate("most capsules"))
    losses = [loss.capsules_by_other_rule - loss.expected_capsules for loss in report.losers]
    assert len(losses) > 1
    assert losses == sorted(losses, reverse=True)


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("seed", range(8))
def test_the_rows_of_each_heading_add_up_to_the_whole(seed: int, rule: Rule) -> None:
    case = random_case(seed, offers=5, wants=9, growers=6)
    result = case.allocate(rule)
    report = allocation_report(result)
    agreed = sum(sum(edge.chances[: case.frozen.get(edge.pair, 0)]) for edge in case.edges)
    for heading in ("region", "season", "cross"):
        rows = [each for each in report.rows if each.heading == heading]
        assert sum(each.doses for each in rows) == sum(result.doses.values())
        assert sum(each.expected_capsules for each in rows) == pytest.approx(
            result.expected_capsules + agreed
        )
        assert all(each.expected_capsules <= each.possible_capsules + 1e-9 for each in rows)
    for heading in ("region", "season"):
        rows = [each for each in report.rows if each.heading == heading]
        assert sum(each.growers_served for each in rows) == len(result.served)


def test_a_market_without_pollen_has_no_price() -> None:
    case = hand_made()
    case.supplies = {"a": 0, "b": 0}
    report = allocation_report(case.allocate())
    assert (report.price.lost_share, report.losers) == (0.0, ())
    assert row(report, "region", "Europe").lost_capsules == 0.9
