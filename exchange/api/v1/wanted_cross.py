"""Wanted crosses: seed parents of the viewer and the pollen they would take; nobody else reads them."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, act, create, page, read
from exchange.api.reference import fields_named, row_named, rows_named
from exchange.api.resource import Resource
from exchange.api.strict import Choice, Id, Number, StrictSerializer, Text, Whole, Words
from exchange.models import WantedCross
from exchange.models.offer import OpenState
from exchange.selectors.wanted_cross import plants_nameable, wanted_crosses_of
from exchange.services.wanted_cross import (
    wanted_cross_close,
    wanted_cross_create,
    wanted_cross_pause,
    wanted_cross_reopen,
)
from growers.models import Group, Plant, Taxon

MOST_NAMED = 30
WANTED_CROSS = {
    "id": "9d2e4f60-7a1b-4c3d-8e5f-1a2b3c4d5e6f",
    "state": "open",
    "seed_parent": {"id": "3c8a0b2d-99e5-4c7f-b7b2-1d6e2f8a4c53", "name": "'Dusk'"},
    "pollen_plants": [],
    "pollen_taxa": [{"id": "e4b6b7a0-51c8-4a1f-8f50-6a3a3d6f0c33", "name": "Nymphaea odorata"}],
    "pollen_groups": ["hardy"],
    "traits": ["scented"],
    "flowers": 4,
    "least_chance": 0.05,
    "note": "",
    "created_at": "2027-02-03T09:00:00Z",
}
NEW_WANTED_CROSS = {
    "seed_parent_id": "3c8a0b2d-99e5-4c7f-b7b2-1d6e2f8a4c53",
    "pollen_taxon_ids": ["e4b6b7a0-51c8-4a1f-8f50-6a3a3d6f0c33"],
    "pollen_groups": ["hardy"],
    "traits": ["scented"],
    "flowers": 4,
    "least_chance": 0.05,
}


class NamedOut(serializers.Serializer[Any]):
    """A plant by the name it is grown under."""

    id = serializers.UUIDField(source="public_id")
    name = serializers.CharField(source="name_as_grown")


class NamedTaxonOut(serializers.Serializer[Any]):
    """A taxon by name."""

    id = serializers.UUIDField(source="public_id")
    name = serializers.CharField()


class WantedCrossOut(serializers.Serializer[Any]):
    """A wanted cross for its own grower."""

    id = serializers.UUIDField(source="public_id")
    state = serializers.ChoiceField(OpenState.choices)
    seed_parent = NamedOut()
    pollen_plants = NamedOut(source="pollen_plants.all", many=True)
    pollen_taxa = NamedTaxonOut(source="pollen_taxa.all", many=True)
    pollen_groups = serializers.ListField(child=serializers.ChoiceField(Group.choices))
    traits = serializers.ListField(child=serializers.CharField())
    flowers = serializers.IntegerField()
    least_chance = serializers.FloatField(help_text="Proposals below it are marked, not left out.")
    note = serializers.CharField()
    created_at = serializers.DateTimeField()


class WantedCrossIn(StrictSerializer):
    """A seed parent of yours; of plants, taxa and groups any one will do, traits must all be there."""

    seed_parent_id = Id()
    pollen_plant_ids = Words(
        child=Id(),
        max_length=MOST_NAMED,
        required=False,
        help_text="Yours, meaning their clones, or those you were shown.",
    )
    pollen_taxon_ids = Words(child=Id(), max_length=MOST_NAMED, required=False)
    pollen_groups = Words(child=Choice(Group.choices), required=False)
    traits = Words(required=False)
    flowers = Whole(1, 12, required=False)
    least_chance = Number(0, 1, required=False)
    note = Text(max_length=300, required=False, allow_blank=True)


class WantedCrossQuery(StrictSerializer):
    """Which wanted crosses."""

    state = serializers.ChoiceField(OpenState.choices, required=False)


class WantedCrossList(Resource):
    """The viewer's wanted crosses."""

    tag = "wanted crosses"

    @page(
        "wanted_cross_list",
        "Your wanted crosses",
        WantedCrossOut,
        example=WANTED_CROSS,
        order=("-created_at", "public_id"),
        query=WantedCrossQuery,
    )
    def get(self, call: Call) -> QuerySet[WantedCross]:
        """Newest first."""
        return wanted_crosses_of(call.grower).filter(**call.query)

    @create(
        "wanted_cross_create",
        "Ask for pollen",
        WantedCrossIn,
        WantedCrossOut,
        example=WANTED_CROSS,
        body_example=NEW_WANTED_CROSS,
        at="wanted_cross",
    )
    def post(self, call: Call) -> WantedCross:
        """For one of your plants; without plants, taxa, groups and traits it asks for any pollen."""
        fields = dict(call.data)
        plants = rows_named(
            plants_nameable(call.grower),
            fields.pop("pollen_plant_ids", ()),
            field="pollen_plant_ids",
            what="a plant",
        )
        taxa = rows_named(
            Taxon.objects.all(), fields.pop("pollen_taxon_ids", ()), field="pollen_taxon_ids", what="a taxon"
        )
        own, asked = Plant.objects.filter(grower=call.grower), fields.pop("seed_parent_id")
        seed_parent: Any = row_named(own, asked, field="seed_parent_id", what="a plant")
        with fields_named({"seed_parent": "seed_parent_id"}):
            made = wanted_cross_create(
                actor=call.grower, seed_parent=seed_parent, pollen_plants=plants, pollen_taxa=taxa, **fields
            )
        return wanted_crosses_of(call.grower).get(pk=made.pk)


class OfWantedCross(Resource):
    """What belongs to one of the viewer's wanted crosses."""

    tag = "wanted crosses"

    def rows(self, call: Call) -> QuerySet[WantedCross]:
        """The viewer's own."""
        return wanted_crosses_of(call.grower)


class WantedCrossItem(OfWantedCross):
    """One of the viewer's wanted crosses."""

    @read(
        "wanted_cross_read",
        "One of your wanted crosses",
        WantedCrossOut,
        example=WANTED_CROSS,
        problems=("not_found",),
    )
    def get(self, call: Call) -> WantedCross:
        """Only its grower can read it."""
        return call.row  # type: ignore[no-any-return]


class WantedCrossPause(OfWantedCross):
    """Take a wanted cross out for a while."""

    @act(
        "wanted_cross_pause",
        "Pause a wanted cross",
        WantedCrossOut,
        example={**WANTED_CROSS, "state": "paused"},
        problems=("not_found", "conflict"),
    )
    def post(self, call: Call) -> WantedCross:
        """Its proposals are withdrawn; what is paused already stays so."""
        wanted_cross_pause(actor=call.grower, wanted_cross=call.row)
        return self.rows(call).get(pk=call.row.pk)


class WantedCrossReopen(OfWantedCross):
    """Bring a paused wanted cross back."""

    @act(
        "wanted_cross_reopen",
        "Reopen a paused wanted cross",
        WantedCrossOut,
        example=WANTED_CROSS,
        problems=("not_found", "conflict"),
    )
    def post(self, call: Call) -> WantedCross:
        """409 for a closed one."""
        wanted_cross_reopen(actor=call.grower, wanted_cross=call.row)
        return self.rows(call).get(pk=call.row.pk)


class WantedCrossClose(OfWantedCross):
    """End a wanted cross."""

    @act(
        "wanted_cross_close",
        "Close a wanted cross for good",
        WantedCrossOut,
        example={**WANTED_CROSS, "state": "closed"},
        problems=("not_found", "conflict"),
    )
    def post(self, call: Call) -> WantedCross:
        """It cannot be reopened; make a new one."""
        wanted_cross_close(actor=call.grower, wanted_cross=call.row)
        return self.rows(call).get(pk=call.row.pk)
