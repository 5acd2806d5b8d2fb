"""Stores: where lots lie."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, act, change, create, page, read
from exchange.api.resource import Resource
from exchange.api.strict import Choice, Number, StrictSerializer, Text
from exchange.api.v1.lot_form import IncidentIn
from exchange.models import Store
from exchange.services.incident import WhatHappened, store_incident
from exchange.services.store import COLDEST_C, WARMEST_C, store_create, store_update

STORE: dict[str, Any] = {
    "id": "4c3b2a19-0817-4f6e-9d5c-4b3a29180706",
    "name": "kitchen",
    "kind": "refrigerator",
    "temperature_c": 5.0,
    "created_at": "2027-06-28T18:30:00Z",
}
NEW_STORE = {name: STORE[name] for name in ("name", "kind", "temperature_c")}


class StoreOut(serializers.Serializer[Any]):
    """A store of one's own."""

    id = serializers.UUIDField(source="public_id")
    name = serializers.CharField()
    kind = serializers.ChoiceField(Store.Kind.choices)
    temperature_c = serializers.FloatField(allow_null=True, help_text="Null: as its kind usually is.")
    created_at = serializers.DateTimeField()


class StoreIn(StrictSerializer):
    """A refrigerator or freezer."""

    name = Text(max_length=60)
    kind = Choice(Store.Kind.choices, help_text="`freezer`: which sort is not stated.")
    temperature_c = Number(
        COLDEST_C, WARMEST_C, required=False, allow_null=True, help_text="If you measured it."
    )


class StoreChangeIn(StrictSerializer):
    """What may change; a store of another kind is another store."""

    name = Text(max_length=60)
    temperature_c = Number(COLDEST_C, WARMEST_C, allow_null=True)


class TouchedOut(serializers.Serializer[Any]):
    """How many lots an incident touched."""

    lots = serializers.IntegerField()


class OwnStores(Resource):
    """Stores of whoever asks."""

    tag = "lots"

    def rows(self, call: Call) -> QuerySet[Store]:
        """Own stores."""
        return Store.objects.filter(grower=call.grower)


class StoreList(OwnStores):
    """All of them."""

    @page("store_list", "Your stores", StoreOut, example=STORE, order=("name", "public_id"))
    def get(self, call: Call) -> QuerySet[Store]:
        """By name."""
        return self.rows(call)

    @create(
        "store_create",
        "Add a store",
        StoreIn,
        StoreOut,
        example=STORE,
        body_example=NEW_STORE,
        problems=("conflict",),
        at="store",
    )
    def post(self, call: Call) -> Store:
        """A refrigerator or freezer with a name of its own."""
        return store_create(actor=call.grower, **call.data)


class StoreItem(OwnStores):
    """One store."""

    @read("store_read", "One store", StoreOut, example=STORE, problems=("not_found",))
    def get(self, call: Call) -> Store:
        """For its grower alone."""
        return call.row  # type: ignore[no-any-return]

    @change(
        "store_change",
        "Change a store",
        StoreChangeIn,
        StoreOut,
        example=STORE,
        body_example={"temperature_c": 5.0},
        problems=("not_found", "conflict"),
    )
    def patch(self, call: Call) -> Store:
        """Its name or how cold it is; the dates of what lies in it follow."""
        return store_update(actor=call.grower, store=call.row, **call.data)


class StoreIncident(OwnStores):
    """Something went wrong with a store."""

    @act(
        "store_incident",
        "Note what went wrong with a store",
        TouchedOut,
        body=IncidentIn,
        example={"lots": 3},
        body_example={"kind": "switched_off", "hours": 72},
        problems=("not_found", "invalid_input"),
        keyed=True,
    )
    def post(self, call: Call) -> dict[str, int]:
        """It touches every lot that lay in it; whoever has a part in them is told once."""
        happened = WhatHappened(**call.data)
        return {"lots": len(store_incident(actor=call.grower, store=call.row, happened=happened))}
