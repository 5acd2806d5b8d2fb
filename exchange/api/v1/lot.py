"""Lots: pollen that exists, from the collected flower to its end."""

from typing import Any, cast

from django.db.models import QuerySet

from exchange.api.operation import Call, act, create, page, read
from exchange.api.reference import row_named
from exchange.api.resource import Resource
from exchange.api.v1.lot_form import CUSTODY, LOT, NEW_LOT, CustodyOut, LotCorrectIn, LotIn, LotOut, LotQuery
from exchange.models import CustodyEvent, Lot, Store
from exchange.selectors.lot import (
    CustodyForViewer,
    LotForViewer,
    custody_for,
    custody_of,
    lot_for,
    lots_known,
    lots_of,
)
from exchange.services.lot import lot_collect
from exchange.services.lot_change import lot_correct
from growers.models import Grower, Plant


class OfViewer(Resource):
    """Lots for the eyes of whoever asks."""

    tag = "lots"

    def rows(self, call: Call) -> QuerySet[Lot]:
        """Own lots, and those of partners that concern the viewer."""
        return lots_known(call.grower)

    def represent(self, row: Lot) -> LotForViewer:
        """What the viewer may read of it."""
        return lot_for(cast(Grower, self.request.user), row)


class OwnLot(OfViewer):
    """A lot of one's own."""

    def rows(self, call: Call) -> QuerySet[Lot]:
        """Own lots."""
        return lots_of(call.grower)

    def again(self, call: Call) -> Lot:
        """The row of the address as it is now."""
        return self.rows(call).get(pk=call.row.pk)


class LotList(OfViewer):
    """All lots one may know of."""

    @page(
        "lot_list",
        "Your lots and your partners'",
        LotOut,
        example=LOT,
        order=("-collected_on", "public_id"),
        query=LotQuery,
    )
    def get(self, call: Call) -> QuerySet[Lot]:
        """The latest first. Dates are those last reckoned; `lots/{id}/viability` reckons them now."""
        rows, asked = self.rows(call), call.query
        if "state" in asked:
            rows = rows.filter(state=asked["state"])
        if "plant" in asked:
            rows = rows.filter(plant__public_id=asked["plant"], plant__grower=call.grower)
        return rows.filter(changed_at__gte=asked["updated_since"]) if "updated_since" in asked else rows

    @create(
        "lot_create",
        "Note pollen collected",
        LotIn,
        LotOut,
        example=LOT,
        body_example=NEW_LOT,
        problems=("conflict",),
        at="lot",
    )
    def post(self, call: Call) -> Lot:
        """Pollen of your own plant, for yourself or to be offered later."""
        fields = dict(call.data)
        plant: Any = row_named(
            Plant.objects.filter(grower=call.grower), fields.pop("plant_id"), field="plant_id", what="a plant"
        )
        own = Store.objects.filter(grower=call.grower)
        store: Any = row_named(own, fields.pop("store_id", None), field="store_id", what="a store")
        made = lot_collect(actor=call.grower, plant=plant, store=store, **fields)
        return lots_of(call.grower).get(pk=made.pk)


class LotItem(OfViewer):
    """One lot."""

    @read("lot_read", "One lot", LotOut, example=LOT, problems=("not_found",))
    def get(self, call: Call) -> Lot:
        """For its grower, and for whom doses of it are promised or were sent to."""
        return call.row  # type: ignore[no-any-return]


class LotCorrect(OwnLot):
    """Something was said wrongly."""

    @act(
        "lot_correct",
        "Put right what was said of the collecting",
        LotOut,
        body=LotCorrectIn,
        example=LOT,
        body_example={"flowers_emptied": 3},
        problems=("not_found", "conflict", "invalid_input"),
    )
    def post(self, call: Call) -> Lot:
        """The history keeps what was said before."""
        lot_correct(actor=call.grower, lot=call.row, **call.data)
        return self.again(call)


class LotEvents(OfViewer):
    """Where it has been."""

    def represent(self, row: CustodyEvent) -> CustodyForViewer:  # type: ignore[override]
        """What the viewer may read of it."""
        return custody_for(cast(Grower, self.request.user), row)

    @page(
        "lot_event_list",
        "The history of a lot",
        CustodyOut,
        example=CUSTODY,
        order=("occurred_at", "public_id"),
        problems=("not_found",),
    )
    def get(self, call: Call) -> QuerySet[CustodyEvent]:
        """The first first. Notes are read by nobody but their writer, and are not here."""
        return custody_of(call.grower, call.row)
