"""Relatives of a plant: what its owner may know of its ancestors and offspring."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, read
from exchange.api.resource import Resource
from exchange.api.v1.plant import plants_of
from exchange.selectors.family import FamilyForOwner, family_for_owner
from growers.models import Plant
from growers.selectors.family import ROLES

FAMILY = {
    "plant_id": "2b7f9a1c-88d4-4b6e-a6a1-0c5d1e7f3b42",
    "inbreeding": 0.0,
    "basis": {"clones": 4, "founders": 2},
    "ancestors": [
        {
            "generation": 1,
            "parent_role": "seed_parent",
            "parent_of_id": "2b7f9a1c-88d4-4b6e-a6a1-0c5d1e7f3b42",
            "plant": {
                "own": True,
                "id": "3c8a0b2d-99e5-4c7f-b7b2-1d6e2f8a4c53",
                "number": "7",
                "name_as_grown": "'Dusk'",
            },
            "parentage_confidence": "controlled",
            "direction_known": True,
            "kinship": 0.25,
        },
        {
            "generation": 1,
            "parent_role": "pollen_parent",
            "parent_of_id": "2b7f9a1c-88d4-4b6e-a6a1-0c5d1e7f3b42",
            "plant": {"own": False, "id": None, "number": "", "name_as_grown": None},
            "parentage_confidence": "controlled",
            "direction_known": True,
            "kinship": 0.25,
        },
    ],
    "offspring": [
        {
            "generation": 1,
            "parent_role": "seed_parent",
            "seedling_of_id": "2b7f9a1c-88d4-4b6e-a6a1-0c5d1e7f3b42",
            "plant": {
                "own": True,
                "id": "5e0c2d4f-bb07-4e91-99d4-3f804a0c6e75",
                "number": "31",
                "name_as_grown": "unnamed seedling",
            },
            "parentage_confidence": "declared",
            "direction_known": False,
            "kinship": 0.25,
        }
    ],
    "complete": True,
}


class RelativePlantOut(serializers.Serializer[Any]):
    """A plant of yours; of another grower's nothing but that it is, unless you were shown it in a pairing."""

    own = serializers.BooleanField()
    id = serializers.UUIDField(source="public_id", allow_null=True)
    number = serializers.CharField(help_text="Empty unless it is yours.")
    name_as_grown = serializers.CharField(allow_null=True)


class RelativeOut(serializers.Serializer[Any]):
    """One parenthood."""

    generation = serializers.IntegerField(help_text="1 is a parent, or a seedling; 2 one further.")
    parent_role = serializers.ChoiceField(
        [(role, role) for role in ROLES], source="role", help_text="As recorded."
    )
    plant = RelativePlantOut()
    parentage_confidence = serializers.ChoiceField(
        Plant.Confidence.choices, help_text="What `disagrees` is not followed further and counts for nothing."
    )
    direction_known = serializers.BooleanField(help_text="If not, the two roles may be the other way round.")
    kinship = serializers.FloatField(
        allow_null=True, help_text="With the plant asked about; null where the pedigree is too large."
    )


class AncestorOut(RelativeOut):
    """A parent, and whose."""

    parent_of_id = serializers.UUIDField(source="link_id")


class OffspringOut(RelativeOut):
    """A seedling, and whose."""

    seedling_of_id = serializers.UUIDField(source="link_id")


class KinshipBasisOut(serializers.Serializer[Any]):
    """What kinship and inbreeding rest on."""

    clones = serializers.IntegerField(help_text="Two plants of one cultivar are one.")
    founders = serializers.IntegerField(help_text="Without known parents, so taken as unrelated.")


class FamilyOut(serializers.Serializer[Any]):
    """A plant's relatives, the nearest generation first."""

    plant_id = serializers.UUIDField()
    inbreeding = serializers.FloatField(
        allow_null=True, help_text="F, 0 to 1; null where the pedigree is too large."
    )
    basis = KinshipBasisOut(allow_null=True)
    ancestors = AncestorOut(many=True)
    offspring = OffspringOut(many=True)
    complete = serializers.BooleanField(help_text="False where more is recorded than is listed.")


class PlantRelatives(Resource):
    """The family of one of the viewer's plants."""

    tag = "plants"

    def rows(self, call: Call) -> QuerySet[Plant]:
        """The viewer's own."""
        return plants_of(call.grower)

    @read(
        "plant_relatives",
        "Ancestors and offspring of a plant",
        FamilyOut,
        example=FAMILY,
        problems=("not_found",),
    )
    def get(self, call: Call) -> FamilyForOwner:
        """What others know of their plants' ancestors, and the seedlings they raised of yours, stays theirs.

        Kinship is the chance that an allele drawn from each of two plants is alike by descent.
        """
        return family_for_owner(call.grower, call.row)
