"""How many queries each GET costs: exactly so many, with ten rows of each kind and with a thousand."""

from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.api.page import document
from exchange.api.v1.pairing import RENDERED
from growers.models import Grower
from tests.api.many import Many
from tests.clock import MovableClock
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db

FEW, MANY = 10, 1_000

QUERIES = {
    "address_read": 2,
    "address_view_list": 2,
    "agreement_address_label": 15,
    "agreement_list": 6,
    "agreement_list?state=agreed&role=recipient": 6,
    "agreement_list?state=lapsed": 3,
    "agreement_note_list": 7,
    "agreement_note_read": 3,
    "agreement_papers": 9,
    "agreement_read": 10,
    "block_list": 2,
    "block_read": 2,
    "bloom_season_export": 2,
    "bloom_season_list": 3,
    "bloom_season_read": 2,
    "bloom_sighting_list": 3,
    "bloom_sighting_list?kind=first_day_flowers": 3,
    "border_note_list": 4,
    "border_note_read": 4,
    "calendar_feed_list": 2,
    "calendar_feed_read": 2,
    "carrier_service_list": 2,
    "carrier_service_read": 2,
    "assay_list": 6,
    "detour_read": 10,
    "gathering_detour_list": 8,
    "gathering_list": 5,
    "gathering_list?joinable=true": 5,
    "gathering_read": 5,
    "lot_event_list": 6,
    "lot_list": 5,
    "lot_list?state=drying": 5,
    "lot_read": 5,
    "lot_viability": 12,
    "lot_epcis": 6,
    "lot_label": 5,
    "lot_label?packets=true": 5,
    "lot_label_svg": 5,
    "matching_order_read": 3,
    "matching_run_list": 3,
    "matching_run_read": 3,
    "me_mail_read": 2,
    "me_read": 2,
    "notification_list": 3,
    "notification_list?state=unread": 3,
    "notification_list?updated_since=2027-01-01T00:00:00Z": 3,
    "notification_read": 3,
    "offer_list": 5,
    "offer_list?state=open": 5,
    "offer_read": 5,
    "packet_list": 4,
    "packet_read": 4,
    "pairing_list": 7,
    "pairing_list?state=suggested": 7,
    "pairing_list?updated_since=2027-01-01T00:00:00Z": 7,
    "pairing_read": 3,
    "plant_bloom_forecast": 8,
    "plant_export": 2,
    "plant_list": 2,
    "plant_list?q=another": 3,
    "plant_list?group=hardy": 2,
    "plant_read": 2,
    "plant_relatives": 4,
    "problem_list": 1,
    "public_market": 5,
    "quiet_ask_list": 3,
    "temperature_list": 6,
    "temperature_photo": 3,
    "recall_list": 4,
    "recall_read": 4,
    "reported_note_list": 3,
    "shipment_list": 7,
    "shipment_list?state=planned": 7,
    "shipment_list?updated_since=2027-01-01T00:00:00Z": 7,
    "shipment_read": 7,
    "site_list": 2,
    "site_read": 2,
    "store_list": 2,
    "store_read": 2,
    "taxon_list": 2,
    "taxon_list?q=another": 3,
    "taxon_read": 2,
    "token_list": 2,
    "token_read": 2,
    "usual_bloom_read": 3,
    "wanted_cross_explanation": 12,
    "wanted_cross_list": 5,
    "wanted_cross_list?state=open": 5,
    "wanted_cross_read": 5,
    "weather_day_list": 3,
    "webhook_delivery_list": 3,
    "webhook_list": 2,
    "webhook_read": 2,
}
"""By operation, with what is asked for after ``?``; one query is always the token with its grower."""


def reads() -> dict[str, str]:
    """The path of every GET of the document by its name."""
    paths: Any = document()["paths"]
    return {item["get"]["operationId"]: path for path, item in paths.items() if "get" in item}


def address(name: str, path: str, world: Many) -> str:
    """Where the world's grower reads this; of a list as long a page as there is."""
    operation, _, query = name.partition("?")
    if "{id}" in path:
        _, _, _, kind, *rest = path.split("/")
        row = world.rows.get(f"{kind}/{rest[-1]}", world.rows[kind])
        path = path.replace("{id}", str(row.public_id))
    return f"{path}?{query}&limit=100" if operation.endswith("_list") else path


def counted(world: Many) -> dict[str, int]:
    """What each operation of the table costs now."""
    paths, found = reads(), {}
    for name in QUERIES:
        cache.clear()
        RENDERED.clear()
        with CaptureQueriesContext(connection) as captured:
            answer = world.api.get(address(name, paths[name.partition("?")[0]], world))
        assert answer.status == 200, (name, answer.body)
        found[name] = len(captured)
    return found


def test_every_read_is_in_the_table() -> None:
    """A new GET needs a row in ``QUERIES``, and its rows a place in ``Many``."""
    assert {name.partition("?")[0] for name in QUERIES} == reads().keys()


def test_reads_cost_the_same_with_ten_rows_and_with_a_thousand(
    donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    world = Many(donor, recipient)
    world.api.get("/api/v1/me")  # the first use of a token is noted
    world.grow(FEW)
    assert counted(world) == QUERIES
    world.grow(MANY)
    assert counted(world) == QUERIES
