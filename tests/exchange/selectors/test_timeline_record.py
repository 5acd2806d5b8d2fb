"""A timeline as stored: JSON that comes back as it went in, and small."""

import json
from datetime import date

import numpy as np

from exchange.matching.timeline import Timeline
from exchange.selectors.timeline_record import timeline_record


def test_a_record_is_plain_json_with_three_digits_and_null_for_what_is_not_there() -> None:
    picture = Timeline(
        first_day=date(2027, 7, 1),
        posted_on=date(2027, 7, 2),
        pollen_chance=np.array([1.0, 0.12345]),
        posting_open=np.array([True, False]),
        arrival_chance=np.array([0.0, 0.25]),
        first_day_flower_chance=np.array([0.4, 0.5]),
        remaining_effect=np.array([np.nan, 0.9996]),
    )
    record = timeline_record(picture)
    assert record == {
        "first_day": "2027-07-01",
        "posted_on": "2027-07-02",
        "pollen_chance": [1.0, 0.123],
        "posting_open": [True, False],
        "arrival_chance": [0.0, 0.25],
        "first_day_flower_chance": [0.4, 0.5],
        "remaining_effect": [None, 1.0],
    }
    assert json.loads(json.dumps(record, allow_nan=False)) == record
