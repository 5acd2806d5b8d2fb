"""A timeline as it is stored and shown: plain JSON, three digits, which a picture does not outdo."""

import math
from typing import Any

from exchange.matching.timeline import Timeline
from exchange.science.arrays import FloatArray

DIGITS = 3


def timeline_record(timeline: Timeline) -> dict[str, Any]:
    """All of a timeline; what is not there yet is null."""
    return {
        "first_day": timeline.first_day.isoformat(),
        "posted_on": timeline.posted_on.isoformat(),
        "pollen_chance": _numbers(timeline.pollen_chance),
        "posting_open": [bool(is_open) for is_open in timeline.posting_open],
        "arrival_chance": _numbers(timeline.arrival_chance),
        "first_day_flower_chance": _numbers(timeline.first_day_flower_chance),
        "remaining_effect": _numbers(timeline.remaining_effect),
    }


def _numbers(values: FloatArray) -> list[float | None]:
    return [None if math.isnan(value) else round(float(value), DIGITS) for value in values]
