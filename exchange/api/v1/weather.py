"""Weather days of a site: uploaded by its owner and seen by nobody else."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, act, create, page
from exchange.api.resource import Resource
from exchange.api.strict import Choice, Day, Number, StrictSerializer
from exchange.api.table import ACTIONS, TableFormParser, TableIn
from growers.models import Site, WeatherDay
from growers.services.weather import RANGES_C, WeatherImport, weather_day_set, weather_days_import

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


# --- tables of loggers ---

IMPORT = {
    "file": "date;tmin_c;tmax_c;water_c\n2027-06-20;12,5;27,0;21,5\n",
    "decimal_mark": ",",
    "dry_run": True,
}
IMPORTED = {"written": False, "rows": [{"row": 2, "measured_on": "2027-06-20", "action": "created"}]}


class ImportedDayOut(serializers.Serializer[Any]):
    """One row of the table as a day."""

    row = serializers.IntegerField(help_text="Of the table; its header is row 1.")
    measured_on = serializers.DateField()
    action = serializers.ChoiceField(ACTIONS)


class WeatherImportOut(serializers.Serializer[Any]):
    """What was written, or after a dry run would be."""

    written = serializers.BooleanField()
    rows = ImportedDayOut(source="days", many=True)


class WeatherImportIn(TableIn):
    """Days of a logger or a weather station."""

    decimal_mark = Choice([(mark, mark) for mark in (".", ",")], default=".", help_text="In the numbers.")


class SiteWeatherTable(Resource):
    """Weather days from a table."""

    tag = "sites"
    parser_classes = [TableFormParser]

    def rows(self, call: Call) -> QuerySet[Site]:
        """The viewer's own sites."""
        return Site.objects.filter(grower=call.grower)

    @act(
        "weather_day_import",
        "State the weather of many days from a CSV table",
        WeatherImportOut,
        body=WeatherImportIn,
        example=IMPORTED,
        body_example=IMPORT,
        problems=("not_found", "invalid_input"),
        keyed=True,
    )
    def post(self, call: Call) -> WeatherImport:
        """All rows or none: a refusal names row and column of everything that is wrong.

        Column `date` and at least one of `tmin_c`, `tmax_c`, `tmean_c`, `water_c`. A blank cell leaves what
        is on record, so that air and water can come from two loggers.
        """
        return weather_days_import(
            actor=call.grower,
            site=call.row,
            content=call.data["file"].read(),
            dry_run=call.data["dry_run"],
            decimal_mark=call.data["decimal_mark"],
        )
