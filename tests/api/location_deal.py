"""What two growers do after their pairing was proposed, of which both read all, and others some."""

from datetime import timedelta

from exchange.models import Agreement, Lot, Pairing
from exchange.selectors.agreement_plan import crosses_border
from exchange.services.address import address_set
from exchange.services.agreement_address import address_read
from exchange.services.agreement_note import note_report, note_write
from exchange.services.assay import Counts, assay_record
from exchange.services.block import block_create
from exchange.services.border_note import border_note_confirm, border_note_propose
from exchange.services.collection import offer_collect
from exchange.services.incident import WhatHappened, store_incident
from exchange.services.packet import packet_fill, packet_hand_over, packet_receive
from exchange.services.quiet_ask import quiet_asks_make
from exchange.services.recall import recall_report
from exchange.services.shipment import shipment_dispatch, shipment_plan, shipment_receive
from exchange.services.store import store_of_kind
from growers import clock
from growers.models import Grower
from growers.services.bloom import bloom_said_set
from growers.services.grower import grower_update
from tests.exchange.bargain import accept, propose, state_papers
from tests.exchange.logger import make_temperature
from tests.exchange.society import SUMMER, TODAY
from tests.factories import make_plant


def say_yes(recipient: Grower) -> Agreement:
    """The first yes to the pairing that stands, with an address on record."""
    address_set(actor=recipient, name="A. Grower", lines=["1 Weir Road"], town="Pondville", country="FR")
    same = {"wanted_cross__seed_parent__grower": recipient, "wanted_cross__pollen_groups": ["hardy"]}
    return propose(Pairing.objects.get(state=Pairing.State.SUGGESTED, **same), doses=1)


def say_yes_too(proposed: Agreement) -> None:
    """The second, papers, notes, and a look at the address."""
    agreement = accept(proposed)
    if crosses_border(agreement):
        state_papers(agreement)
    note = note_write(actor=agreement.recipient, agreement=agreement, text="It opens at eight.")
    note_report(actor=agreement.donor, note=note, reason="a threat")
    note_write(actor=agreement.donor, agreement=agreement, text="I post it on Monday.")
    address_read(actor=agreement.donor, agreement=agreement)
    send_packets(agreement)


def send_packets(agreement: Agreement) -> None:
    """A lot with a test, packets that come, by themselves and in a parcel, and one on its way; a recall."""
    donor, offer = agreement.donor, agreement.offer
    lot = Lot.objects.filter(offer=offer).first() or offer_collect(
        actor=donor, offer=offer, doses=3, collected_on=TODAY - timedelta(days=1), store="refrigerator"
    )
    counts = Counts("in_vitro", "5 % sucrose", "tube", [(30, 100)], rehydrated=True)
    assay_record(actor=donor, lot=lot, counts=counts)
    make_temperature(donor, lot)
    for _ in range(2):
        packet = packet_fill(actor=donor, lot=lot, doses=1, agreement=agreement)
        packet_hand_over(actor=donor, packet=packet)
    home = store_of_kind(agreement.recipient, "refrigerator")
    packet_receive(actor=agreement.recipient, packet=packet, store=home)
    packet_fill(actor=donor, lot=lot, doses=1, agreement=agreement)
    parcel = shipment_dispatch(actor=donor, shipment=shipment_plan(actor=donor, agreement=agreement))
    shipment_receive(actor=agreement.recipient, shipment=parcel, store=home, condition="damp")
    store_incident(actor=donor, store=lot.store, happened=WhatHappened("switched_off", hours=2))
    recall_report(actor=donor, plant=lot.plant, kind="pest", found_on=TODAY)


def be_asked(partner: Grower, country: str) -> None:
    """The partner has what is wanted all around the place, does not offer it, and may be asked."""
    grower_update(actor=partner, may_be_asked=True, countries_shipped_to=[country])
    plant = make_plant(partner, group="lotos", diel="night", number="not offered")
    bloom_said_set(actor=partner, plant=plant, **SUMMER)
    quiet_asks_make(now=clock.now())


def tell_of_border(partner: Grower, country: str, coordinator: Grower) -> None:
    """A note on the way into a country, which counts."""
    note = border_note_propose(
        actor=partner,
        kind="conditions",
        destination=country,
        text="ask first",
        source="a page",
        asked_whom="an office",
        checked_on=TODAY,
    )
    border_note_confirm(actor=coordinator, note=note)


def block(partner: Grower, neighbour: Grower) -> None:
    """Somebody who lives in the cell of the place."""
    block_create(actor=partner, blocked=neighbour)
