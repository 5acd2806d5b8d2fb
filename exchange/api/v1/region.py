"""Where something is, as others may read it."""

from typing import Any

from rest_framework import serializers

from growers.models import Site

REGION = {
    "level": "country",
    "part_of_the_world": "Europe",
    "country": "FR",
    "subdivision": None,
    "climate_band": None,
    "cell_latitude_deg": None,
    "cell_longitude_deg": None,
}


class RegionOut(serializers.Serializer[Any]):
    """A region; what is finer than its level is null."""

    level = serializers.ChoiceField(Site.RegionLevel.choices)
    part_of_the_world = serializers.CharField()
    country = serializers.CharField(allow_null=True)
    subdivision = serializers.CharField(allow_null=True)
    climate_band = serializers.CharField(allow_null=True)
    cell_latitude_deg = serializers.FloatField(allow_null=True)
    cell_longitude_deg = serializers.FloatField(allow_null=True)
