"""Upkeep of offers: what was collected, what there is less of, what is kept back, whether they still hold."""

from typing import Any

from exchange.api.operation import Call, act
from exchange.api.reference import row_named
from exchange.api.resource import Resource
from exchange.api.v1.offer import OfOffer
from exchange.api.v1.offer_form import OFFER, SUPPLY, CollectIn, OfferOut, PartIn, PausedOut
from exchange.models import Lot, Offer
from exchange.services.collection import offer_collect
from exchange.services.offer_change import offer_keep_back, offer_still_true, offers_pause_all
from exchange.services.offer_part import Part
from exchange.services.shortfall import offer_came_up_short
from growers.errors import FieldProblem, InvalidInput

UPKEEP = ("not_found", "conflict")


class OfferCollect(OfOffer):
    """Pollen collected in bloom."""

    @act(
        "offer_collect",
        "Note a lot collected",
        OfferOut,
        body=CollectIn,
        example={**OFFER, "kind": "on_request"},
        body_example={"doses": 4, "collected_on": "2027-06-28", "store": "refrigerator"},
        problems=UPKEEP,
        keyed=True,
    )
    def post(self, call: Call) -> Offer:
        """For an offer on request. Promised doses go over to the lot, the earliest agreed first."""
        offer_collect(actor=call.grower, offer=call.row, **call.data)
        return self.rows(call).get(pk=call.row.pk)


class OfferCameUpShort(OfOffer):
    """Less pollen than expected."""

    @act(
        "offer_came_up_short",
        "Say that there is less pollen",
        OfferOut,
        body=PartIn,
        example={**OFFER, "supply": {**SUPPLY, "total": 3, "left": 2}},
        body_example={"doses": 3},
        problems=UPKEEP,
        keyed=True,
    )
    def post(self, call: Call) -> Offer:
        """How many doses there are after all, without those sent; fewer than there were.

        What you keep back goes first. Then, by the rule of the latest round, each grower keeps one dose
        before anybody keeps a second, or the earlier agreement keeps all. Whoever loses doses reads a kind
        sentence.
        """
        doses, part = call.data["doses"], _part(call)
        offer_came_up_short(actor=call.grower, offer=call.row, doses=doses, part=part)
        return self.rows(call).get(pk=call.row.pk)


class OfferKeepBack(OfOffer):
    """The first dose for oneself."""

    @act(
        "offer_keep_back",
        "Keep doses for yourself",
        OfferOut,
        body=PartIn,
        example={**OFFER, "supply": {**SUPPLY, "kept_back": 1, "left": 2}},
        body_example={"doses": 1},
        problems=(*UPKEEP, "doses_short", "invalid_input"),
    )
    def post(self, call: Call) -> Offer:
        """So many in all, none with 0; what is promised or sent stays so."""
        doses, part = call.data["doses"], _part(call)
        offer_keep_back(actor=call.grower, offer=call.row, doses=doses, part=part)
        return self.rows(call).get(pk=call.row.pk)


class OfferStillTrue(OfOffer):
    """It still holds."""

    @act("offer_still_true", "Say that an offer still holds", OfferOut, example=OFFER, problems=UPKEEP)
    def post(self, call: Call) -> Offer:
        """One that rests because nobody said so is open again; 409 for one that you paused yourself."""
        offer_still_true(actor=call.grower, offer=call.row)
        return self.rows(call).get(pk=call.row.pk)


class OffersPauseAll(Resource):
    """All offers at once."""

    tag = "offers"

    @act("offer_pause_all", "Pause all your offers", PausedOut, example={"paused": 3})
    def post(self, call: Call) -> dict[str, int]:
        """Nothing new is proposed for them; agreements stay."""
        return {"paused": offers_pause_all(actor=call.grower)}


def _part(call: Call) -> Part:
    """The part of the offer that the body means."""
    lot_id = call.data.get("lot_id")
    if lot_id is None:
        return "to_be_collected" if call.data["to_be_collected"] else None
    if call.data["to_be_collected"]:
        detail = "lot_id has no place with to_be_collected."
        raise InvalidInput(detail, problems=(FieldProblem("/lot_id", "not_with_kind", detail),))
    lot: Any = row_named(Lot.objects.filter(offer=call.row), lot_id, field="lot_id", what="a lot")
    return lot  # type: ignore[no-any-return]
