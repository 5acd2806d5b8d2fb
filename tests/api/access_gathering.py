"""Gatherings of the society of the access matrix: the coordinator is steward of one."""

from typing import Any

from exchange.models import Agreement, Lot, Offer
from exchange.services.address import address_set
from exchange.services.detour import detour_accept, detour_ask, detour_yes
from exchange.services.packet import packet_fill
from exchange.services.shipment import shipment_plan
from growers.models import Grower
from tests.api.access_deal import AGREED_SEED, street
from tests.api.access_member import PLACES, asked_for, private, reasons_for
from tests.exchange.bargain import agree
from tests.exchange.gathered import make_gathering, site_at
from tests.exchange.society import make_pairing

PERMIT = "PERMIT-31-415-926"


def make_gatherings(growers: dict[str, Grower], offer: Offer, agreement: Agreement) -> dict[str, Any]:
    """Agreements of owner and partner, one for each step of a detour, and a parcel."""
    owner, partner, steward = (growers[who] for who in ("owner", "partner", "coordinator"))
    place = PLACES["coordinator"]
    site = site_at(steward, private("coordinator", "Site"), place, keep_exact=True)
    mark = street("coordinator")
    address_set(actor=steward, name=f"To {mark}", lines=[mark], town=mark, country="DE")
    gathering = make_gathering(steward, site=site, permit_number=PERMIT)
    joining, asked, answered, routed = (_agreed(offer, agreement) for _ in range(4))
    for each in (asked, answered, routed):
        detour_ask(actor=partner, agreement=each, gathering=gathering)
    for each in (answered, routed):
        detour_yes(actor=owner, agreement=each)
    detour_accept(actor=steward, agreement=routed)
    packet = packet_fill(actor=owner, lot=Lot.objects.get(offer=offer), doses=1, agreement=routed)
    return {
        "gathering": gathering,
        "joining": joining,
        "asked_way": asked,
        "answered": answered,
        "routed": routed,
        "routed_packet": packet,
        "to_steward": shipment_plan(actor=owner, agreement=routed),
    }


def _agreed(offer: Offer, like: Agreement) -> Agreement:
    wanted = asked_for(like.wanted_cross.seed_parent, "partner")
    return agree(make_pairing(offer, wanted, reasons=reasons_for(AGREED_SEED)), doses=1)


GATHERING_READERS = {PERMIT: "coordinator owner", street("coordinator"): "coordinator owner"}
GATHERING_ID_READERS = {
    "gathering": "partner coordinator owner",
    "joining": "partner owner",
    "asked_way": "partner owner",
    "answered": "partner coordinator owner",
    "routed": "partner coordinator owner",
    "routed_packet": "partner coordinator owner",
    "to_steward": "partner coordinator owner",
}
