"""Runs, dry runs and explanations as a coordinator reads them: by handle and plant, never by place."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from exchange.matching.allocation_explain import Explanation
from exchange.models import MatchingRun, Pairing, WantedCross
from exchange.selectors.plan_record import reason_records
from exchange.wording.catalogue import sentence
from growers.models import Grower

MOST_SHOWN = 200
"""Of each kind in the answer to a dry run; the counts are of all."""

Record = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class RunShown:
    """A run with its report; losers are named by handle."""

    public_id: UUID
    today: date
    started_at: datetime
    finished_at: datetime | None
    model_version: str
    rule: str
    considered: int
    proposed: int
    written: int
    superseded: int
    report: Record


@dataclass(frozen=True, slots=True)
class PairShown:
    """One pair in a dry run."""

    offer_id: UUID
    donor: str
    pollen_parent: str
    wanted_cross_id: UUID
    recipient: str
    seed_parent: str
    chance: float
    allocated_doses: int


@dataclass(frozen=True, slots=True)
class DryRunShown:
    """What a run would change."""

    rule: str
    proposed: int
    new_count: int
    changed_count: int
    withdrawn_count: int
    new: list[PairShown]
    changed: list[PairShown]
    withdrawn: list[PairShown]
    report: Record


@dataclass(frozen=True, slots=True)
class ExplanationShown:
    """Why a wanted cross has what it has; ``run_id`` is the run whose rule is in use."""

    wanted_cross_id: UUID
    recipient: str
    seed_parent: str
    run_id: UUID
    rule: str
    reason: Record
    given: list[Record]
    better_elsewhere: list[Record]
    without_it: list[Record]
    one_more: list[Record]
    expected_capsules: float
    capsules_by_other_rule: float


def run_shown(run: MatchingRun) -> RunShown:
    """One run; one query for the handles."""
    names = ("public_id", "today", "started_at", "finished_at", "model_version", "rule")
    counts = ("considered", "proposed", "written", "superseded")
    stated = {name: getattr(run, name) for name in names + counts}
    return RunShown(**stated, report=report_shown(run.report))


def report_shown(report: Record) -> Record:
    """A report with handles in place of public ids; an empty one where the run told none."""
    losers = report.get("losers", ())
    ids = [loser["grower"] for loser in losers]
    handles = dict(Grower.objects.filter(public_id__in=ids).values_list("public_id", "handle"))
    named = [{**loser, "grower": handles.get(UUID(loser["grower"]), "")} for loser in losers]
    return {"rows": list(report.get("rows", ())), "losers": named, "price": report.get("price")}


def dry_run_shown(
    fresh: Sequence[Pairing],
    replaced: Sequence[Pairing],
    gone: Sequence[Pairing],
    run: tuple[MatchingRun.Rule, int, Record],
) -> DryRunShown:
    """What would be new, changed and withdrawn; ``run`` is its rule, pairings proposed, and report."""
    rule, proposed, report = run
    stood = {(row.offer_id, row.wanted_cross_id) for row in replaced}
    new = [row for row in fresh if (row.offer_id, row.wanted_cross_id) not in stood]
    changed = [row for row in fresh if (row.offer_id, row.wanted_cross_id) in stood]
    return DryRunShown(
        rule=rule.value,
        proposed=proposed,
        new_count=len(new),
        changed_count=len(changed),
        withdrawn_count=len(gone),
        new=_shown(new),
        changed=_shown(changed),
        withdrawn=_shown(gone),
        report=report_shown(report),
    )


def _shown(rows: Sequence[Pairing]) -> list[PairShown]:
    return [_pair_shown(row) for row in rows[:MOST_SHOWN]]


def _pair_shown(row: Pairing) -> PairShown:
    pollen, seed = row.offer.plant, row.wanted_cross.seed_parent
    return PairShown(
        offer_id=row.offer.public_id,
        donor=pollen.grower.handle,
        pollen_parent=pollen.name_as_grown,
        wanted_cross_id=row.wanted_cross.public_id,
        recipient=seed.grower.handle,
        seed_parent=seed.name_as_grown,
        chance=row.chance,
        allocated_doses=row.allocated_doses,
    )


def explanation_shown(wanted: WantedCross, run: MatchingRun, told: Explanation) -> ExplanationShown:
    """An explanation in words and figures; no query."""
    reason = reason_records([told.reason])[0]
    return ExplanationShown(
        wanted_cross_id=wanted.public_id,
        recipient=wanted.seed_parent.grower.handle,
        seed_parent=wanted.seed_parent.name_as_grown,
        run_id=run.public_id,
        rule=run.rule,
        reason={**reason, "detail": sentence(told.reason.code, told.reason.parameters)},
        given=[_given(each) for each in told.given],
        better_elsewhere=[
            {"offer_id": each.offer, "chance": each.chance, "went_to": list(each.went_to)}
            for each in told.passed
        ],
        without_it=[
            {
                "offer_id": each.without,
                "instead": [_given(other) for other in each.instead],
                "expected_capsules": each.expected_capsules,
                "growers_served_change": each.growers_served_change,
                "all_capsules_change": each.all_capsules_change,
            }
            for each in told.next_best
        ],
        one_more=[
            {
                "offer_id": each.offer,
                "growers_served_change": each.growers_served,
                "all_capsules_change": each.expected_capsules,
                "goes_to": list(each.goes_to),
            }
            for each in told.one_more
        ],
        expected_capsules=told.expected_capsules,
        capsules_by_other_rule=told.capsules_by_other_rule,
    )


def _given(each: Any) -> Record:
    return {"offer_id": each.offer, "doses": each.doses, "expected_capsules": each.expected_capsules}
