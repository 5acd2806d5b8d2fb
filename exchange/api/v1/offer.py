"""Offers: pollen that the viewer gives."""

from collections.abc import Iterable
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, act, create, page, read
from exchange.api.reference import fields_named, row_named
from exchange.api.resource import Resource
from exchange.api.strict import Choice, Day, Flag, Id, StrictSerializer, Text, Whole, Words
from exchange.api.v1.term_form import TERM, TermIn, TermOut
from exchange.models import Lot, Offer
from exchange.models.offer import OpenState, PackingPreset, Treatment
from exchange.selectors.offer import OfferForOwner, offers_for, offers_of
from exchange.services.offer import (
    offer_close,
    offer_create,
    offer_in_hand_create,
    offer_pause,
    offer_reopen,
)
from growers.errors import FieldProblem, InvalidInput
from growers.models import Plant

SUPPLY = {"total": 4, "kept_back": 0, "reserved": 1, "sent": 0, "left": 3}
OFFER = {
    "id": "6f3b0c52-2c1e-4c57-9a55-0e6a1d2f7b11",
    "plant_id": "2b7f9a1c-88d4-4b6e-a6a1-0c5d1e7f3b42",
    "plant_name": "unnamed seedling",
    "kind": "in_hand",
    "state": "open",
    "treatment": "dried",
    "packing": "cold_box",
    "doses": 4,
    "doses_per_flower": 1,
    "countries": ["DE"],
    "posts_on_saturday": False,
    "collected_before_cut_off": True,
    "note": "",
    "terms": [TERM],
    "supply": SUPPLY,
    "created_at": "2027-06-28T18:30:00Z",
    "lots": [
        {
            "id": "b5a1c7de-9f04-4a3f-8d21-6b7c8d9e0f12",
            "collected_on": "2027-06-28",
            "treatment": "dried",
            "store": "refrigerator",
            "doses": 4,
        }
    ],
}
NEW_OFFER = {
    "plant_id": OFFER["plant_id"],
    "kind": "in_hand",
    "treatment": "dried",
    "doses": 4,
    "countries": ["DE"],
    "collected_on": "2027-06-28",
    "store": "refrigerator",
}
LOT_FIELDS = ("collected_on", "store")


class LotOut(serializers.Serializer[Any]):
    """Pollen that exists."""

    id = serializers.UUIDField(source="public_id")
    collected_on = serializers.DateField()
    treatment = serializers.ChoiceField(Treatment.choices)
    store = serializers.ChoiceField(Lot.Store.choices)
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
    doses = serializers.IntegerField(help_text="One is enough for one flower.")
    doses_per_flower = serializers.IntegerField(help_text="Taken of each flower that is collected.")
    countries = serializers.ListField(child=serializers.CharField(), help_text="Besides the own.")
    posts_on_saturday = serializers.BooleanField()
    collected_before_cut_off = serializers.BooleanField()
    note = serializers.CharField()
    terms = TermOut(many=True)
    supply = SupplyOut(help_text="Of all its lots and of what is still to be collected.")
    created_at = serializers.DateTimeField()
    lots = LotOut(source="lots.all", many=True)


class OfferIn(StrictSerializer):
    """Pollen to be collected in bloom (`on_request`), or of one lot (`in_hand`)."""

    plant_id = Id()
    kind = Choice(Offer.Kind.choices, default=Offer.Kind.ON_REQUEST.value)
    treatment = Choice(Treatment.choices)
    packing = Choice(PackingPreset.choices, required=False)
    doses = Whole(1, 999)
    doses_per_flower = Whole(1, 50, required=False)
    countries = Words(child=Text(max_length=2), max_length=250, required=False, help_text="ISO 3166 alpha-2.")
    posts_on_saturday = Flag(required=False)
    collected_before_cut_off = Flag(required=False)
    note = Text(max_length=300, required=False, allow_blank=True)
    collected_on = Day(required=False, help_text="Of pollen in hand.")
    store = Choice(Lot.Store.choices, required=False, help_text="Of pollen in hand.")
    terms = serializers.ListField(
        child=TermIn(), max_length=12, required=False, help_text="Your usual ones unless stated."
    )


class OfferQuery(StrictSerializer):
    """Which offers."""

    state = serializers.ChoiceField(OpenState.choices, required=False)
    plant = serializers.UUIDField(required=False)


class OfOwner(Resource):
    """Offers for their own grower."""

    tag = "offers"

    def represent(self, row: Offer) -> OfferForOwner:
        """With its terms in words and its doses counted."""
        return offers_for([row])[0]

    def represent_each(self, rows: list[Any]) -> Iterable[OfferForOwner]:
        """All of a page."""
        return offers_for(rows)


class OfferList(OfOwner):
    """The viewer's offers."""

    @page(
        "offer_list",
        "Your offers",
        OfferOut,
        example=OFFER,
        order=("-created_at", "public_id"),
        query=OfferQuery,
    )
    def get(self, call: Call) -> QuerySet[Offer]:
        """Newest first."""
        offers = offers_of(call.grower)
        if "state" in call.query:
            offers = offers.filter(state=call.query["state"])
        if "plant" in call.query:
            offers = offers.filter(plant__public_id=call.query["plant"])
        return offers

    @create(
        "offer_create", "Offer pollen", OfferIn, OfferOut, example=OFFER, body_example=NEW_OFFER, at="offer"
    )
    def post(self, call: Call) -> Offer:
        """Of one of your plants; `in_hand` needs `collected_on` and `store`, `on_request` has neither."""
        fields = dict(call.data)
        kind, own = fields.pop("kind"), Plant.objects.filter(grower=call.grower)
        _parts_check(fields, kind)
        plant: Any = row_named(own, fields.pop("plant_id"), field="plant_id", what="a plant")
        make = offer_in_hand_create if kind == Offer.Kind.IN_HAND else offer_create
        with fields_named({"plant": "plant_id"}):
            offer = make(actor=call.grower, plant=plant, **fields)
        return offers_of(call.grower).get(pk=offer.pk)


def _parts_check(fields: dict[str, Any], kind: str) -> None:
    problems = []
    for name in LOT_FIELDS:
        if kind == Offer.Kind.IN_HAND and name not in fields:
            problems.append(FieldProblem(f"/{name}", "missing", f"{name} is missing; {kind} needs it."))
        if kind != Offer.Kind.IN_HAND and name in fields:
            problems.append(FieldProblem(f"/{name}", "not_with_kind", f"{name} has no place with {kind}."))
    if problems:
        raise InvalidInput(" ".join(problem.detail for problem in problems), problems=tuple(problems))


class OfOffer(OfOwner):
    """What belongs to one of the viewer's offers."""

    def rows(self, call: Call) -> QuerySet[Offer]:
        """The viewer's own."""
        return offers_of(call.grower)


class OfferItem(OfOffer):
    """One of the viewer's offers."""

    @read("offer_read", "One of your offers", OfferOut, example=OFFER, problems=("not_found",))
    def get(self, call: Call) -> Offer:
        """With its lots."""
        return call.row  # type: ignore[no-any-return]


class OfferPause(OfOffer):
    """Take an offer out for a while."""

    @act(
        "offer_pause",
        "Pause an offer",
        OfferOut,
        example={**OFFER, "state": "paused"},
        problems=("not_found", "conflict"),
    )
    def post(self, call: Call) -> Offer:
        """Its proposals are withdrawn; what is paused already stays so."""
        offer_pause(actor=call.grower, offer=call.row)
        return self.rows(call).get(pk=call.row.pk)


class OfferReopen(OfOffer):
    """Bring a paused offer back."""

    @act("offer_reopen", "Reopen a paused offer", OfferOut, example=OFFER, problems=("not_found", "conflict"))
    def post(self, call: Call) -> Offer:
        """409 for a closed one."""
        offer_reopen(actor=call.grower, offer=call.row)
        return self.rows(call).get(pk=call.row.pk)


class OfferClose(OfOffer):
    """End an offer."""

    @act(
        "offer_close",
        "Close an offer for good",
        OfferOut,
        example={**OFFER, "state": "closed"},
        problems=("not_found", "conflict"),
    )
    def post(self, call: Call) -> Offer:
        """It cannot be reopened; make a new one."""
        offer_close(actor=call.grower, offer=call.row)
        return self.rows(call).get(pk=call.row.pk)
