"""Parcels: packets on their way from one grower to another."""

from collections.abc import Iterable
from typing import Any, cast

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, act, change, create, page, read
from exchange.api.reference import fields_named, row_named
from exchange.api.resource import Resource
from exchange.api.strict import Choice, Flag, Id, Instant, StrictSerializer, Text, Words
from exchange.api.v1.box import BOX, BoxIn, BoxOut
from exchange.api.v1.carrier_service import service_taken
from exchange.api.v1.told import ToldOut
from exchange.models import Agreement, Shipment, Store
from exchange.models.offer import PackingPreset
from exchange.selectors.detour import agreements_with_detours
from exchange.selectors.lane_seen import lanes_seen
from exchange.selectors.parcel_plan import parcel_plans
from exchange.selectors.shipment import ShipmentForViewer, shipment_for, shipments_known
from exchange.services.shipment import (
    MOST_CONTENTS,
    shipment_call_off,
    shipment_change,
    shipment_dispatch,
    shipment_hold,
    shipment_lost,
    shipment_pack,
    shipment_plan,
    shipment_receive,
    shipment_refused,
    shipment_returned,
)
from exchange.wording.pairing import DECIDERS
from exchange.wording.shipment import CHECKED_ON, CONTENTS
from growers import clock
from growers.models import Grower

SHIPMENT: dict[str, Any] = {
    "id": "1f2e3d4c-5b6a-4978-8695-a4b3c2d1e0ff",
    "role": "consignor",
    "leg": "direct",
    "agreement_id": "0f1e2d3c-4b5a-4697-8879-6a5b4c3d2e1f",
    "state": "planned",
    "packets": ["3e2d1c0b-a998-4877-8665-544332211000"],
    "packing": "cold_box",
    "box": BOX,
    "hours_cold": 18.7,
    "carrier": "",
    "tracking_number": "",
    "carrier_service_id": None,
    "posts_on_saturday": False,
    "contents": [
        {
            "code": "silica_gel",
            "detail": str(CONTENTS["silica_gel"][0]),
            "parameters": {"source": CONTENTS["silica_gel"][1], "checked_on": CHECKED_ON},
        }
    ],
    "origin_country": "FR",
    "destination_country": "DE",
    "dispatched_at": None,
    "half_on": "2027-07-08",
    "late_on": "2027-07-13",
    "lost_chance": 0.01,
    "recipient_half_on": "2027-07-08",
    "recipient_late_on": "2027-07-13",
    "plan": {
        "precision": "clock",
        "post_on": "2027-07-01",
        "not_later_than": "2027-07-02",
        "hand_over_until": "2027-07-02T14:00:00Z",
        "decided_by": {"code": "transit", "detail": str(DECIDERS["transit"]), "parameters": {}},
        "flowers_from": "2027-07-08",
        "flowers_until": "2027-07-19",
    },
    "business_days": None,
    "condition": None,
    "ended_at": None,
    "created_at": "2027-07-01T12:00:00Z",
    "changed_at": "2027-07-01T12:00:00Z",
}
SENT = {**SHIPMENT, "state": "dispatched", "plan": None, "dispatched_at": "2027-07-01T12:00:00Z"}
NEW_SHIPMENT = {"agreement_id": SHIPMENT["agreement_id"], "contents": ["silica_gel"]}
NAMES = {"carrier_service": "carrier_service_id"}
ACTS: dict[str, Any] = {"problems": ("not_found", "conflict"), "keyed": True}


class ParcelPlanOut(serializers.Serializer[Any]):
    """When to hand it over, from the round of proposals that stands."""

    precision = serializers.ChoiceField([(word, word) for word in ("season", "days", "clock")])
    post_on = serializers.DateField(help_text="The best day.")
    not_later_than = serializers.DateField(allow_null=True, help_text="The last good day, at the donor's.")
    hand_over_until = serializers.DateTimeField(
        allow_null=True,
        help_text="When that day ends there; with pollen in hand, the cut-off of its carrier service.",
    )
    decided_by = ToldOut(allow_null=True, help_text="What decides the last good day.")
    flowers_from = serializers.DateField(
        allow_null=True, help_text="First-day flowers of the seed parent are likely from this day."
    )
    flowers_until = serializers.DateField(allow_null=True)


class ShipmentOut(serializers.Serializer[Any]):
    """A parcel for one of the growers whom it concerns. No address is in it."""

    id = serializers.UUIDField(source="public_id")
    role = serializers.ChoiceField([(word, word) for word in ("consignor", "consignee", "concerned")])
    leg = serializers.ChoiceField(
        Shipment.Leg.choices, help_text="By way of a steward there are two parcels, one after the other."
    )
    agreement_id = serializers.UUIDField()
    state = serializers.ChoiceField(Shipment.State.choices)
    packets = serializers.ListField(child=serializers.UUIDField())
    packing = serializers.ChoiceField(PackingPreset.choices)
    box = BoxOut()
    hours_cold = serializers.FloatField(help_text="Until its coolant is used up, reckoned, never promised.")
    carrier = serializers.CharField()
    tracking_number = serializers.CharField()
    carrier_service_id = serializers.UUIDField(allow_null=True, help_text="Of the consignor, for them alone.")
    posts_on_saturday = serializers.BooleanField()
    contents = ToldOut(many=True, help_text="What is in it besides pollen, and what to mind of it.")
    origin_country = serializers.CharField()
    destination_country = serializers.CharField()
    dispatched_at = serializers.DateTimeField(allow_null=True)
    half_on = serializers.DateField(
        help_text="By then half of such parcels come, if they come; if handed over now, before that."
    )
    late_on = serializers.DateField(help_text="By then nine in ten.")
    lost_chance = serializers.FloatField(help_text="That it never comes.")
    recipient_half_on = serializers.DateField(
        help_text="By then half have come to the recipient, all days by way of a steward counted."
    )
    recipient_late_on = serializers.DateField(help_text="By then nine in ten.")
    plan = ParcelPlanOut(allow_null=True, help_text="Until it is dispatched, where a day is named.")
    business_days = serializers.IntegerField(allow_null=True, help_text="That it took.")
    condition = serializers.ChoiceField(Shipment.Condition.choices, allow_null=True)
    ended_at = serializers.DateTimeField(allow_null=True)
    created_at = serializers.DateTimeField()
    changed_at = serializers.DateTimeField()


class ShipmentFieldsIn(StrictSerializer):
    """What may be said of a parcel."""

    packing = Choice(PackingPreset.choices, required=False, help_text="`own_box` needs `box`.")
    box = BoxIn(required=False, allow_null=True)
    carrier = Text(max_length=60, required=False, allow_blank=True)
    tracking_number = Text(max_length=60, required=False, allow_blank=True)
    carrier_service_id = Id(
        required=False, allow_null=True, help_text="One of your own; that of the offer if left out."
    )
    posts_on_saturday = Flag(required=False)
    contents = Words(
        child=Choice([(code, code) for code in CONTENTS]),
        max_length=MOST_CONTENTS,
        required=False,
        help_text="Besides pollen; nothing dangerous if left out.",
    )


class ShipmentIn(ShipmentFieldsIn):
    """A parcel with all packets of an agreement that have not been sent."""

    agreement_id = Id()


class DispatchIn(StrictSerializer):
    """When it was handed over."""

    occurred_at = Instant(required=False, help_text="Now if left out.")


class ReceiveIn(DispatchIn):
    """How it came, and where its packets lie now."""

    store_id = Id(help_text="One of your own.")
    condition = Choice(Shipment.Condition.choices, required=False, help_text="`intact` if left out.")


class ShipmentQuery(StrictSerializer):
    """Which parcels."""

    state = serializers.ChoiceField(Shipment.State.choices, required=False)
    updated_since = Instant(required=False, help_text="Changed at this instant or later.")


class OfViewer(Resource):
    """Parcels for the eyes of whoever asks."""

    tag = "shipments"

    def rows(self, call: Call) -> QuerySet[Shipment]:
        """Sent or got by the viewer."""
        return shipments_known(call.grower)

    def represent(self, row: Shipment) -> ShipmentForViewer:
        """What the viewer may read of it."""
        return next(iter(self.represent_each([row])))

    def represent_each(self, rows: list[Shipment]) -> Iterable[ShipmentForViewer]:
        """What was seen of the lanes and what stands is read once for all rows."""
        viewer, seen = cast(Grower, self.request.user), lanes_seen(clock.now().date())
        plans = parcel_plans(rows)
        return [shipment_for(viewer, row, seen, plans.get(row.pk)) for row in rows]

    def again(self, call: Call, shipment: Shipment) -> Shipment:
        """A parcel as it is now."""
        return shipments_known(call.grower).get(pk=shipment.pk)


class ShipmentList(OfViewer):
    """All one sends or gets."""

    @page(
        "shipment_list",
        "Parcels",
        ShipmentOut,
        example=SHIPMENT,
        order=("-created_at", "public_id"),
        query=ShipmentQuery,
    )
    def get(self, call: Call) -> QuerySet[Shipment]:
        """The latest first."""
        rows, asked = self.rows(call), call.query
        if "state" in asked:
            rows = rows.filter(state=asked["state"])
        return rows.filter(changed_at__gte=asked["updated_since"]) if "updated_since" in asked else rows

    @create(
        "shipment_create",
        "Plan a parcel",
        ShipmentIn,
        ShipmentOut,
        example=SHIPMENT,
        body_example=NEW_SHIPMENT,
        problems=("conflict",),
        at="shipment",
    )
    def post(self, call: Call) -> Shipment:
        """For the donor of an agreement: all its packets that have not been sent.

        By way of a steward that is a parcel to them, and theirs is another with what has come.
        """
        fields = service_taken(call.grower, dict(call.data))
        rows: QuerySet[Agreement] = agreements_with_detours(call.grower)
        agreement: Any = row_named(
            rows, fields.pop("agreement_id"), field="agreement_id", what="an agreement"
        )
        with fields_named(NAMES):
            made = shipment_plan(actor=call.grower, agreement=agreement, **fields)
        return self.again(call, made)


class ShipmentItem(OfViewer):
    """One parcel."""

    @read("shipment_read", "One parcel", ShipmentOut, example=SHIPMENT, problems=("not_found",))
    def get(self, call: Call) -> Shipment:
        """For its consignor, its consignee, and the two growers of its agreement."""
        return call.row  # type: ignore[no-any-return]

    @change(
        "shipment_change",
        "Change a parcel",
        ShipmentFieldsIn,
        ShipmentOut,
        example=SHIPMENT,
        body_example={"carrier": "the post", "tracking_number": "RR 123 456 785 FR"},
        problems=("not_found", "conflict"),
    )
    def patch(self, call: Call) -> Shipment:
        """For its consignor; once it is dispatched, carrier and tracking number alone."""
        fields = service_taken(call.grower, call.data)
        with fields_named(NAMES):
            changed = shipment_change(actor=call.grower, shipment=call.row, **fields)
        return self.again(call, changed)


class ShipmentPack(OfViewer):
    """Packed."""

    @act("shipment_pack", "Say that a parcel is packed", ShipmentOut, example=SHIPMENT, **ACTS)
    def post(self, call: Call) -> Shipment:
        """For its consignor."""
        return self.again(call, shipment_pack(actor=call.grower, shipment=call.row))


class ShipmentCallOff(OfViewer):
    """Not sent after all."""

    @act(
        "shipment_call_off",
        "Call off a parcel",
        ShipmentOut,
        example={**SHIPMENT, "state": "called_off", "plan": None, "ended_at": "2027-07-01T13:00:00Z"},
        **ACTS,
    )
    def post(self, call: Call) -> Shipment:
        """For its consignor, before it is dispatched: its packets are free for another parcel."""
        return self.again(call, shipment_call_off(actor=call.grower, shipment=call.row))


class ShipmentDispatch(OfViewer):
    """Handed over."""

    @act(
        "shipment_dispatch",
        "Dispatch a parcel",
        ShipmentOut,
        body=DispatchIn,
        example=SENT,
        body_example={},
        **{**ACTS, "problems": ("not_found", "conflict", "invalid_input")},
    )
    def post(self, call: Call) -> Shipment:
        """For its consignor: its doses are sent. Across a border both statements on papers come first."""
        made = shipment_dispatch(actor=call.grower, shipment=call.row, **call.data)
        return self.again(call, made)


class ShipmentHold(OfViewer):
    """Held."""

    @act(
        "shipment_hold", "Note that a parcel is held", ShipmentOut, example={**SENT, "state": "held"}, **ACTS
    )
    def post(self, call: Call) -> Shipment:
        """At a border or a depot; consignor or consignee may know."""
        return self.again(call, shipment_hold(actor=call.grower, shipment=call.row))


class ShipmentReceive(OfViewer):
    """Come."""

    @act(
        "shipment_receive",
        "Say that a parcel has come",
        ShipmentOut,
        body=ReceiveIn,
        example={**SENT, "role": "consignee", "state": "received", "business_days": 3, "condition": "intact"},
        body_example={"store_id": "4c3b2a19-0817-4f6e-9d5c-4b3a29180706", "condition": "intact"},
        **{**ACTS, "problems": ("not_found", "conflict", "invalid_input")},
    )
    def post(self, call: Call) -> Shipment:
        """For its consignee. Leave it closed until it is as warm as the room, or dew wets the pollen.

        Later parcels on the same way are reckoned with the days that it took.
        """
        fields = dict(call.data)
        own = Store.objects.filter(grower=call.grower)
        store: Any = row_named(own, fields.pop("store_id"), field="store_id", what="a store")
        return self.again(call, shipment_receive(actor=call.grower, shipment=call.row, store=store, **fields))


class ShipmentRefused(OfViewer):
    """Refused."""

    @act(
        "shipment_refused",
        "Note that a parcel was refused",
        ShipmentOut,
        example={**SENT, "state": "refused"},
        **ACTS,
    )
    def post(self, call: Call) -> Shipment:
        """At the border or at the door."""
        return self.again(call, shipment_refused(actor=call.grower, shipment=call.row))


class ShipmentLost(OfViewer):
    """Taken for lost."""

    @act(
        "shipment_lost",
        "Take a parcel for lost",
        ShipmentOut,
        example={**SENT, "state": "lost"},
        **ACTS,
    )
    def post(self, call: Call) -> Shipment:
        """It can still be received if it comes after all."""
        return self.again(call, shipment_lost(actor=call.grower, shipment=call.row))


class ShipmentReturned(OfViewer):
    """Come back."""

    @act(
        "shipment_returned",
        "Note that a parcel has come back",
        ShipmentOut,
        example={**SENT, "state": "returned"},
        **ACTS,
    )
    def post(self, call: Call) -> Shipment:
        """To its consignor."""
        return self.again(call, shipment_returned(actor=call.grower, shipment=call.row))
