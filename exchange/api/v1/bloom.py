"""Bloom as it was: seasons on record, the window usually said, and what was seen on a day."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, act, change, create, page, read
from exchange.api.resource import Resource
from exchange.api.strict import Choice, Day, Flag, StrictSerializer, Whole, Words
from exchange.api.v1.plant import plants_of
from growers.errors import FieldProblem, InvalidInput, NotFound
from growers.models import BloomSaid, BloomSeason, BloomSighting, Plant
from growers.services.bloom import (
    bloom_bud_seen,
    bloom_flowers_count,
    bloom_not_yet,
    bloom_said_set,
    bloom_season_over,
    bloom_season_record,
    bloom_season_update,
)

SEASON = {
    "id": "c0a6e2f4-3d17-4d0b-8e8a-3f1d2c4b5a63",
    "plant_id": "2b7f9a1c-88d4-4b6e-a6a1-0c5d1e7f3b42",
    "first_flower_on": "2026-06-08",
    "first_precision": "day",
    "last_flower_on": "2026-09-12",
    "last_precision": "week",
}
NEW_SEASON = {name: SEASON[name] for name in SEASON if name not in ("id", "plant_id")}
SAID = {
    "all_year": False,
    "weak_months": [],
    "first_month": 6,
    "first_day": 5,
    "last_month": 9,
    "last_day": 15,
    "precision": "month_third",
}
SIGHTING = {
    "id": "d1b7f3a5-4e28-4e1c-9f9b-4a2e3d5c6b74",
    "plant_id": SEASON["plant_id"],
    "seen_on": "2027-06-01",
    "kind": "bud",
    "bud_stage": "at the surface",
    "flower_count": None,
}
NEW_SIGHTING = {"seen_on": "2027-06-01", "kind": "bud", "bud_stage": "at the surface"}


class SeasonOut(serializers.Serializer[Any]):
    """A season on record; it may cross New Year."""

    id = serializers.UUIDField(source="public_id")
    plant_id = serializers.UUIDField(source="plant.public_id")
    first_flower_on = serializers.DateField()
    first_precision = serializers.ChoiceField(BloomSeason.Precision.choices)
    last_flower_on = serializers.DateField(allow_null=True)
    last_precision = serializers.ChoiceField(BloomSeason.Precision.choices)


class SeasonIn(StrictSerializer):
    """First and last flower; without the last the season is on, or its end was not seen."""

    first_flower_on = Day()
    first_precision = Choice(BloomSeason.Precision.choices, default=BloomSeason.Precision.DAY.value)
    last_flower_on = Day(allow_null=True, default=None)
    last_precision = Choice(BloomSeason.Precision.choices, default=BloomSeason.Precision.DAY.value)


class OfPlant(Resource):
    """What belongs to one of the viewer's plants."""

    tag = "bloom"

    def rows(self, call: Call) -> QuerySet[Plant]:
        """The viewer's own plants."""
        return plants_of(call.grower)


class PlantSeasons(OfPlant):
    """Seasons of one plant."""

    @page(
        "bloom_season_list",
        "Recorded seasons of a plant",
        SeasonOut,
        example=SEASON,
        order=("-first_flower_on", "public_id"),
        problems=("not_found",),
    )
    def get(self, call: Call) -> QuerySet[BloomSeason]:
        """The latest first."""
        return BloomSeason.objects.filter(plant=call.row).select_related("plant")

    @create(
        "bloom_season_create",
        "Record a season",
        SeasonIn,
        SeasonOut,
        example=SEASON,
        body_example=NEW_SEASON,
        problems=("not_found",),
        at="bloom_season",
    )
    def post(self, call: Call) -> BloomSeason:
        """It may not overlap another season of the plant."""
        return bloom_season_record(actor=call.grower, plant=call.row, **call.data)


class SeasonItem(Resource):
    """One recorded season."""

    tag = "bloom"

    def rows(self, call: Call) -> QuerySet[BloomSeason]:
        """Those of the viewer's own plants."""
        return BloomSeason.objects.filter(plant__grower=call.grower).select_related("plant")

    @read("bloom_season_read", "One recorded season", SeasonOut, example=SEASON, problems=("not_found",))
    def get(self, call: Call) -> BloomSeason:
        """Only its owner can read it."""
        return call.row  # type: ignore[no-any-return]

    @change(
        "bloom_season_change",
        "Correct a season",
        SeasonIn,
        SeasonOut,
        example=SEASON,
        body_example={"last_flower_on": "2026-09-12"},
        problems=("not_found",),
    )
    def patch(self, call: Call) -> BloomSeason:
        """What is not stated stays."""
        names = ("first_flower_on", "last_flower_on", "first_precision", "last_precision")
        stored = {name: getattr(call.row, name) for name in names}
        return bloom_season_update(actor=call.grower, season=call.row, **{**stored, **call.data})


# --- the window usually said ---


class SaidOut(serializers.Serializer[Any]):
    """When a plant usually flowers, as its grower says."""

    all_year = serializers.BooleanField()
    weak_months = serializers.ListField(child=serializers.IntegerField())
    first_month = serializers.IntegerField(allow_null=True)
    first_day = serializers.IntegerField(allow_null=True)
    last_month = serializers.IntegerField(allow_null=True)
    last_day = serializers.IntegerField(allow_null=True)
    precision = serializers.ChoiceField(BloomSaid.Precision.choices)


class SaidIn(StrictSerializer):
    """Two days of the year, or all year with its weak months."""

    all_year = Flag(default=False)
    weak_months = Words(child=Whole(1, 12), max_length=11, default=list)
    first_month = Whole(1, 12, allow_null=True, default=None)
    first_day = Whole(1, 31, allow_null=True, default=None)
    last_month = Whole(1, 12, allow_null=True, default=None)
    last_day = Whole(1, 31, allow_null=True, default=None)
    precision = Choice(BloomSaid.Precision.choices, default=BloomSaid.Precision.MONTH_THIRD.value)


class PlantUsualBloom(OfPlant):
    """When one plant usually flowers."""

    @read("usual_bloom_read", "When a plant usually flowers", SaidOut, example=SAID, problems=("not_found",))
    def get(self, call: Call) -> BloomSaid:
        """As its grower said; 404 if nothing was said."""
        said = BloomSaid.objects.filter(plant=call.row).first()
        if said is None:
            raise NotFound("Nothing is said of its usual bloom yet.")
        return said

    @act(
        "usual_bloom_set",
        "Say when a plant usually flowers",
        SaidOut,
        body=SaidIn,
        example=SAID,
        body_example=SAID,
        problems=("not_found", "invalid_input"),
    )
    def post(self, call: Call) -> BloomSaid:
        """In place of what was said before."""
        return bloom_said_set(actor=call.grower, plant=call.row, **call.data)


# --- what was seen on a day ---


class SightingOut(serializers.Serializer[Any]):
    """What was seen on one day."""

    id = serializers.UUIDField(source="public_id")
    plant_id = serializers.UUIDField(source="plant.public_id")
    seen_on = serializers.DateField()
    kind = serializers.ChoiceField(BloomSighting.Kind.choices)
    bud_stage = serializers.CharField(help_text="Empty unless kind is bud.")
    flower_count = serializers.IntegerField(allow_null=True)


class SightingIn(StrictSerializer):
    """No flower yet, a bud and its stage, new flowers counted (none is a count too), or season over."""

    seen_on = Day()
    kind = Choice(BloomSighting.Kind.choices)
    bud_stage = Choice(BloomSighting.BudStage.choices, required=False)
    flower_count = Whole(0, 1000, required=False)


class SightingQuery(StrictSerializer):
    """Which sightings."""

    kind = serializers.ChoiceField(BloomSighting.Kind.choices, required=False)


class PlantSightings(OfPlant):
    """Sightings of one plant."""

    @page(
        "bloom_sighting_list",
        "What was seen of a plant",
        SightingOut,
        example=SIGHTING,
        order=("-seen_on", "public_id"),
        query=SightingQuery,
        problems=("not_found",),
    )
    def get(self, call: Call) -> QuerySet[BloomSighting]:
        """The latest day first."""
        return BloomSighting.objects.filter(plant=call.row, **call.query).select_related("plant")

    @create(
        "bloom_sighting_create",
        "Say what was seen on a day",
        SightingIn,
        SightingOut,
        example=SIGHTING,
        body_example=NEW_SIGHTING,
        problems=("not_found",),
    )
    def post(self, call: Call) -> BloomSighting:
        """The same kind told again for the same day corrects it; forecasts are made anew."""
        return _sighting(call)


def _sighting(call: Call) -> BloomSighting:
    told = {"actor": call.grower, "plant": call.row, "seen_on": call.data["seen_on"]}
    kind = call.data["kind"]
    part = {"bud": "bud_stage", "first_day_flowers": "flower_count"}.get(kind)
    _parts_check(call.data, kind, part)
    if kind == BloomSighting.Kind.BUD:
        return bloom_bud_seen(**told, bud_stage=call.data["bud_stage"])
    if kind == BloomSighting.Kind.FIRST_DAY_FLOWERS:
        return bloom_flowers_count(**told, flower_count=call.data["flower_count"])
    if kind == BloomSighting.Kind.NOT_YET:
        return bloom_not_yet(**told)
    return bloom_season_over(**told)


def _parts_check(data: dict[str, Any], kind: str, needed: str | None) -> None:
    problems = []
    for name in ("bud_stage", "flower_count"):
        if name == needed and name not in data:
            problems.append(FieldProblem(f"/{name}", "missing", f"{name} is missing; {kind} needs it."))
        if name != needed and name in data:
            problems.append(FieldProblem(f"/{name}", "not_with_kind", f"{name} has no place with {kind}."))
    if problems:
        raise InvalidInput(" ".join(problem.detail for problem in problems), problems=tuple(problems))
