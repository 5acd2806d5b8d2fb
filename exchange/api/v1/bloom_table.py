"""Recorded seasons of the viewer's plants as a CSV table: many in at once, all or none, and all out."""

from typing import Any

from rest_framework import serializers

from exchange.api.operation import Call, act, table
from exchange.api.resource import Resource
from exchange.api.table import ACTIONS, TableFormParser, TableIn
from growers.selectors.table import season_table
from growers.services.bloom_import import BloomImport, bloom_import

TABLE = (
    "plant,first_flower_on,first_precision,last_flower_on,last_precision\n12,2025-06-08,day,2025-09-12,week\n"
)
IMPORT = {"file": TABLE, "dry_run": True}
IMPORTED = {
    "written": False,
    "rows": [
        {
            "row": 2,
            "plant_number": "12",
            "first_flower_on": "2025-06-08",
            "last_flower_on": "2025-09-12",
            "action": "created",
        }
    ],
}


class ImportedSeasonOut(serializers.Serializer[Any]):
    """One row of the table as a season."""

    row = serializers.IntegerField(help_text="Of the table; its header is row 1.")
    plant_number = serializers.CharField()
    first_flower_on = serializers.DateField()
    last_flower_on = serializers.DateField(allow_null=True)
    action = serializers.ChoiceField(ACTIONS)


class SeasonImportOut(serializers.Serializer[Any]):
    """What was written, or after a dry run would be."""

    written = serializers.BooleanField()
    rows = ImportedSeasonOut(source="seasons", many=True)


class SeasonImportIn(TableIn):
    """Seasons of plants, which stand by number."""


class SeasonTableIn(Resource):
    """Seasons from a table."""

    tag = "bloom"
    parser_classes = [TableFormParser]

    @act(
        "bloom_season_import",
        "Record seasons from a CSV table",
        SeasonImportOut,
        body=SeasonImportIn,
        example=IMPORTED,
        body_example=IMPORT,
        problems=("invalid_input",),
        keyed=True,
    )
    def post(self, call: Call) -> BloomImport:
        """All rows or none: a refusal names row and column of everything that is wrong.

        Columns are those of the export; `plant` and `first_flower_on` must be there. A season that is on
        record is completed, not doubled; a blank cell leaves what is on record.
        """
        return bloom_import(actor=call.grower, content=call.data["file"].read(), dry_run=call.data["dry_run"])


class SeasonTableOut(Resource):
    """Seasons as a table."""

    tag = "bloom"

    @table("bloom_season_export", "Recorded seasons of your plants as a CSV table", example=TABLE)
    def get(self, call: Call) -> str:
        """What is exported can be imported again."""
        return season_table(call.grower)
