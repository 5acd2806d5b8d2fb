"""Offers: pollen that the viewer gives."""

from collections.abc import Iterable
from typing import Any

from django.db.models import QuerySet

from exchange.api.operation import Call, act, change, create, page, read
from exchange.api.reference import fields_named, row_named
from exchange.api.resource import Resource
from exchange.api.v1.carrier_service import service_taken
from exchange.api.v1.offer_form import (
    LOT_FIELDS,
    NEW_OFFER,
    OFFER,
    OfferChangeIn,
    OfferIn,
    OfferOut,
    OfferQuery,
)
from exchange.models import Offer
from exchange.selectors.offer import OfferForOwner, offers_for, offers_of
from exchange.services.offer import (
    offer_close,
    offer_create,
    offer_in_hand_create,
    offer_pause,
    offer_reopen,
)
from exchange.services.offer_change import offer_update
from growers.errors import FieldProblem, InvalidInput
from growers.models import Plant


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
        fields = service_taken(call.grower, dict(call.data))
        kind, own = fields.pop("kind"), Plant.objects.filter(grower=call.grower)
        _parts_check(fields, kind)
        plant: Any = row_named(own, fields.pop("plant_id"), field="plant_id", what="a plant")
        make = offer_in_hand_create if kind == Offer.Kind.IN_HAND else offer_create
        with fields_named({"plant": "plant_id", "carrier_service": "carrier_service_id"}):
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

    @change(
        "offer_change",
        "Change an offer",
        OfferChangeIn,
        OfferOut,
        example=OFFER,
        body_example={"posts_on_saturday": True},
        problems=("not_found", "conflict"),
    )
    def patch(self, call: Call) -> Offer:
        """What is not stated stays. It says that the offer holds. 409 for fewer doses than are promised."""
        fields = service_taken(call.grower, call.data)
        with fields_named({"carrier_service": "carrier_service_id"}):
            offer_update(actor=call.grower, offer=call.row, **fields)
        return self.rows(call).get(pk=call.row.pk)


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
