"""Why a wanted cross has what it has, for a coordinator: reckoned from what stands, by the rule in use."""

from dataclasses import dataclass

from exchange.matching.allocation_explain import Explainer, Explanation
from exchange.matching.reason import Reason
from exchange.models import MatchingRun, WantedCross
from exchange.services.coordinator import coordinator_only
from exchange.services.matching import RULES, standing_pairings
from exchange.services.sharing import Planned, allocation_of
from growers.errors import Conflict
from growers.models import Grower


@dataclass(frozen=True)
class ExplainedCross:
    """An explanation with the wanted cross and the run whose rule it follows."""

    run: MatchingRun
    wanted_cross: WantedCross
    explanation: Explanation


def wanted_cross_explain(*, actor: Grower, wanted_cross: WantedCross) -> ExplainedCross:
    """Explain one wanted cross; ``NotFound`` for all but coordinators, ``Conflict`` before the first run."""
    coordinator_only(actor)
    run = MatchingRun.objects.order_by("-pk").first()
    if run is None:
        raise Conflict("There was no matching run yet.")
    planned = [
        Planned(row.offer, row.wanted_cross, tuple(row.plan["dose_chances"])) for row in standing_pairings()
    ]
    allocation = allocation_of(planned, RULES[MatchingRun.Rule(run.rule)])
    key = str(wanted_cross.public_id)
    known = key in allocation.problem.wants
    told = Explainer(allocation).explanation(key) if known else _without_offers(wanted_cross)
    return ExplainedCross(run, wanted_cross, told)


def _without_offers(wanted_cross: WantedCross) -> Explanation:
    """Nothing that would do was on offer, so the allocation does not know the cross."""
    figures = {"doses": 0, "flowers": wanted_cross.flowers, "offers": 0}
    reason = Reason("allocation_no_offer", figures)
    return Explanation(str(wanted_cross.public_id), (), reason, (), (), (), 0.0, 0.0)
