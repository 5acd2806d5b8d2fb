"""What an offer looks like in the API: out, in, examples."""

from typing import Any

from rest_framework import serializers

from exchange.api.strict import Choice, Day, Flag, Id, StrictSerializer, Text, Whole, Words
from exchange.api.v1.box import BOX, BoxIn, BoxOut
from exchange.api.v1.term_form import TERM, TermIn, TermOut
from exchange.models import Offer, Store
from exchange.models.offer import OpenState, PackingPreset, Treatment

SUPPLY = {"total": 4, "kept_back": 0, "reserved": 1, "sent": 0, "left": 3}
OFFER: dict[str, Any] = {
    "id": "6f3b0c52-2c1e-4c57-9a55-0e6a1d2f7b11",
    "plant_id": "2b7f9a1c-88d4-4b6e-a6a1-0c5d1e7f3b42",
    "plant_name": "unnamed seedling",
    "kind": "in_hand",
    "state": "open",
    "treatment": "dried",
    "packing": "cold_box",
    "box": BOX,
    "doses": 4,
    "doses_per_flower": 1,
    "countries": ["DE"],
    "carrier_service_id": None,
    "posts_on_saturday": False,
    "collected_before_cut_off": True,
    "note": "",
    "terms": [TERM],
    "supply": SUPPLY,
    "created_at": "2027-06-28T18:30:00Z",
    "confirmed_at": "2027-06-28T18:30:00Z",
    "still_true_asked_at": None,
    "lots": [
        {
            "id": "b5a1c7de-9f04-4a3f-8d21-6b7c8d9e0f12",
            "code": "7K3M9QXF",
            "collected_on": "2027-06-28",
            "treatment": "dried",
            "store": "refrigerator",
            "doses": 4,
        }
    ],
}
NEW_OFFER: dict[str, Any] = {
    "plant_id": OFFER["plant_id"],
    "kind": "in_hand",
    "treatment": "dried",
    "doses": 4,
    "countries": ["DE"],
    "collected_on": "2027-06-28",
    "store": "refrigerator",
}
LOT_FIELDS = ("collected_on", "store")


class OfferedLotOut(serializers.Serializer[Any]):
    """Pollen that exists."""

    id = serializers.UUIDField(source="public_id")
    collected_on = serializers.DateField()
    treatment = serializers.ChoiceField(Treatment.choices)
    code = serializers.CharField(help_text="As on its label.")
    store = serializers.ChoiceField(Store.Kind.choices, source="store.kind")
    doses = serializers.IntegerField()


class SupplyOut(serializers.Serializer[Any]):
    """Where the doses are; what is reserved or sent belongs to agreements."""

    total = serializers.IntegerField()
    kept_back = serializers.IntegerField()
    reserved = serializers.IntegerField()
    sent = serializers.IntegerField()
    left = serializers.IntegerField()


class OfferOut(serializers.Serializer[Any]):
    """An offer for its own grower."""

    id = serializers.UUIDField(source="public_id")
    plant_id = serializers.UUIDField(source="plant.public_id")
    plant_name = serializers.CharField(source="plant.name_as_grown")
    kind = serializers.ChoiceField(Offer.Kind.choices)
    state = serializers.ChoiceField(OpenState.choices)
    treatment = serializers.ChoiceField(Treatment.choices)
    packing = serializers.ChoiceField(PackingPreset.choices)
    box = BoxOut()
    doses = serializers.IntegerField(help_text="One is enough for one flower.")
    doses_per_flower = serializers.IntegerField(help_text="Taken of each flower that is collected.")
    countries = serializers.ListField(child=serializers.CharField(), help_text="Besides the own.")
    carrier_service_id = serializers.UUIDField(
        source="carrier_service.public_id", allow_null=True, help_text="Null: by the country's usual week."
    )
    posts_on_saturday = serializers.BooleanField(help_text="Besides the week of the carrier service.")
    collected_before_cut_off = serializers.BooleanField()
    note = serializers.CharField()
    terms = TermOut(many=True)
    supply = SupplyOut(help_text="Of all its lots and of what is still to be collected.")
    created_at = serializers.DateTimeField()
    confirmed_at = serializers.DateTimeField(help_text="When you last said that it holds.")
    still_true_asked_at = serializers.DateTimeField(
        allow_null=True, help_text="Asked since; unanswered for 14 days, it rests: `paused`."
    )
    lots = OfferedLotOut(source="lots.all", many=True)


class OfferIn(StrictSerializer):
    """Pollen to be collected in bloom (`on_request`), or of one lot (`in_hand`)."""

    plant_id = Id()
    kind = Choice(Offer.Kind.choices, default=Offer.Kind.ON_REQUEST.value)
    treatment = Choice(Treatment.choices)
    packing = Choice(PackingPreset.choices, required=False, help_text="`own_box` needs `box`.")
    box = BoxIn(required=False, allow_null=True)
    doses = Whole(1, 999)
    doses_per_flower = Whole(1, 50, required=False)
    countries = Words(child=Text(max_length=2), max_length=250, required=False, help_text="ISO 3166 alpha-2.")
    carrier_service_id = Id(required=False, allow_null=True, help_text="One of your own.")
    posts_on_saturday = Flag(required=False)
    collected_before_cut_off = Flag(required=False)
    note = Text(max_length=300, required=False, allow_blank=True)
    collected_on = Day(required=False, help_text="Of pollen in hand.")
    store = Choice(Store.Kind.choices, required=False, help_text="Of pollen in hand.")
    terms = serializers.ListField(
        child=TermIn(), max_length=12, required=False, help_text="Your usual ones unless stated."
    )


class OfferChangeIn(StrictSerializer):
    """What may change; another treatment is another offer."""

    packing = Choice(PackingPreset.choices, help_text="`own_box` needs `box`.")
    box = BoxIn(allow_null=True)
    doses = Whole(1, 999, help_text="In all, those promised, sent and kept back too.")
    doses_per_flower = Whole(1, 50)
    countries = Words(child=Text(max_length=2), max_length=250, help_text="ISO 3166 alpha-2.")
    carrier_service_id = Id(allow_null=True, help_text="One of your own.")
    posts_on_saturday = Flag()
    collected_before_cut_off = Flag()
    note = Text(max_length=300, allow_blank=True)
    terms = serializers.ListField(
        child=TermIn(), max_length=12, help_text="For who says yes from now on; agreed ones stay as worded."
    )


class CollectIn(StrictSerializer):
    """A lot collected for an offer on request."""

    doses = Whole(1, 999)
    collected_on = Day()
    store = Choice(Store.Kind.choices)


class PartIn(StrictSerializer):
    """So many doses of one part of an offer; which one need not be said where only one has doses."""

    doses = Whole(0, 999)
    lot_id = Id(required=False, help_text="One of its lots.")
    to_be_collected = Flag(default=False, help_text="What is still to be collected, not a lot.")


class PausedOut(serializers.Serializer[Any]):
    """How many offers rest."""

    paused = serializers.IntegerField(help_text="Of your offers, now.")


class OfferQuery(StrictSerializer):
    """Which offers."""

    state = serializers.ChoiceField(OpenState.choices, required=False)
    plant = serializers.UUIDField(required=False)
