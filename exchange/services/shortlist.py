"""Which pairs of one wanted cross are planned in full where very many offers would do."""

from collections.abc import Callable, Sequence
from datetime import date

from exchange.matching import posting
from exchange.matching.eligibility import refusals
from exchange.matching.ranking import kept, ranking_chance
from exchange.science import constants
from exchange.selectors.lane import lane
from exchange.services.pair_digest import Pair


def shortlist(
    pairs: Sequence[Pair], today: date, flowers: Callable[[], posting.RecipientFlowers | None]
) -> list[Pair]:
    """All pairs where they are few; else the best by the ranking pass, and those that are refused anyway.

    Pairs that are refused stay in, because their reasons are told.
    """
    eligible = {pair.offer.key: pair for pair in pairs if not refusals(pair.offer, pair.wanted)}
    if len(eligible) <= constants.PAIRS_PLANNED.value:
        return list(pairs)
    ahead = flowers()
    if ahead is None:
        return list(pairs)
    chances = {key: _ranking(pair, today, ahead) for key, pair in eligible.items()}
    best = set(kept(chances, pairs[0].wanted.least_chance))
    return [pair for pair in pairs if pair.offer.key not in eligible or pair.offer.key in best]


def _ranking(pair: Pair, today: date, ahead: posting.RecipientFlowers) -> float:
    ends = pair.offer_row.plant.site, pair.wanted_row.seed_parent.site
    way = lane(pair.offer_row, *ends, today, pair.seen)
    course = posting.course(pair.offer, pair.wanted, way, today, ahead)
    return ranking_chance(pair.offer, pair.wanted, way, course)
