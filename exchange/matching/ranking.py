"""The ranking pass: one cheap figure for each pair, to decide which pairs are planned in full."""

import numpy as np

from exchange.matching import posting
from exchange.matching.eligibility import compatibility
from exchange.matching.side import CrossWanted, Lane, PollenOffer
from exchange.science import constants


def ranking_chance(offer: PollenOffer, wanted: CrossWanted, lane: Lane, course: posting.Course) -> float:
    """Compatibility times the best posting day's worth, weighed by the chance that pollen is ready near it.

    Near means within three days: the worth of one exact day would understate offers on request, whose
    donors post on the day on which a flower has opened.
    """
    value = posting.central_value(offer, lane, course).mean
    near = posting.ready_near(offer, lane, course)
    return compatibility(wanted.parent, offer.parent).mean * float((near * value).max(initial=0.0))


def kept(chances: dict[str, float], least_chance: float) -> list[str]:
    """Offer keys that are planned in full: the best, and none far below the least chance asked for.

    Pairs under 0.4 of the least chance are left out; ties go to the smaller key.
    """
    floor = constants.PRUNING_SHARE.value * least_chance
    ranked = sorted(chances, key=lambda key: (-float(np.round(chances[key], 6)), key))
    return [key for key in ranked if chances[key] >= floor][: int(constants.PAIRS_PLANNED.value)]
