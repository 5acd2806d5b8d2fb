"""One POST of every operation on parcels, prepared so that it succeeds; see :mod:`tests.api.every_post`."""

from typing import Any

from exchange.models import Shipment
from exchange.services.collection import offer_collect
from exchange.services.packet import packet_fill
from exchange.services.shipment import shipment_dispatch, shipment_plan
from exchange.services.store import store_of_kind
from growers import clock
from tests.api.caller import caller
from tests.api.every_post import Post, Stage, prepares
from tests.exchange.bargain import agree, state_papers
from tests.exchange.society import TODAY


def agreed(stage: Stage) -> Any:
    """An agreement with papers, and a packet for it."""
    agreement = agree(stage.bargain.pairing)
    state_papers(agreement)
    lot = offer_collect(
        actor=stage.donor, offer=stage.bargain.offer, doses=2, collected_on=TODAY, store="refrigerator"
    )
    packet_fill(actor=stage.donor, lot=lot, doses=1, agreement=agreement)
    return agreement


def planned(stage: Stage) -> Shipment:
    return shipment_plan(actor=stage.donor, agreement=agreed(stage))


def posted(stage: Stage) -> Shipment:
    return shipment_dispatch(actor=stage.donor, shipment=planned(stage))


def on_its_way(stage: Stage, act: str) -> Post:
    return Post(caller(stage.recipient), f"shipments/{posted(stage).public_id}/{act}")


@prepares
def shipment_create(stage: Stage) -> Post:
    body = {"agreement_id": str(agreed(stage).public_id), "contents": ["silica_gel"]}
    return Post(caller(stage.donor), "shipments", body, {**body, "contents": []})


@prepares
def shipment_pack(stage: Stage) -> Post:
    return Post(caller(stage.donor), f"shipments/{planned(stage).public_id}/pack")


@prepares
def shipment_call_off(stage: Stage) -> Post:
    return Post(caller(stage.donor), f"shipments/{planned(stage).public_id}/call-off")


@prepares
def shipment_dispatch_(stage: Stage) -> Post:
    path = f"shipments/{planned(stage).public_id}/dispatch"
    return Post(caller(stage.donor), path, {}, {"occurred_at": clock.now().isoformat()})


@prepares
def carrier_service_create_(stage: Stage) -> Post:
    body = {"name": "counter", "country": "FR", "weekdays": ["monday", "friday"], "cut_off": "15:30"}
    return Post(caller(stage.donor), "carrier-services", body, {**body, "name": "locker"})


@prepares
def shipment_hold(stage: Stage) -> Post:
    return on_its_way(stage, "hold")


@prepares
def shipment_receive(stage: Stage) -> Post:
    shipment, store = posted(stage), store_of_kind(stage.recipient, "refrigerator")
    body = {"store_id": str(store.public_id), "condition": "intact"}
    path = f"shipments/{shipment.public_id}/receive"
    return Post(caller(stage.recipient), path, body, {**body, "condition": "damp"})


@prepares
def shipment_refused(stage: Stage) -> Post:
    return on_its_way(stage, "refused")


@prepares
def shipment_lost(stage: Stage) -> Post:
    return on_its_way(stage, "lost")


@prepares
def shipment_returned(stage: Stage) -> Post:
    return on_its_way(stage, "returned")
