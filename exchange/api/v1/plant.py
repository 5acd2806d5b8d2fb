"""Plants: what the viewer grows, and when each is likely to flower."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, change, create, page, read
from exchange.api.reference import fields_named, row_named
from exchange.api.resource import Resource
from exchange.api.strict import StrictSerializer
from exchange.api.v1.plant_form import NEW_PLANT, PLANT, PlantIn, PlantOut, PlantQuery
from exchange.science.bloom import BASES
from exchange.selectors.bloom_outlook import BloomOutlook, bloom_outlook
from exchange.selectors.wanted_cross import plants_nameable
from growers import clock
from growers.errors import Conflict
from growers.models import Grower, Plant, Site, Taxon
from growers.selectors.taxon import folded
from growers.services.plant import plant_create, plant_update

LONGEST_OUTLOOK_DAYS = 366
NAMES = {
    name: f"{name}_id" for name in ("site", "taxon", "seed_parent", "pollen_parent")
}  # of a service's field in the body


def plants_of(grower: Grower) -> QuerySet[Plant]:
    """The grower's plants with what their representation reads."""
    whole = Plant.objects.select_related("site", "taxon", "seed_parent", "pollen_parent")
    return whole.filter(grower=grower)


def plant_fields(call: Call) -> dict[str, Any]:
    """The body with rows in place of ids."""
    fields, grower = dict(call.data), call.grower
    known: dict[str, tuple[QuerySet[Any], str]] = {
        "site": (Site.objects.filter(grower=grower), "a site"),
        "taxon": (Taxon.objects.all(), "a taxon"),
        "seed_parent": (plants_nameable(grower), "a plant"),
        "pollen_parent": (plants_nameable(grower), "a plant"),
    }
    for name, (rows, what) in known.items():
        if f"{name}_id" in fields:
            public_id = fields.pop(f"{name}_id")
            fields[name] = row_named(rows, public_id, field=f"{name}_id", what=what)
    parents = [fields.get("seed_parent"), fields.get("pollen_parent")]
    return {**fields, "shown_plant_ids": [parent.pk for parent in parents if parent is not None]}


class PlantList(Resource):
    """The viewer's plants."""

    tag = "plants"

    @page(
        "plant_list",
        "Your plants",
        PlantOut,
        example=PLANT,
        order=("-created_at", "public_id"),
        query=PlantQuery,
    )
    def get(self, call: Call) -> QuerySet[Plant]:
        """Newest first."""
        plants = plants_of(call.grower)
        if "site" in call.query:
            plants = plants.filter(site__public_id=call.query["site"])
        if "group" in call.query:
            plants = plants.filter(group=call.query["group"])
        return _named(plants, call.query.get("q", ""))

    @create(
        "plant_create", "Add a plant", PlantIn, PlantOut, example=PLANT, body_example=NEW_PLANT, at="plant"
    )
    def post(self, call: Call) -> Plant:
        """A taxon gives its group and diel habit; a number is given if none is stated."""
        with fields_named(NAMES):
            plant = plant_create(actor=call.grower, **plant_fields(call))
        return plants_of(call.grower).get(pk=plant.pk)


def _named(plants: QuerySet[Plant], text: str) -> QuerySet[Plant]:
    """Plants whose name, taxon or number holds every word; folded here, because databases fold unlike."""
    words = folded(text).split()
    if not words:
        return plants
    named = plants.values_list("pk", "name_as_grown", "taxon__name", "number")
    keys = [
        pk for pk, *names in named if all(any(word in folded(name or "") for name in names) for word in words)
    ]
    return plants.filter(pk__in=keys)


class PlantItem(Resource):
    """One of the viewer's plants."""

    tag = "plants"

    def rows(self, call: Call) -> QuerySet[Plant]:
        """The viewer's own."""
        return plants_of(call.grower)

    @read("plant_read", "One of your plants", PlantOut, example=PLANT, problems=("not_found",))
    def get(self, call: Call) -> Plant:
        """All that is known of it."""
        return call.row  # type: ignore[no-any-return]

    @change(
        "plant_change",
        "Change a plant",
        PlantIn,
        PlantOut,
        example=PLANT,
        body_example={"crowns": 4},
        problems=("not_found",),
    )
    def patch(self, call: Call) -> Plant:
        """A parent that descends from the plant is refused."""
        with fields_named(NAMES):
            plant_update(actor=call.grower, plant=call.row, **plant_fields(call))
        return plants_of(call.grower).get(pk=call.row.pk)


# --- forecast ---

OUTLOOK = {
    "today": "2027-05-01",
    "basis": "records",
    "recorded_seasons": 3,
    "flowering_chance": 1.0,
    "all_year": False,
    "first_bloom": {"estimate": "2027-06-08", "low": "2027-05-29", "high": "2027-06-19"},
    "last_bloom": {"estimate": "2027-09-12", "low": "2027-08-30", "high": "2027-09-26"},
    "days": [
        {
            "day": "2027-06-20",
            "receptive_chance": 0.4312,
            "pollen_chance": 0.6215,
            "first_day_flowers": 0.5871,
        }
    ],
}


class DateRangeOut(serializers.Serializer[Any]):
    """A day with the range that holds it in four of five years."""

    estimate = serializers.DateField()
    low = serializers.DateField()
    high = serializers.DateField()


class DayChanceOut(serializers.Serializer[Any]):
    """One civil day at the plant's place; of a night bloomer, the evening it opens."""

    day = serializers.DateField()
    receptive_chance = serializers.FloatField(help_text="Of at least one first-day flower.")
    pollen_chance = serializers.FloatField(help_text="Of at least one flower that sheds pollen.")
    first_day_flowers = serializers.FloatField(help_text="Expected number.")


class BloomOutlookOut(serializers.Serializer[Any]):
    """A forecast with what it rests on."""

    today = serializers.DateField()
    basis = serializers.ChoiceField([(word, word) for word in BASES])
    recorded_seasons = serializers.IntegerField(help_text="Own recorded seasons behind it.")
    flowering_chance = serializers.FloatField(help_text="That it flowers at all in this season.")
    all_year = serializers.BooleanField()
    first_bloom = DateRangeOut(allow_null=True)
    last_bloom = DateRangeOut(allow_null=True)
    days = DayChanceOut(many=True)


class OutlookQuery(StrictSerializer):
    """How far to look."""

    days = serializers.IntegerField(min_value=1, max_value=LONGEST_OUTLOOK_DAYS, default=120)


class PlantBloomForecast(Resource):
    """When one of the viewer's plants is likely to flower."""

    tag = "plants"

    def rows(self, call: Call) -> QuerySet[Plant]:
        """The viewer's own."""
        return plants_of(call.grower)

    @read(
        "plant_bloom_forecast",
        "When a plant is likely to flower",
        BloomOutlookOut,
        example=OUTLOOK,
        query=OutlookQuery,
        problems=("not_found", "conflict"),
    )
    def get(self, call: Call) -> BloomOutlook:
        """From today at its place, computed from the half-degree cell; 409 where nothing is known of it."""
        plant: Plant = call.row
        today = clock.today(plant.site.cell_zone)
        outlook = bloom_outlook(plant, today=today, days=call.query["days"])
        if outlook is None:
            raise Conflict("Nothing is known of its bloom yet; say when it usually flowers.")
        return outlook
