"""Changes of an offer that its donor could really make, each reckoned as real input."""

import copy
from collections.abc import Callable
from datetime import date

from exchange.matching.eligibility import refusals
from exchange.matching.plan import pair_chance
from exchange.matching.posting import RecipientFlowers
from exchange.matching.side import CrossWanted, PollenOffer
from exchange.matching.smallest_change import Alternative
from exchange.models import Offer, WantedCross
from exchange.models.offer import PackingPreset, Treatment
from exchange.selectors.lane import lane
from exchange.selectors.lane_seen import LaneSeen
from exchange.selectors.side import changed_offer

Change = Callable[[Offer], None]


def _dry(row: Offer) -> None:
    row.treatment = Treatment.DRIED


def _use_cold_box(row: Offer) -> None:
    row.packing = PackingPreset.COLD_BOX


def _post_on_saturday(row: Offer) -> None:
    row.posts_on_saturday = True


def _collect_before_cut_off(row: Offer) -> None:
    row.collected_before_cut_off = True


def alternatives(
    row: Offer,
    offer: PollenOffer,
    wanted_row: WantedCross,
    wanted: CrossWanted,
    today: date,
    flowers: RecipientFlowers | None,
    seen: LaneSeen | None = None,
) -> list[Alternative]:
    """The changes that are open to this offer and would make it another."""

    def reckoned(change: Change) -> Callable[[], float]:
        return lambda: _chance(_changed(row, change), offer, wanted_row, wanted, today, flowers, seen)

    found: list[tuple[str, int, Change, bool]] = [
        ("dried_instead_of_fresh", 1, _dry, offer.lot is None and row.treatment == Treatment.FRESH),
        ("saturday_service", 1, _post_on_saturday, not row.posts_on_saturday),
        ("collect_before_cut_off", 1, _collect_before_cut_off, not row.collected_before_cut_off),
        ("cold_box", 2, _use_cold_box, row.packing == PackingPreset.ENVELOPE),
        ("post_to_country", 2, _post_to(wanted.country), _not_posted_to(offer, wanted)),
    ]
    return [Alternative(code, effort, reckoned(change)) for code, effort, change, is_open in found if is_open]


def _post_to(country: str) -> Change:
    def change(row: Offer) -> None:
        row.countries = [*row.countries, country]

    return change


def _not_posted_to(offer: PollenOffer, wanted: CrossWanted) -> bool:
    return wanted.country != offer.country and wanted.country not in offer.ships_to


def _changed(row: Offer, change: Change) -> Offer:
    """A changed copy that is never saved."""
    other = copy.copy(row)
    change(other)
    return other


def _chance(
    row: Offer,
    offer: PollenOffer,
    wanted_row: WantedCross,
    wanted: CrossWanted,
    today: date,
    flowers: RecipientFlowers | None,
    seen: LaneSeen | None,
) -> float:
    other = changed_offer(offer, row)
    if refusals(other, wanted):
        return 0.0
    way = lane(row, row.plant.site, wanted_row.seed_parent.site, today, seen)
    return pair_chance(other, wanted, way, today, flowers)
