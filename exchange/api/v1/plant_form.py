"""What a plant looks like in the API: in, out, examples."""

from typing import Any

from rest_framework import serializers

from exchange.api.strict import Choice, Flag, Id, StrictSerializer, Text, Whole, Words
from growers.models import Diel, Fertility, Group, Plant

PLANT = {
    "id": "2b7f9a1c-88d4-4b6e-a6a1-0c5d1e7f3b42",
    "site_id": "8a1f3f0e-3a52-4e0b-9f0a-5b1e2f6f9d21",
    "number": "12",
    "name_as_grown": "unnamed seedling",
    "taxon_id": None,
    "taxon_name": None,
    "group": "hardy",
    "diel": "day",
    "identity": "as_received",
    "crowns": 4,
    "traits": ["white", "scented"],
    "seed_fertility": "unknown",
    "pollen_fertility": "yes",
    "fertility_evidence": "its pollen set seed in 2026",
    "chromosome_counts": [],
    "seed_parent": None,
    "pollen_parent": None,
    "parentage_confidence": "declared",
    "direction_known": True,
    "origin": "cultivated",
    "wild_country": "",
    "wild_year": None,
    "rights": "none_known",
    "health_seen": "",
}
NEW_PLANT = {
    "site_id": PLANT["site_id"],
    "name_as_grown": "unnamed seedling",
    "group": "hardy",
    "crowns": 4,
    "traits": ["white", "scented"],
    "pollen_fertility": "yes",
    "fertility_evidence": "its pollen set seed in 2026",
    "origin": "cultivated",
    "rights": "none_known",
}
LONGEST_EVIDENCE = 300
PARENT_HELP = "A plant of yours, or one you were shown in a pairing."


class ParentOut(serializers.Serializer[Any]):
    """A parent; the number only of a plant of your own."""

    id = serializers.UUIDField(source="public_id")
    number = serializers.CharField()
    name_as_grown = serializers.CharField()


class PlantOut(serializers.Serializer[Any]):
    """A plant for its owner."""

    id = serializers.UUIDField(source="public_id")
    site_id = serializers.UUIDField(source="site.public_id")
    number = serializers.CharField()
    name_as_grown = serializers.CharField()
    taxon_id = serializers.UUIDField(source="taxon.public_id", allow_null=True, default=None)
    taxon_name = serializers.CharField(source="taxon.name", allow_null=True, default=None)
    group = serializers.ChoiceField(Group.choices)
    diel = serializers.ChoiceField(Diel.choices)
    identity = serializers.ChoiceField(Plant.Identity.choices)
    crowns = serializers.IntegerField()
    traits = serializers.ListField(child=serializers.CharField())
    seed_fertility = serializers.ChoiceField(Fertility.choices)
    pollen_fertility = serializers.ChoiceField(Fertility.choices)
    fertility_evidence = serializers.CharField()
    chromosome_counts = serializers.ListField(child=serializers.IntegerField(), help_text="2n.")
    seed_parent = ParentOut(allow_null=True)
    pollen_parent = ParentOut(allow_null=True)
    parentage_confidence = serializers.ChoiceField(Plant.Confidence.choices)
    direction_known = serializers.BooleanField()
    origin = serializers.ChoiceField(Plant.Origin.choices)
    wild_country = serializers.CharField()
    wild_year = serializers.IntegerField(allow_null=True)
    rights = serializers.ChoiceField(Plant.Rights.choices)
    health_seen = serializers.CharField()

    def to_representation(self, instance: Plant) -> dict[str, Any]:
        """The plant; numbers are a grower's own, so that of another's parent plant is left out."""
        content = super().to_representation(instance)
        for name in ("seed_parent", "pollen_parent"):
            parent: Plant | None = getattr(instance, name)
            if parent is not None and parent.grower_id != instance.grower_id:
                content[name]["number"] = ""
        return content


class PlantIn(StrictSerializer):
    """What a grower says of a plant; what is not known is left out, never guessed."""

    site_id = Id()
    number = Text(max_length=40, required=False, help_text="The next free one if left out.")
    name_as_grown = Text(max_length=120, required=False, allow_blank=True)
    taxon_id = Id(required=False, allow_null=True, help_text="Gives group and diel habit.")
    group = Choice(Group.choices, required=False)
    diel = Choice(Diel.choices, required=False)
    identity = Choice(Plant.Identity.choices, required=False)
    crowns = Whole(1, 500, required=False)
    traits = Words(required=False)
    seed_fertility = Choice(Fertility.choices, required=False)
    pollen_fertility = Choice(Fertility.choices, required=False)
    fertility_evidence = Text(max_length=LONGEST_EVIDENCE, required=False, allow_blank=True)
    chromosome_counts = Words(child=Whole(8, 400), required=False)
    seed_parent_id = Id(required=False, allow_null=True, help_text=PARENT_HELP)
    pollen_parent_id = Id(required=False, allow_null=True, help_text=PARENT_HELP)
    parentage_confidence = Choice(Plant.Confidence.choices, required=False)
    direction_known = Flag(required=False)
    origin = Choice(Plant.Origin.choices, required=False)
    wild_country = Text(max_length=2, required=False, allow_blank=True)
    wild_year = Whole(1750, 2100, required=False, allow_null=True)
    rights = Choice(Plant.Rights.choices, required=False)
    health_seen = Text(max_length=LONGEST_EVIDENCE, required=False, allow_blank=True)


class PlantQuery(StrictSerializer):
    """Which plants."""

    site = serializers.UUIDField(required=False)
    group = serializers.ChoiceField(Group.choices, required=False)
    q = Text(
        required=False,
        max_length=120,
        allow_blank=True,
        help_text="Words of the name as grown, the taxon or the number; case and accents do not matter.",
    )
