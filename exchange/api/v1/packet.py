"""Packets: doses of a lot in a container of their own."""

from typing import Any, cast

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, act, create, page, read
from exchange.api.reference import row_named
from exchange.api.resource import Resource
from exchange.api.strict import Id, StrictSerializer, Text, Whole
from exchange.api.v1.lot_form import LOT, DeedIn, MoveIn
from exchange.api.v1.told import ToldOut
from exchange.models import Agreement, Packet, Store
from exchange.selectors.lot import lots_of
from exchange.selectors.packet import PacketForViewer, packet_for, packets_known
from exchange.services.packet import packet_fill, packet_hand_over, packet_receive
from growers.models import Grower

PACKET: dict[str, Any] = {
    "id": "3e2d1c0b-a998-4877-8665-544332211000",
    "lot_id": LOT["id"],
    "code": LOT["code"],
    "number": 1,
    "doses": 2,
    "agreement_id": None,
    "held_by_you": True,
    "on_the_way": False,
    "store_id": LOT["store_id"],
    "filled_at": "2027-06-30T08:00:00Z",
    "best_before": LOT["best_before"],
    "worth_trying_until": LOT["worth_trying_until"],
    "doubts": [],
}


class PacketOut(serializers.Serializer[Any]):
    """A labelled container."""

    id = serializers.UUIDField(source="public_id")
    lot_id = serializers.UUIDField()
    code = serializers.CharField(help_text="Of its lot.")
    number = serializers.IntegerField()
    doses = serializers.IntegerField()
    agreement_id = serializers.UUIDField(allow_null=True)
    held_by_you = serializers.BooleanField()
    on_the_way = serializers.BooleanField()
    store_id = serializers.UUIDField(allow_null=True, help_text="For its holder.")
    filled_at = serializers.DateTimeField()
    best_before = serializers.DateTimeField(allow_null=True)
    worth_trying_until = serializers.DateTimeField(allow_null=True)
    doubts = ToldOut(many=True)


class PacketIn(StrictSerializer):
    """Doses to be put into a packet."""

    doses = Whole(1, 999)
    agreement_id = Id(required=False, allow_null=True, help_text="For whom it is.")
    note = Text(max_length=500, required=False, allow_blank=True)


class OfViewer(Resource):
    """Packets for the eyes of whoever asks."""

    tag = "lots"

    def rows(self, call: Call) -> QuerySet[Any]:
        """Packets that concern the viewer."""
        return packets_known(call.grower)

    def represent(self, row: Packet) -> PacketForViewer:
        """What the viewer may read of it."""
        return packet_for(cast(Grower, self.request.user), row)

    def again(self, call: Call, packet: Packet) -> Packet:
        """A packet as it is now."""
        return packets_known(call.grower).get(pk=packet.pk)


class PacketList(OfViewer):
    """All packets one may know of."""

    @page("packet_list", "Packets", PacketOut, example=PACKET, order=("-filled_at", "public_id"))
    def get(self, call: Call) -> QuerySet[Packet]:
        """Of your own lots, and those that you hold or that were filled for you; the latest first."""
        return packets_known(call.grower)


class PacketItem(OfViewer):
    """One packet."""

    @read("packet_read", "One packet", PacketOut, example=PACKET, problems=("not_found",))
    def get(self, call: Call) -> Packet:
        """For the lot's grower, its holder and whom it was filled for."""
        return call.row  # type: ignore[no-any-return]


class LotPackets(OfViewer):
    """Packets of one lot."""

    def rows(self, call: Call) -> QuerySet[Any]:
        """Own lots."""
        return lots_of(call.grower)

    @create(
        "packet_create",
        "Fill a packet",
        PacketIn,
        PacketOut,
        example=PACKET,
        body_example={"doses": 2},
        problems=("not_found", "conflict", "invalid_input"),
        at="packet",
    )
    def post(self, call: Call) -> Packet:
        """Of your own lot; it has a history of its own from then on."""
        fields = dict(call.data)
        mine = Agreement.objects.filter(donor=call.grower)
        agreement: Any = row_named(
            mine, fields.pop("agreement_id", None), field="agreement_id", what="an agreement"
        )
        return self.again(call, packet_fill(actor=call.grower, lot=call.row, agreement=agreement, **fields))


class PacketHandOver(OfViewer):
    """On its way."""

    @act(
        "packet_hand_over",
        "Give a packet on its way",
        PacketOut,
        body=DeedIn,
        example={**PACKET, "on_the_way": True, "store_id": None},
        body_example={"note": "given to the post office"},
        problems=("not_found", "conflict", "invalid_input"),
        keyed=True,
    )
    def post(self, call: Call) -> Packet:
        """For its holder. Until it is received its temperature is reckoned from packing and climate."""
        packet_hand_over(actor=call.grower, packet=call.row, **call.data)
        return self.again(call, call.row)


class PacketReceive(OfViewer):
    """Come."""

    @act(
        "packet_receive",
        "Say that a packet has come",
        PacketOut,
        body=MoveIn,
        example=PACKET,
        body_example={"store_id": LOT["store_id"]},
        problems=("not_found", "conflict", "invalid_input"),
        keyed=True,
    )
    def post(self, call: Call) -> Packet:
        """For whom it was filled. Leave it closed until it is as warm as the room, or dew kills it."""
        fields = dict(call.data)
        own = Store.objects.filter(grower=call.grower)
        store: Any = row_named(own, fields.pop("store_id"), field="store_id", what="a store")
        packet_receive(actor=call.grower, packet=call.row, store=store, **fields)
        return self.again(call, call.row)
