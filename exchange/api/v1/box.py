"""The box of an offer or a parcel."""

from typing import Any

from rest_framework import serializers

from exchange.api.strict import Choice, Number, StrictSerializer
from exchange.models.offer import Wall
from exchange.services.packing import (
    LONGEST_CM,
    MOST_ICE_KG,
    SHORTEST_CM,
    THICKEST_WALL_CM,
    THINNEST_WALL_CM,
)

BOX: dict[str, Any] = {
    "wall": "polystyrene",
    "wall_cm": 3.0,
    "inside_cm": [10.0, 10.0, 10.0],
    "ice_kg": 0.5,
}
INSIDE_HELP = "Length, width and height."


class BoxOut(serializers.Serializer[Any]):
    """What its cold hours are reckoned from, of the usual packings too."""

    wall = serializers.ChoiceField(Wall.choices)
    wall_cm = serializers.FloatField()
    inside_cm = serializers.ListField(child=serializers.FloatField(), help_text=INSIDE_HELP)
    ice_kg = serializers.FloatField(help_text="Coolant, frozen through; what melts at 0 °C.")


class BoxIn(StrictSerializer):
    """A box that you have measured, with what you put in it; of `own_box` alone."""

    wall = Choice(Wall.choices)
    wall_cm = Number(THINNEST_WALL_CM, THICKEST_WALL_CM)
    inside_cm = serializers.ListField(
        child=Number(SHORTEST_CM, LONGEST_CM), min_length=3, max_length=3, help_text=INSIDE_HELP
    )
    ice_kg = Number(0.0, MOST_ICE_KG, help_text="It must leave three tenths of the inside free.")
