"""What a detour costs: the plan of an agreement on the direct way and by way of a gathering's steward."""

from dataclasses import dataclass, replace
from datetime import date

from exchange.matching.detour import detour_lane, posting_span
from exchange.matching.plan import PairPlan, plan_pair
from exchange.matching.posting import recipient_flowers
from exchange.matching.reason import Reason
from exchange.matching.side import Lane
from exchange.models import Agreement, Gathering, Lot, Offer, Reservation
from exchange.selectors.lane import inland_lane, lane
from exchange.selectors.lane_seen import LanesSeen, lanes_seen
from exchange.selectors.side import agreed_sides
from growers.models import Site


@dataclass(frozen=True, slots=True)
class Ways:
    """Plans of both ways by the same engine; None where no day ahead can work."""

    direct: PairPlan | None
    by_way: PairPlan | None


def ways_of(agreement: Agreement, gathering: Gathering, today: date) -> Ways:
    """Plan one agreement both ways, from ``today`` on."""
    deal = _loaded(agreement)
    offer, wanted = agreed_sides(deal, _lot_kept(deal), today)
    if wanted.bloom is None or (offer.lot is None and offer.bloom is None):
        return Ways(None, None)
    seen, flowers = lanes_seen(today), recipient_flowers(wanted.bloom, today)
    site = deal.wanted_cross.seed_parent.site

    def plan(way: Lane | None) -> PairPlan | None:
        found = None if way is None else plan_pair(offer, wanted, way, today, flowers)
        return None if isinstance(found, Reason) else found

    home = deal.offer.plant.site
    service = deal.offer.carrier_service
    direct = lane(deal.offer, home, site, today, seen.between(home, site, service))
    return Ways(plan(direct), plan(lane_by_way(deal.offer, gathering, site, today, seen)))


def lane_by_way(
    offer: Offer, gathering: Gathering, destination: Site, today: date, seen: LanesSeen
) -> Lane | None:
    """The lane by way of a steward, to be posted on days that reach them in their days; None without one."""
    home = offer.plant.site
    first = lane(
        offer, home, gathering.site, today, seen.between(home, gathering.site, offer.carrier_service)
    )
    span = posting_span(first, today, gathering.reach_from, gathering.reach_until)
    if span is None:
        return None
    record = seen.between(gathering.site, destination)
    second = inland_lane(offer, gathering.site, destination, today, record)
    both = detour_lane(first, second, gathering.handling_days)
    return replace(both, post_from=span[0], post_until=span[1])


def _lot_kept(agreement: Agreement) -> Lot | None:
    rows = Reservation.objects.filter(agreement=agreement).exclude(state=Reservation.State.RELEASED)
    kept = rows.select_related("supply__lot__store").order_by("-pk").first()
    return None if kept is None else kept.supply.lot


def _loaded(agreement: Agreement) -> Agreement:
    rows = Agreement.objects.select_related(
        "offer__plant__site",
        "offer__plant__taxon",
        "offer__carrier_service",
        "wanted_cross__seed_parent__site",
        "wanted_cross__seed_parent__taxon",
    )
    return rows.get(pk=agreement.pk)
