"""Shares out the doses of all offers: from planned pairings to the allocation and its explanation."""

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import timedelta
from typing import Any

from exchange.matching.allocation import Allocation, Edge, GrowerLabels, Pair, Rule, Want, allocate
from exchange.matching.allocation_explain import Explainer
from exchange.matching.allocation_report import allocation_report
from exchange.models import Offer, Pairing, WantedCross
from exchange.selectors.plan_record import reason_records
from exchange.selectors.stock import Stock, doses_spoken_for, stocks
from growers import clock
from growers.models import Grower
from growers.selectors.site import Region, region

FIRST_SEASON_DAYS = 365
"""A grower in the first year after signing up counts as new in reports (judgement)."""


@dataclass(frozen=True)
class Planned:
    """One pairing as planned, for sharing out; chances of its first, second, … dose."""

    offer: Offer
    wanted_cross: WantedCross
    dose_chances: tuple[float, ...]

    @property
    def keys(self) -> Pair:
        """Of the offer and of the wanted cross, as the allocation has them."""
        return str(self.offer.public_id), str(self.wanted_cross.public_id)


@dataclass(frozen=True)
class Shared:
    """Doses proposed for each pair, why, and the report of the run.

    Explained are the pairs with doses, and all pairs of a wanted cross that gets none.
    """

    doses: dict[Pair, int]
    explanations: dict[Pair, dict[str, Any]]
    report: dict[str, Any]

    def of(self, offer: Offer, wanted_cross: WantedCross) -> tuple[int, dict[str, Any] | None]:
        """Doses proposed for a pair and why, or why its wanted cross gets none at all; else 0 and None."""
        pair = str(offer.public_id), str(wanted_cross.public_id)
        return self.doses.get(pair, 0), self.explanations.get(pair)


def share_out(planned: Sequence[Planned], rule: Rule, *, asked: Sequence[WantedCross] = ()) -> Shared:
    """Share the doses of all offers out among the pairings that reach the least chance asked for.

    ``asked`` are the open wanted crosses; those without any pairing count in the report alone.
    """
    allocation = allocation_of(planned, rule, asked=asked)
    # As the database gives it back, so that two reports can be compared.
    report = json.loads(json.dumps(asdict(allocation_report(allocation))))
    return Shared(allocation.doses, _explanations(allocation), report)


def allocation_of(planned: Sequence[Planned], rule: Rule, *, asked: Sequence[WantedCross] = ()) -> Allocation:
    """The allocation of planned pairings; what stands proposed counts a little more.

    Promised doses, and those sent this season, stay where they are; such a pair is proposed no more beside
    them. Growers stay in whose pairings all fall short of what they asked for, or who have none: the report
    counts who asked.
    """
    wanted = {str(row.public_id): row for row in [*asked, *(pair.wanted_cross for pair in planned)]}
    now = clock.now()
    promised, stock = doses_spoken_for(now), stocks(now)
    useful = [pair for pair in planned if pair.dose_chances[0] >= pair.wanted_cross.least_chance]
    free = [pair for pair in useful if pair.keys not in promised]
    return allocate(
        [_edge(pair) for pair in free],
        _supplies(free, stock, promised),
        {key: _want(row) for key, row in wanted.items()},
        {str(grower.public_id): _labels(grower) for grower in _growers(wanted.values())},
        rule=rule,
        frozen=promised,
        proposed_before=_proposed_before(free),
    )


def _supplies(
    planned: Iterable[Planned], stock: Mapping[int, Stock], promised: Mapping[Pair, int]
) -> dict[str, int]:
    """Doses of each offer: those that are nobody's, and those that stay where they are."""
    stay = Counter[str]()
    for (offer, _), doses in promised.items():
        stay[offer] += doses
    offers = {str(pair.offer.public_id): pair.offer.pk for pair in planned}
    return {key: stock.get(pk, Stock()).left + stay[key] for key, pk in offers.items()}


def _edge(pair: Planned) -> Edge:
    seed, pollen = pair.wanted_cross.seed_parent, pair.offer.plant
    return Edge(
        str(pair.offer.public_id),
        str(pair.wanted_cross.public_id),
        pair.dose_chances,
        between_groups=seed.group != pollen.group,
    )


def _want(wanted_cross: WantedCross) -> Want:
    return Want(str(wanted_cross.seed_parent.grower.public_id), wanted_cross.flowers)


def _growers(wanted: Iterable[WantedCross]) -> set[Grower]:
    return {row.seed_parent.grower for row in wanted}


def _labels(grower: Grower) -> GrowerLabels:
    site = grower.sites.order_by("pk").first()
    is_new = clock.now() - grower.created_at < timedelta(days=FIRST_SEASON_DAYS)
    return GrowerLabels(region=_told_place(region(site)) if site else "", first_season=is_new)


def _told_place(where: Region) -> str:
    """The country if the grower lets others read it: coordinators read the report."""
    return where.country or where.part_of_the_world


def _proposed_before(planned: Iterable[Planned]) -> dict[Pair, int]:
    """What the standing pairings propose, so that a proposal is not moved for next to nothing."""
    known = {pair.keys for pair in planned}
    rows = Pairing.objects.filter(state=Pairing.State.SUGGESTED, allocated_doses__gt=0)
    keys = rows.values_list("offer__public_id", "wanted_cross__public_id", "allocated_doses")
    before = {(str(offer), str(wanted)): doses for offer, wanted, doses in keys}
    return {pair: doses for pair, doses in before.items() if pair in known}


def _explanations(allocation: Allocation) -> dict[Pair, dict[str, Any]]:
    explainer, doses = Explainer(allocation), allocation.doses
    served = {wanted for _, wanted in doses}
    pairs = [
        edge.pair for edge in allocation.problem.edges if edge.pair in doses or edge.wanted not in served
    ]
    found = {wanted: _explanation(explainer, wanted) for wanted in sorted({wanted for _, wanted in pairs})}
    return {pair: found[pair[1]] for pair in pairs}


def _explanation(explainer: Explainer, wanted: str) -> dict[str, Any]:
    """Why a wanted cross has what it has, without a word of what others were given."""
    told = explainer.explanation(wanted)
    return {
        "reason": reason_records([told.reason])[0],
        "without_it": [{"expected_capsules": round(other.expected_capsules, 9)} for other in told.next_best],
        "one_more_dose_adds": [round(more.expected_capsules, 9) for more in told.one_more],
    }
