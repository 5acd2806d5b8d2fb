"""Lots of the society of the access matrix: one that the partner is promised doses of, one of nobody else."""

from typing import Any

from exchange.models import Agreement, Lot, Offer
from exchange.services.carrier_service import carrier_service_create
from exchange.services.lot import lot_collect
from exchange.services.packet import packet_fill, packet_hand_over
from exchange.services.recall import recall_report
from exchange.services.shipment import ShipmentFields, shipment_dispatch, shipment_plan
from exchange.services.store import store_create
from growers.models import Grower, Plant
from tests.api.access_deal import AGREED_SEED
from tests.api.access_member import asked_for, reasons_for
from tests.exchange.bargain import agree, state_papers
from tests.exchange.logger import make_temperature
from tests.exchange.society import TODAY, make_pairing

STORE_NAME = "Cold box under the stairs"
PARTNERS_STORE = "Cold box in the barn"
SERVICE_NAME = "The counter by the old mill"
LOT_NOTE = "The bell rang while I picked"
FOUND = "Leaves with rings on them"
TRACKING = "RR 31 415 926 5"
SAID: ShipmentFields = {"tracking_number": TRACKING, "contents": ["silica_gel"]}


def make_lots(
    growers: dict[str, Grower], offer: Offer, agreement: Agreement, unshown: Plant
) -> dict[str, Any]:
    """The offer's lot, packets in store, on their way to the partner, in parcels; a lot, stores, a recall."""
    owner = growers["owner"]
    lot = Lot.objects.get(offer=offer)
    packets = [packet_fill(actor=owner, lot=lot, doses=1, agreement=agreement) for _ in range(2)]
    packet_hand_over(actor=owner, packet=packets[1], note=LOT_NOTE)
    made = lot_collect(actor=owner, plant=unshown, flowers_emptied=1, note=LOT_NOTE)
    kept = {"name": STORE_NAME, "kind": "refrigerator"}
    return {
        "lot": lot,
        "own_lot": made,
        "packet": packets[0],
        "way": packets[1],
        "store": store_create(actor=owner, **kept),  # type: ignore[arg-type]
        "service": carrier_service_create(actor=owner, name=SERVICE_NAME, country="FR"),
        "partners_store": store_create(actor=growers["partner"], name=PARTNERS_STORE, kind="refrigerator"),
        "temperature": make_temperature(owner, lot),
        "recall": recall_report(actor=owner, plant=lot.plant, kind="virus", found_on=TODAY, text=FOUND),
        **_parcels(owner, lot, agreement),
    }


def _parcels(owner: Grower, lot: Lot, agreement: Agreement) -> dict[str, Any]:
    """A planned parcel and a posted one, each of an agreement of its own about the same seed parent."""
    parcels = []
    for _ in range(2):
        wanted = asked_for(agreement.wanted_cross.seed_parent, "partner")
        other = agree(make_pairing(agreement.offer, wanted, reasons=reasons_for(AGREED_SEED)), doses=1)
        state_papers(other)
        packet_fill(actor=owner, lot=lot, doses=1, agreement=other)
        parcels.append(shipment_plan(actor=owner, agreement=other, **SAID))
    return {"planned": parcels[0], "posted": shipment_dispatch(actor=owner, shipment=parcels[1])}


LOT_READERS = {
    STORE_NAME: "owner",
    PARTNERS_STORE: "partner",
    SERVICE_NAME: "owner",
    LOT_NOTE: "",
    FOUND: "partner owner",
    TRACKING: "partner owner",
}
LOT_ID_READERS = {
    "lot": "partner coordinator owner",
    "own_lot": "owner",
    "packet": "partner owner",
    "way": "partner owner",
    "store": "owner",
    "partners_store": "partner",
    "service": "owner",
    "temperature": "partner owner",
    "recall": "partner owner",
    "planned": "partner owner",
    "posted": "partner owner",
}
