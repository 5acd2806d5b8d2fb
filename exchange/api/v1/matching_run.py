"""Matching runs: rounds of proposals, for coordinators alone; to all others there are none."""

from typing import Any, cast

from django.db.models import QuerySet
from django.http import HttpResponse
from rest_framework.request import Request

from exchange.api.operation import Call, Operation, act, page, read
from exchange.api.resource import Resource
from exchange.api.strict import Choice, StrictSerializer
from exchange.api.v1.matching_run_form import (
    DRY_RUN,
    EXPLANATION,
    RUN,
    RUN_WHOLE,
    DryRunOut,
    ExplanationOut,
    MatchingRunOut,
    MatchingRunWholeOut,
)
from exchange.models import MatchingRun, WantedCross
from exchange.selectors.matching_run import (
    DryRunShown,
    ExplanationShown,
    RunShown,
    dry_run_shown,
    explanation_shown,
    run_shown,
)
from exchange.services.coordinator import coordinator_only
from exchange.services.explanation import ExplainedCross, wanted_cross_explain
from exchange.services.matching import DryRun
from exchange.services.rescoring import matching_order, matching_preview
from growers import clock
from growers.models import Grower


class RunIn(StrictSerializer):
    """By which rule; the one of the latest run if left out."""

    rule = Choice(MatchingRun.Rule.choices, required=False)


class ForCoordinators(Resource):
    """What only a coordinator may know of."""

    tag = "matching"

    def perform(self, operation: Operation, request: Request, path: Any) -> HttpResponse:
        """Refuse others before anything of the request is looked at."""
        coordinator_only(cast(Grower, request.user))
        return super().perform(operation, request, path)


class MatchingRunList(ForCoordinators):
    """All runs."""

    @page(
        "matching_run_list",
        "Matching runs",
        MatchingRunOut,
        example=RUN,
        order=("-started_at", "public_id"),
        problems=("not_found",),
    )
    def get(self, call: Call) -> QuerySet[MatchingRun]:
        """The latest first; edits are taken in by runs of their own within minutes."""
        return MatchingRun.objects.defer("report")

    @act(
        "matching_run_start",
        "Run the matching now",
        MatchingRunOut,
        body=RunIn,
        example=RUN,
        body_example={"rule": "most capsules"},
        problems=("not_found", "conflict"),
    )
    def post(self, call: Call) -> MatchingRun:
        """Answers when it has ended: the run, or the earlier one if nothing has changed since.

        The rule stays for the runs after it. 409 while another run is going on.
        """
        return matching_order(actor=call.grower, now=clock.now(), rule=_rule(call))


class MatchingDryRun(ForCoordinators):
    """What a run would change."""

    def represent(self, row: DryRun) -> DryRunShown:
        """Counts, and the first of each kind by name."""
        found, changes = row.reckoned, row.changes
        run = found.rule, len(found.found), found.shared.report
        return dry_run_shown(changes.fresh, changes.replaced, changes.gone, run)

    @act(
        "matching_run_try",
        "See what a run would change",
        DryRunOut,
        body=RunIn,
        example=DRY_RUN,
        body_example={"rule": "most capsules"},
        problems=("not_found",),
    )
    def post(self, call: Call) -> DryRun:
        """Nothing is stored and nobody is told."""
        return matching_preview(actor=call.grower, now=clock.now(), rule=_rule(call))


def _rule(call: Call) -> MatchingRun.Rule | None:
    stated = call.data.get("rule")
    return None if stated is None else MatchingRun.Rule(stated)


class MatchingRunItem(ForCoordinators):
    """One run."""

    def rows(self, call: Call) -> QuerySet[MatchingRun]:
        """All: who asks is a coordinator."""
        return MatchingRun.objects.all()

    def represent(self, row: MatchingRun) -> RunShown:
        """With its report, growers by handle."""
        return run_shown(row)

    @read(
        "matching_run_read",
        "One matching run with its report",
        MatchingRunWholeOut,
        example=RUN_WHOLE,
        problems=("not_found",),
    )
    def get(self, call: Call) -> MatchingRun:
        """Growers served and chance lost by region, season and kind of cross; who gets less by this rule."""
        return call.row  # type: ignore[no-any-return]


class WantedCrossExplanation(ForCoordinators):
    """Why one wanted cross has what it has."""

    def rows(self, call: Call) -> QuerySet[WantedCross]:
        """All: who asks is a coordinator."""
        return WantedCross.objects.select_related("seed_parent__grower")

    def represent(self, row: ExplainedCross) -> ExplanationShown:
        """In words and figures."""
        return explanation_shown(row.wanted_cross, row.run, row.explanation)

    @read(
        "wanted_cross_explanation",
        "Why a wanted cross has what it has",
        ExplanationOut,
        example=EXPLANATION,
        problems=("not_found", "conflict"),
    )
    def get(self, call: Call) -> ExplainedCross:
        """From the pairings that stand now, by the rule in use: better offers and where they went."""
        return wanted_cross_explain(actor=call.grower, wanted_cross=call.row)
