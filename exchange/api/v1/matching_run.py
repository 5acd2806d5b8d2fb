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
    ORDER,
    ORDER_DONE,
    RUN,
    RUN_WHOLE,
    DryRunOut,
    ExplanationOut,
    MatchingOrderOut,
    MatchingRunOut,
    MatchingRunWholeOut,
)
from exchange.models import MatchingOrder, MatchingRun, WantedCross
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
from exchange.services.matching_order import matching_order
from exchange.services.rescoring import matching_preview
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
        "Order a matching run",
        MatchingOrderOut,
        body=RunIn,
        example=ORDER,
        body_example={"rule": "most capsules"},
        problems=("not_found", "conflict"),
        status=202,
        at="matching_order",
    )
    def post(self, call: Call) -> MatchingOrder:
        """Answers at once with the order, to be read at `Location` until it is `done`.

        Runs are made one at a time. While an order by the same rule waits, it is that one. The rule stays
        for the runs after it.
        """
        return matching_order(actor=call.grower, now=clock.now(), rule=_rule(call))


class MatchingOrderItem(ForCoordinators):
    """How an order for a run stands."""

    def rows(self, call: Call) -> QuerySet[MatchingOrder]:
        """All: who asks is a coordinator."""
        return MatchingOrder.objects.select_related("ordered_by", "run").defer("run__report")

    @read(
        "matching_order_read",
        "How an order for a matching run stands",
        MatchingOrderOut,
        example=ORDER_DONE,
        problems=("not_found",),
    )
    def get(self, call: Call) -> MatchingOrder:
        """A worker that died meanwhile is replaced within half an hour; then the order is begun again.

        With `done` comes the run: the earlier one if nothing has changed since. `failed` is a mistake of
        ours, which the log knows by the order's id; order another.
        """
        return call.row  # type: ignore[no-any-return]


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
        problems=("not_found", "conflict"),
    )
    def post(self, call: Call) -> DryRun:
        """Nothing is stored and nobody is told; 409 where it takes longer than a minute: order a run."""
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
