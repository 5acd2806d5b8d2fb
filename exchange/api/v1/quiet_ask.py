"""Quiet asks: questions to the viewer for pollen that they have not offered."""

from collections.abc import Iterable
from typing import Any, cast

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, act, page
from exchange.api.resource import Resource
from exchange.api.strict import Choice, Flag, StrictSerializer, Text, Whole, Words
from exchange.api.v1.region import REGION, RegionOut
from exchange.api.v1.term_form import TermIn
from exchange.models import QuietAsk
from exchange.models.offer import PackingPreset, Treatment
from exchange.selectors.quiet_ask import QuietAskForOwner, quiet_asks_for, quiet_asks_of
from exchange.services.quiet_ask import quiet_ask_answer
from growers.models import Grower

ASK: dict[str, Any] = {
    "id": "8c7b6a59-4837-4261-9504-f3e2d1c0b9a8",
    "plant_id": "2b7f9a1c-88d4-4b6e-a6a1-0c5d1e7f3b42",
    "plant_name": "unnamed seedling",
    "region": {**REGION, "country": "DE"},
    "asked_on": "2027-07-02",
    "answer_by": "2027-08-01",
    "detail": (
        "Someone in this region: Germany, would like pollen of your unnamed seedling. They do not know of it"
        " unless you say yes."
    ),
    "answer": None,
}


class QuietAskOut(serializers.Serializer[Any]):
    """Somebody in a region would like pollen of a plant of the viewer's."""

    id = serializers.UUIDField(source="public_id")
    plant_id = serializers.UUIDField()
    plant_name = serializers.CharField()
    region = RegionOut()
    asked_on = serializers.DateField()
    answer_by = serializers.DateField(help_text="Unanswered, it goes away; nothing follows from that.")
    detail = serializers.CharField()
    answer = serializers.ChoiceField(QuietAsk.Answer.choices, allow_null=True)


class QuietAnswerIn(StrictSerializer):
    """Yes, with what is offered; or no, of this year or for good."""

    answer = Choice(QuietAsk.Answer.choices)
    treatment = Choice(Treatment.choices, required=False, help_text="With yes.")
    doses = Whole(1, 999, required=False, help_text="With yes.")
    packing = Choice(PackingPreset.choices, required=False)
    doses_per_flower = Whole(1, 50, required=False)
    countries = Words(child=Text(max_length=2), max_length=250, required=False, help_text="ISO 3166 alpha-2.")
    posts_on_saturday = Flag(required=False)
    collected_before_cut_off = Flag(required=False)
    note = Text(max_length=300, required=False, allow_blank=True)
    terms = serializers.ListField(
        child=TermIn(), max_length=12, required=False, help_text="Your usual ones unless stated."
    )


class OfOwner(Resource):
    """Questions to whoever asks for them."""

    tag = "quiet asks"

    def rows(self, call: Call) -> QuerySet[QuietAsk]:
        """About the viewer's own plants."""
        return quiet_asks_of(call.grower)

    def represent(self, row: QuietAsk) -> QuietAskForOwner:
        """With a region in place of who asks."""
        return quiet_asks_for(self.viewer, [row])[0]

    def represent_each(self, rows: list[Any]) -> Iterable[QuietAskForOwner]:
        """All of a page."""
        return quiet_asks_for(self.viewer, rows)

    @property
    def viewer(self) -> Grower:
        """Who reads."""
        return cast(Grower, self.request.user)


class QuietAskList(OfOwner):
    """What the viewer is asked."""

    @page(
        "quiet_ask_list",
        "What you are asked quietly",
        QuietAskOut,
        example=ASK,
        order=("created_at", "public_id"),
    )
    def get(self, call: Call) -> QuerySet[QuietAsk]:
        """Open questions, the longest waiting first; only where your account says that you may be asked."""
        return self.rows(call).filter(answer="")


class QuietAskAnswer(OfOwner):
    """The viewer's answer."""

    @act(
        "quiet_ask_answer",
        "Answer a quiet ask",
        QuietAskOut,
        body=QuietAnswerIn,
        example={**ASK, "answer": "not_this_year"},
        body_example={"answer": "not_this_year"},
        problems=("not_found", "conflict"),
        keyed=True,
    )
    def post(self, call: Call) -> QuietAsk:
        """A yes makes an offer on request, and ordinary matching; a no is told to nobody.

        `not_this_year` holds for 300 days, `never` for this plant for good.
        """
        return quiet_ask_answer(actor=call.grower, ask=call.row, **call.data)
