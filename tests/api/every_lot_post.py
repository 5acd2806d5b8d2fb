"""One POST of every operation on lots, prepared so that it succeeds; see :mod:`tests.api.every_post`."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart

from exchange.models import Lot, Packet, Store
from exchange.services.collection import offer_collect
from exchange.services.lot import lot_collect
from exchange.services.packet import packet_fill, packet_hand_over
from exchange.services.store import store_create, store_of_kind
from growers.models import Grower
from tests.api.caller import caller
from tests.api.every_post import Post, Stage, prepares
from tests.exchange.bargain import agree
from tests.exchange.logger import FIELDS as CONFIRMED
from tests.exchange.logger import log_of, steady
from tests.exchange.society import NOON, TODAY


def a_lot(stage: Stage) -> Lot:
    return lot_collect(actor=stage.donor, plant=stage.plant, flowers_emptied=2, doses=4, collected_hour=6)


def a_store(grower: Grower) -> Store:
    return store_create(actor=grower, name="attic", kind="refrigerator")


def on_a_lot(stage: Stage, act: str, body: Any, other: Any) -> Post:
    return Post(caller(stage.donor), f"lots/{a_lot(stage).public_id}/{act}", body, other)


NOTED, OTHERWISE = {"note": "windy"}, {"note": "calm"}


@prepares
def lot_create(stage: Stage) -> Post:
    body = {"plant_id": str(stage.plant.public_id), "flowers_emptied": 2}
    return Post(caller(stage.donor), "lots", body, {**body, "flowers_emptied": 3})


@prepares
def lot_correct(stage: Stage) -> Post:
    return on_a_lot(stage, "correct", {"flowers_emptied": 3}, {"flowers_emptied": 5})


@prepares
def lot_dried(stage: Stage) -> Post:
    return on_a_lot(stage, "dried", NOTED, OTHERWISE)


@prepares
def lot_move(stage: Stage) -> Post:
    lot, store = a_lot(stage), a_store(stage.donor)
    body = {"store_id": str(store.public_id)}
    return Post(caller(stage.donor), f"lots/{lot.public_id}/move", body, {**body, **OTHERWISE})


@prepares
def lot_put_in_fluid(stage: Stage) -> Post:
    return on_a_lot(stage, "put-in-fluid", NOTED, OTHERWISE)


@prepares
def lot_use_up(stage: Stage) -> Post:
    return on_a_lot(stage, "use-up", NOTED, OTHERWISE)


@prepares
def lot_discard(stage: Stage) -> Post:
    return on_a_lot(stage, "discard", NOTED, OTHERWISE)


@prepares
def lot_incident(stage: Stage) -> Post:
    return on_a_lot(stage, "incident", {"kind": "left_out", "hours": 2}, {"kind": "got_damp"})


@prepares
def assay_create(stage: Stage) -> Post:
    body = {
        "method": "in_vitro",
        "medium": "5 % sucrose",
        "rule": "tube as long as the grain",
        "replicates": [{"germinated": 30, "counted": 100}],
        "rehydrated": True,
    }
    return on_a_lot(stage, "tests", body, {**body, "rule": "tube twice as long"})


def logger_form(temperature_c: float, **fields: str) -> bytes:
    """A logger's file of the hours before the society's noon, as a form."""
    content = log_of(steady(temperature_c), first=NOON - timedelta(hours=2), hours=2.0)
    file = SimpleUploadedFile("log.csv", content, "text/csv")
    return encode_multipart(BOUNDARY, {**fields, "file": file})


@prepares
def temperature_preview(stage: Stage) -> Post:
    post = on_a_lot(stage, "temperatures/preview", logger_form(5.0), logger_form(6.0))
    return replace(post, headers={"content_type": MULTIPART_CONTENT})


@prepares
def temperature_create(stage: Stage) -> Post:
    forms = (logger_form(temperature_c, **CONFIRMED) for temperature_c in (5.0, 6.0))
    post = on_a_lot(stage, "temperatures", *forms)
    return replace(post, headers={"content_type": MULTIPART_CONTENT})


@prepares
def temperature_felt(stage: Stage) -> Post:
    body = {"felt": "warm", "began_at": "2027-07-01T08:00:00Z", "ended_at": "2027-07-01T10:00:00Z"}
    return on_a_lot(stage, "temperatures/felt", body, {**body, "felt": "cool"})


@prepares
def packet_create(stage: Stage) -> Post:
    return on_a_lot(stage, "packets", {"doses": 1}, {"doses": 2})


@prepares
def packet_hand_over_(stage: Stage) -> Post:
    packet = packet_fill(actor=stage.donor, lot=a_lot(stage), doses=1)
    return Post(caller(stage.donor), f"packets/{packet.public_id}/hand-over", NOTED, OTHERWISE)


def coming(stage: Stage) -> Packet:
    """On its way to the recipient."""
    agreement = agree(stage.bargain.pairing)
    lot = offer_collect(
        actor=stage.donor, offer=stage.bargain.offer, doses=2, collected_on=TODAY, store="refrigerator"
    )
    packet = packet_fill(actor=stage.donor, lot=lot, doses=1, agreement=agreement)
    return packet_hand_over(actor=stage.donor, packet=packet)


@prepares
def packet_receive(stage: Stage) -> Post:
    packet, store = coming(stage), store_of_kind(stage.recipient, "refrigerator")
    body = {"store_id": str(store.public_id)}
    return Post(caller(stage.recipient), f"packets/{packet.public_id}/receive", body, {**body, **OTHERWISE})


@prepares
def store_create_(stage: Stage) -> Post:
    body = {"name": "attic", "kind": "refrigerator"}
    return Post(caller(stage.donor), "stores", body, {**body, "name": "cellar"})


@prepares
def store_incident(stage: Stage) -> Post:
    store = a_lot(stage).store
    body = {"kind": "switched_off", "hours": 3}
    return Post(caller(stage.donor), f"stores/{store.public_id}/incident", body, {**body, "hours": 4})


@prepares
def recall_create(stage: Stage) -> Post:
    body = {"kind": "pest", "found_on": "2027-06-30"}
    return Post(
        caller(stage.donor), f"plants/{stage.plant.public_id}/recalls", body, {**body, "kind": "virus"}
    )
