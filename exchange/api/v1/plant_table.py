"""The viewer's plants as a CSV table: many in at once, all or none, and all out."""

from typing import Any

from rest_framework import serializers

from exchange.api.operation import Call, act, table
from exchange.api.reference import fields_named, row_named
from exchange.api.resource import Resource
from exchange.api.strict import Id, StrictSerializer
from exchange.api.table import TableFormParser, TableIn
from exchange.api.v1.plant_form import PLANT
from growers.models import Diel, Group, Site
from growers.selectors.csv_cell import table_text
from growers.selectors.table import PLANT_COLUMNS, plant_table
from growers.services.plant_import import PlantImport, plant_import

ROW = {**PLANT, "traits": "white;scented", "chromosome_counts": "", "direction_known": "yes"}
EXPORTED = table_text(PLANT_COLUMNS, [[ROW.get(name) for name in PLANT_COLUMNS]])
IMPORT = {
    "file": "number,name_as_grown,group,diel,crowns\n31,unnamed seedling,hardy,day,4\n",
    "site_id": PLANT["site_id"],
    "dry_run": False,
}
IMPORTED = {
    "written": True,
    "rows": [
        {
            "row": 2,
            "id": PLANT["id"],
            "number": "31",
            "name_as_grown": "unnamed seedling",
            "taxon_name": "",
            "group": "hardy",
            "diel": "day",
        }
    ],
}


class ImportedPlantOut(serializers.Serializer[Any]):
    """One row of the table as a plant."""

    row = serializers.IntegerField(help_text="Of the table; its header is row 1.")
    id = serializers.UUIDField(source="public_id", allow_null=True, help_text="Null if nothing was written.")
    number = serializers.CharField()
    name_as_grown = serializers.CharField()
    taxon_name = serializers.CharField(help_text="Empty without a taxon.")
    group = serializers.ChoiceField(Group.choices)
    diel = serializers.ChoiceField(Diel.choices)


class PlantImportOut(serializers.Serializer[Any]):
    """What was written, or after a dry run would be."""

    written = serializers.BooleanField()
    rows = ImportedPlantOut(source="plants", many=True)


class PlantImportIn(TableIn):
    """Plants, and the site where they are."""

    site_id = Id()


class PlantTableIn(Resource):
    """Plants from a table."""

    tag = "plants"
    parser_classes = [TableFormParser]

    @act(
        "plant_import",
        "Add plants from a CSV table",
        PlantImportOut,
        body=PlantImportIn,
        example=IMPORTED,
        body_example=IMPORT,
        problems=("invalid_input",),
        keyed=True,
    )
    def post(self, call: Call) -> PlantImport:
        """All rows or none: a refusal names row and column of everything that is wrong.

        Columns are those of the export; only `name_as_grown` must be there. A blank cell is what a plant
        has of which nothing is said. Parents stand by number, of a plant of yours or of any row; several
        traits or chromosome counts in one cell with semicolons between them; `direction_known` is yes or no.
        """
        site: Any = row_named(
            Site.objects.filter(grower=call.grower), call.data["site_id"], field="site_id", what="a site"
        )
        with fields_named({"site": "site_id"}):
            return plant_import(
                actor=call.grower, site=site, content=call.data["file"].read(), dry_run=call.data["dry_run"]
            )


class PlantTableQuery(StrictSerializer):
    """Which plants."""

    site = serializers.UUIDField(required=False)


class PlantTableOut(Resource):
    """Plants as a table."""

    tag = "plants"

    @table("plant_export", "Your plants as a CSV table", example=EXPORTED, query=PlantTableQuery)
    def get(self, call: Call) -> str:
        """What is exported can be imported again; only parents that are another grower's are left blank.

        A cell that a spreadsheet would take for a formula has an apostrophe in front, which an import takes
        away.
        """
        return plant_table(call.grower, call.query.get("site"))
