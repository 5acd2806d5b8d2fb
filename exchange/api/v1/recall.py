"""Recalls: what was found on a plant, for whoever holds something of it."""

from collections.abc import Iterable
from typing import Any, cast

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, create, page, read
from exchange.api.resource import Resource
from exchange.api.strict import Choice, Day, StrictSerializer, Text
from exchange.models import Recall
from exchange.selectors.recall import RecallForViewer, recalls_for, recalls_known
from exchange.services.recall import recall_report
from growers.models import Grower, Plant

RECALL: dict[str, Any] = {
    "id": "6b5a4938-2716-4504-93f2-e1d0c0bfaead",
    "kind": "wrong_name",
    "found_on": "2027-06-30",
    "plant_name": "'Ferry'",
    "detail": "'Ferry' is not what its name says, as was found on 2027-06-30. Crosses made with it have"
    " another parent than was written down.",
    "reported_by_you": True,
    "told_at": "2027-06-30T18:00:00Z",
    "told": 2,
    "held": None,
}


class RecallOut(serializers.Serializer[Any]):
    """What was found, and what the viewer holds of it."""

    id = serializers.UUIDField(source="public_id")
    kind = serializers.ChoiceField(Recall.Kind.choices)
    found_on = serializers.DateField()
    plant_name = serializers.CharField()
    detail = serializers.CharField()
    reported_by_you = serializers.BooleanField()
    told_at = serializers.DateTimeField()
    told = serializers.IntegerField(allow_null=True, help_text="How many others were told, for who reported.")
    held = serializers.DictField(
        child=serializers.ListField(child=serializers.CharField()),
        allow_null=True,
        help_text="Codes of lots and packets, numbers of your own plants, when you were told.",
    )


class RecallIn(StrictSerializer):
    """What you found on your plant."""

    kind = Choice(Recall.Kind.choices)
    found_on = Day()
    text = Text(max_length=300, required=False, allow_blank=True, help_text="All who are told read it.")


class OfViewer(Resource):
    """Recalls for the eyes of whoever asks."""

    tag = "lots"

    def rows(self, call: Call) -> QuerySet[Any]:
        """Reported by the viewer, or told to them."""
        return recalls_known(call.grower)

    def represent(self, row: Recall) -> RecallForViewer:
        """What the viewer may read of it."""
        return recalls_for(self.viewer, [row])[0]

    def represent_each(self, rows: list[Any]) -> Iterable[RecallForViewer]:
        """All of a page."""
        return recalls_for(self.viewer, rows)

    @property
    def viewer(self) -> Grower:
        """Who asks."""
        return cast(Grower, self.request.user)


class RecallList(OfViewer):
    """All one knows of."""

    @page("recall_list", "Recalls", RecallOut, example=RECALL, order=("-found_on", "public_id"))
    def get(self, call: Call) -> QuerySet[Recall]:
        """The latest first."""
        return recalls_known(call.grower)


class RecallItem(OfViewer):
    """One recall."""

    @read("recall_read", "One recall", RecallOut, example=RECALL, problems=("not_found",))
    def get(self, call: Call) -> Recall:
        """For who reported it and for who was told."""
        return call.row  # type: ignore[no-any-return]


class PlantRecalls(OfViewer):
    """Something was found on a plant of one's own."""

    def rows(self, call: Call) -> QuerySet[Any]:
        """Own plants."""
        return Plant.objects.filter(grower=call.grower)

    @create(
        "recall_create",
        "Tell all who hold something of a plant",
        RecallIn,
        RecallOut,
        example=RECALL,
        body_example={"kind": "wrong_name", "found_on": "2027-06-30"},
        problems=("not_found",),
        at="recall",
    )
    def post(self, call: Call) -> Recall:
        """A pest, a virus or a wrong name: everyone who holds pollen or seedlings of it hears of it once."""
        plant: Plant = call.row
        made = recall_report(actor=call.grower, plant=plant, **call.data)
        return recalls_known(call.grower).get(pk=made.pk)
