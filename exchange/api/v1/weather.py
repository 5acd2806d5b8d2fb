"""Weather days of a site: uploaded by its owner and seen by nobody else."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, create, page
from exchange.api.resource import Resource
from exchange.api.strict import Day, Number, StrictSerializer
from growers.models import Site, WeatherDay
from growers.services.weather import RANGES_C, weather_day_set

WEATHER_DAY = {
    "id": "e2c8a4b6-5f39-4f2d-8a0c-5b3f4e6d7c85",
    "site_id": "8a1f3f0e-3a52-4e0b-9f0a-5b1e2f6f9d21",
    "measured_on": "2027-06-20",
    "minimum_c": 12.5,
    "maximum_c": 27.0,
    "mean_c": None,
    "water_c": 21.5,
}
NEW_DAY = {"measured_on": "2027-06-20", "minimum_c": 12.5, "maximum_c": 27.0, "water_c": 21.5}


class WeatherDayOut(serializers.Serializer[Any]):
    """Air and water of a civil day in °C; null is not stated."""

    id = serializers.UUIDField(source="public_id")
    site_id = serializers.UUIDField(source="site.public_id")
    measured_on = serializers.DateField()
    minimum_c = serializers.FloatField(allow_null=True)
    maximum_c = serializers.FloatField(allow_null=True)
    mean_c = serializers.FloatField(allow_null=True)
    water_c = serializers.FloatField(allow_null=True)


class WeatherDayIn(StrictSerializer):
    """A civil day; at least one number is stated."""

    measured_on = Day()
    minimum_c = Number(*RANGES_C["minimum_c"], allow_null=True, default=None)
    maximum_c = Number(*RANGES_C["maximum_c"], allow_null=True, default=None)
    mean_c = Number(*RANGES_C["mean_c"], allow_null=True, default=None)
    water_c = Number(*RANGES_C["water_c"], allow_null=True, default=None)


class SiteWeather(Resource):
    """Weather days of one site."""

    tag = "sites"

    def rows(self, call: Call) -> QuerySet[Site]:
        """The viewer's own sites."""
        return Site.objects.filter(grower=call.grower)

    @page(
        "weather_day_list",
        "Weather days of a site",
        WeatherDayOut,
        example=WEATHER_DAY,
        order=("-measured_on", "public_id"),
        problems=("not_found",),
    )
    def get(self, call: Call) -> QuerySet[WeatherDay]:
        """The latest first."""
        return WeatherDay.objects.filter(site=call.row).select_related("site")

    @create(
        "weather_day_create",
        "State the weather of a day",
        WeatherDayIn,
        WeatherDayOut,
        example=WEATHER_DAY,
        body_example=NEW_DAY,
        problems=("not_found",),
    )
    def post(self, call: Call) -> WeatherDay:
        """In place of what was stated for that day."""
        return weather_day_set(actor=call.grower, site=call.row, **call.data)
