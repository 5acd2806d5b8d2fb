"""A lot of a donor with a packet for a recipient abroad, and what is done with it next."""

from dataclasses import dataclass
from functools import cached_property

from exchange.models import Agreement, Lot, Packet
from exchange.selectors.lot import lots_of
from exchange.services.packet import packet_fill, packet_hand_over, packet_receive
from exchange.services.store import store_of_kind
from growers.models import Grower
from tests.exchange.bargain import agree
from tests.exchange.society import make_pairing, make_society


@dataclass
class Packed:
    """The donor's lot, the agreement about two doses of it, and a packet of two that is filled for it."""

    agreement: Agreement
    packet: Packet

    @cached_property
    def donor(self) -> Grower:
        return self.agreement.donor

    @property
    def lot(self) -> Lot:
        """The lot as it is now, loaded."""
        return lots_of(self.donor).get(pk=self.packet.lot_id)

    def hand_over(self) -> Packet:
        return packet_hand_over(actor=self.donor, packet=self.packet)

    def receive(self) -> Packet:
        """The recipient puts it into a refrigerator."""
        taker = self.agreement.recipient
        store = store_of_kind(taker, "refrigerator")
        return packet_receive(actor=taker, packet=self.packet, store=store)


def make_packed(donor: Grower, recipient: Grower) -> Packed:
    """One society with a packet that lies at the donor's; the clock must stand at noon or later."""
    society = make_society(donor, recipient)
    agreement = agree(make_pairing(society.offer, society.wanted), doses=2)
    lot = society.offer.lots.get()
    return Packed(agreement, packet_fill(actor=donor, lot=lot, doses=2, agreement=agreement))
