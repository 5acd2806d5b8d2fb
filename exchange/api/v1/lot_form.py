"""What a lot looks like in the API: out, in, examples."""

from typing import Any

from rest_framework import serializers

from exchange.api.strict import Choice, Day, Flag, Id, Instant, Number, StrictSerializer, Text, Whole
from exchange.api.v1.offer_form import SUPPLY, SupplyOut
from exchange.api.v1.told import ToldOut
from exchange.models import CustodyEvent, Incident, Lot, Store
from exchange.models.offer import Treatment

LOT: dict[str, Any] = {
    "id": "b5a1c7de-9f04-4a3f-8d21-6b7c8d9e0f12",
    "code": "7K3M9QXF",
    "role": "owner",
    "plant_id": "2b7f9a1c-88d4-4b6e-a6a1-0c5d1e7f3b42",
    "plant_name": "unnamed seedling",
    "offer_id": None,
    "state": "drying",
    "treatment": "dried",
    "store_id": "4c3b2a19-0817-4f6e-9d5c-4b3a29180706",
    "store": "refrigerator",
    "collected_on": "2027-06-28",
    "collected_hour": 9,
    "zone": "Europe/Paris",
    "flowers_emptied": 2,
    "flower_day": 2,
    "netted_before_opening": True,
    "dried_at": None,
    "doses": 4,
    "supply": {**SUPPLY, "reserved": 0, "left": 4},
    "best_before": "2027-07-14T09:00:00Z",
    "best_before_median": "2027-08-27T21:00:00Z",
    "worth_trying_until": "2028-05-24T07:00:00Z",
    "doubts": [],
    "reckoned_at": "2027-06-28T18:30:01Z",
    "created_at": "2027-06-28T18:30:00Z",
    "changed_at": "2027-06-28T18:30:00Z",
}
NEW_LOT: dict[str, Any] = {
    "plant_id": LOT["plant_id"],
    "flowers_emptied": 2,
    "flower_day": 2,
    "collected_hour": 9,
    "netted_before_opening": True,
    "doses": 4,
}
CUSTODY: dict[str, Any] = {
    "id": "8a7b6c5d-4e3f-4210-9fed-cba987654321",
    "kind": "collected",
    "packet": None,
    "occurred_at": "2027-06-28T07:00:00Z",
    "received_at": "2027-06-28T18:30:00Z",
    "zone": "Europe/Paris",
    "by": "you",
    "detail": "collected",
    "parameters": {"flowers": 2, "doses": 4, "treatment": "dried", "store": "refrigerator"},
    "corrects": None,
}


class LotOut(serializers.Serializer[Any]):
    """Pollen that exists, for its grower or for a partner; null is not stated, or not a partner's to read."""

    id = serializers.UUIDField(source="public_id")
    code = serializers.CharField(help_text="Seven characters and one that checks them, as on its label.")
    role = serializers.ChoiceField([("owner", "owner"), ("partner", "partner")])
    plant_id = serializers.UUIDField(allow_null=True)
    plant_name = serializers.CharField()
    offer_id = serializers.UUIDField(allow_null=True)
    state = serializers.ChoiceField(Lot.State.choices)
    treatment = serializers.ChoiceField(Treatment.choices)
    store_id = serializers.UUIDField(allow_null=True)
    store = serializers.ChoiceField(Store.Kind.choices)
    collected_on = serializers.DateField()
    collected_hour = serializers.IntegerField(allow_null=True, help_text="On the clock of `zone`.")
    zone = serializers.CharField(allow_null=True)
    flowers_emptied = serializers.IntegerField(allow_null=True)
    flower_day = serializers.IntegerField(allow_null=True)
    netted_before_opening = serializers.BooleanField(allow_null=True)
    dried_at = serializers.DateTimeField(allow_null=True)
    doses = serializers.IntegerField(allow_null=True)
    supply = SupplyOut(allow_null=True)
    best_before = serializers.DateTimeField(
        allow_null=True, help_text="When one packet in ten may be worth half a fresh one or less."
    )
    best_before_median = serializers.DateTimeField(allow_null=True, help_text="When every second one may.")
    worth_trying_until = serializers.DateTimeField(
        allow_null=True, help_text="No date changes a lot's state; late uses teach most."
    )
    doubts = ToldOut(many=True, help_text="What lies outside the curve; then the dates may not hold.")
    reckoned_at = serializers.DateTimeField(allow_null=True)
    created_at = serializers.DateTimeField()
    changed_at = serializers.DateTimeField()


class CollectedFields(StrictSerializer):
    """What is said of the collecting."""

    flower_day = Whole(1, 7, required=False, allow_null=True, help_text="1 is the first day.")
    collected_on = Day(required=False, help_text="Today at the plant if left out.")
    collected_hour = Whole(0, 23, required=False, allow_null=True)
    netted_before_opening = Flag(required=False, allow_null=True)


class LotIn(CollectedFields):
    """Pollen collected; all but plant and flowers has a default or stays not stated."""

    plant_id = Id()
    flowers_emptied = Whole(1, 200)
    treatment = Choice(Treatment.choices, required=False, help_text="`dried` if left out.")
    doses = Whole(1, 999, required=False, help_text="One a flower if left out.")
    store_id = Id(required=False, help_text="Your refrigerator or freezer if left out.")
    note = Text(max_length=500, required=False, allow_blank=True, help_text="For you alone, encrypted.")


class LotCorrectIn(CollectedFields):
    """What was said wrongly of the collecting."""

    flowers_emptied = Whole(1, 200, required=False)
    note = Text(max_length=500, required=False, allow_blank=True)


class DeedIn(StrictSerializer):
    """When it happened, now if left out; a note for yourself."""

    occurred_at = Instant(required=False)
    note = Text(max_length=500, required=False, allow_blank=True)


class MoveIn(DeedIn):
    """To which of your stores."""

    store_id = Id()


class IncidentIn(StrictSerializer):
    """What went wrong, from when, for how long and how warm it got."""

    kind = Choice(Incident.Kind.choices)
    began_at = Instant(required=False, help_text="So many hours ago if left out.")
    hours = Number(0, 1440, required=False)
    temperature_c = Number(-90, 60, required=False, help_text="A usual one is assumed if left out.")
    note = Text(max_length=500, required=False, allow_blank=True)


class CustodyOut(serializers.Serializer[Any]):
    """One event in a lot's history; nothing is ever changed in it or taken out of it."""

    id = serializers.UUIDField(source="public_id")
    kind = serializers.ChoiceField(CustodyEvent.Kind.choices)
    packet = serializers.IntegerField(allow_null=True, help_text="Number of the packet it was about.")
    occurred_at = serializers.DateTimeField(help_text="As said by who did it.")
    received_at = serializers.DateTimeField(help_text="As told to the exchange.")
    zone = serializers.CharField(allow_null=True)
    by = serializers.ChoiceField([(word, word) for word in ("you", "other")])
    detail = serializers.CharField()
    parameters = serializers.DictField(child=serializers.JSONField(allow_null=True))
    corrects = serializers.UUIDField(allow_null=True)


class LotQuery(StrictSerializer):
    """Which lots."""

    state = serializers.ChoiceField(Lot.State.choices, required=False)
    plant = serializers.UUIDField(required=False)
    updated_since = Instant(required=False, help_text="Changed at this instant or later.")
