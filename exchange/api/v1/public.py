"""What anybody may see without an account."""

from typing import Any

from rest_framework import serializers

from exchange.api.operation import Call, read
from exchange.api.resource import Resource
from exchange.api.v1.region import REGION
from exchange.selectors.public_market import (
    ANY_GROUP,
    PART_OF_THE_WORLD,
    WORLD,
    PublicMarket,
    public_market,
)
from growers.models import Group, Site

MARKET_LEVELS = [*Site.RegionLevel.choices, (PART_OF_THE_WORLD, PART_OF_THE_WORLD), (WORLD, WORLD)]
MARKET = {
    "offered": [{"group": "hardy", "region": REGION, "count": 12}],
    "wanted": [
        {
            "group": "any",
            "region": {**REGION, "level": "world", "part_of_the_world": "", "country": None},
            "count": 7,
        }
    ],
}


class MarketRegionOut(serializers.Serializer[Any]):
    """A region that hides at least five growers, or a part of the world, or all of it."""

    level = serializers.ChoiceField(MARKET_LEVELS)
    part_of_the_world = serializers.CharField(allow_blank=True)
    country = serializers.CharField(allow_null=True)
    subdivision = serializers.CharField(allow_null=True)
    climate_band = serializers.CharField(allow_null=True)
    cell_latitude_deg = serializers.FloatField(allow_null=True)
    cell_longitude_deg = serializers.FloatField(allow_null=True)


class MarketRowOut(serializers.Serializer[Any]):
    """So many of a group in a region."""

    group = serializers.ChoiceField([*Group.choices, (ANY_GROUP, ANY_GROUP)])
    region = MarketRegionOut()
    count = serializers.IntegerField()


class PublicMarketOut(serializers.Serializer[Any]):
    """Open offers and wanted crosses, counted; growers in thin regions are counted in a coarser one."""

    offered = MarketRowOut(many=True)
    wanted = MarketRowOut(
        many=True,
        help_text="By the group of pollen asked for; nothing of what fewer than five growers look for.",
    )


class Market(Resource):
    """Counts of what is open."""

    tag = "public"

    @read("public_market", "What is offered and looked for", PublicMarketOut, example=MARKET, public=True)
    def get(self, call: Call) -> PublicMarket:
        """By group and region; no grower, no plant, and no region of fewer than five growers."""
        return public_market()
