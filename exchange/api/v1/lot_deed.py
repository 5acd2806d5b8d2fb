"""What is done with a lot."""

from typing import Any

from exchange.api.operation import Call, act
from exchange.api.reference import row_named
from exchange.api.v1.lot import OwnLot
from exchange.api.v1.lot_form import LOT, DeedIn, IncidentIn, LotOut, MoveIn
from exchange.models import Lot, Store
from exchange.services.incident import WhatHappened, lot_incident
from exchange.services.lot_change import lot_discard, lot_dried, lot_move, lot_put_in_fluid, lot_use_up

DEED: dict[str, Any] = {
    "body": DeedIn,
    "body_example": {"note": "a windy morning"},
    "problems": ("not_found", "conflict", "invalid_input"),
    "keyed": True,
}
STORED = {**LOT, "state": "stored", "dried_at": "2027-06-29T09:00:00Z"}


class LotDried(OwnLot):
    """Dry."""

    @act("lot_dried", "Say that a lot is dry", LotOut, example=STORED, **DEED)
    def post(self, call: Call) -> Lot:
        """It lies in its store from now on; without this the usual time of drying is assumed."""
        lot_dried(actor=call.grower, lot=call.row, **call.data)
        return self.again(call)


class LotMove(OwnLot):
    """To another store."""

    @act(
        "lot_move",
        "Move a lot to another store",
        LotOut,
        example={**STORED, "treatment": "frozen", "store": "chest_freezer"},
        **{**DEED, "body": MoveIn, "body_example": {"store_id": LOT["store_id"]}},
    )
    def post(self, call: Call) -> Lot:
        """A dried lot that goes into a freezer counts as frozen; an undried one becomes doubtful."""
        fields = dict(call.data)
        own = Store.objects.filter(grower=call.grower)
        store: Any = row_named(own, fields.pop("store_id"), field="store_id", what="a store")
        lot_move(actor=call.grower, lot=call.row, store=store, **fields)
        return self.again(call)


class LotPutInFluid(OwnLot):
    """Into stigmatic fluid."""

    @act(
        "lot_put_in_fluid", "Say that a lot is in fluid", LotOut, example={**LOT, "state": "in_fluid"}, **DEED
    )
    def post(self, call: Call) -> Lot:
        """It lives for hours then and cannot be posted."""
        lot_put_in_fluid(actor=call.grower, lot=call.row, **call.data)
        return self.again(call)


class LotUseUp(OwnLot):
    """Nothing is left."""

    @act("lot_use_up", "Say that a lot is used up", LotOut, example={**LOT, "state": "used_up"}, **DEED)
    def post(self, call: Call) -> Lot:
        """409 while doses of it are promised."""
        lot_use_up(actor=call.grower, lot=call.row, **call.data)
        return self.again(call)


class LotDiscard(OwnLot):
    """Thrown away."""

    @act("lot_discard", "Discard a lot", LotOut, example={**LOT, "state": "discarded"}, **DEED)
    def post(self, call: Call) -> Lot:
        """Only you do that, no date does; 409 while doses of it are promised."""
        lot_discard(actor=call.grower, lot=call.row, **call.data)
        return self.again(call)


class LotIncident(OwnLot):
    """Something went wrong with it."""

    @act(
        "lot_incident",
        "Note what went wrong with a lot",
        LotOut,
        example=LOT,
        **{**DEED, "body": IncidentIn, "body_example": {"kind": "left_out", "hours": 6}},
    )
    def post(self, call: Call) -> Lot:
        """Its dates are reckoned anew, and those to whom doses of it are promised are told."""
        lot_incident(actor=call.grower, lot=call.row, happened=WhatHappened(**call.data))
        return self.again(call)
