"""A counted germination test, reckoned for whoever counted it; nothing is stored."""

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers

from exchange.api.operation import Call, act
from exchange.api.resource import Resource
from exchange.api.strict import Choice, Flag, Number, StrictSerializer, Text, Whole
from exchange.api.v1.told import ToldOut
from exchange.models import Assay
from exchange.models.offer import Treatment
from exchange.science.germination_count import Way
from exchange.selectors.germination import germination_reckoned
from exchange.wording.germination import SENTENCES

MOST_GRAINS = 10_000
WAY = {
    "method": "stigmatic_fluid",
    "medium": "fluid of a first-day flower, 37 °C",
    "rule": "tube at least as long as the grain is wide",
}
COUNTS: dict[str, Any] = {
    "replicates": [{"germinated": 28, "counted": 100}, {"germinated": 32, "counted": 100}],
    **WAY,
    "treatment": "dried",
    "rehydrated": None,
    "wanted_half_width_percent": 5.0,
}
RECKONED: dict[str, Any] = {
    **WAY,
    "germinated": 60,
    "counted": 200,
    "estimate": {
        "estimate": 0.3,
        "low": 0.204,
        "high": 0.418,
        "basis": {"interval": "95 %, Wilson", "clumping": "assumed"},
    },
    "estimate_if_independent": {
        "estimate": 0.3,
        "low": 0.241,
        "high": 0.367,
        "basis": {"interval": "95 %, Wilson", "clumping": "none"},
    },
    "agree": True,
    "advice": [
        {
            "code": "rehydration_not_stated",
            "detail": str(SENTENCES["rehydration_not_stated"]),
            "parameters": {},
        }
    ],
    "more_grains": {"independent": 120, "clumped": 754},
}


class ReplicateIn(StrictSerializer):
    """One sample: its grains that germinated (or took the stain) and those counted."""

    germinated = Whole(0, MOST_GRAINS)
    counted = Whole(1, MOST_GRAINS)


class GerminationCountIn(StrictSerializer):
    """One test: its counts, how it was done, and of what pollen."""

    replicates = serializers.ListField(child=ReplicateIn(), min_length=1, max_length=20)
    method = Choice(Assay.Method.choices)
    medium = Text(max_length=200, help_text="On or in what; of a stain its name.")
    rule = Text(max_length=200, help_text="When a grain counts; rules in use differ, keep to one.")
    treatment = Choice(Treatment.choices)
    rehydrated = Flag(
        allow_null=True,
        help_text="Whether dried or frozen pollen stood in humid air before the test. Null: not stated.",
    )
    wanted_half_width_percent = Number(
        0.5, 50, required=False, help_text="Half of the wanted 95 % interval, in points of per cent."
    )


class CountedShareOut(serializers.Serializer[Any]):
    """A counted share with a 95 % interval; `basis` says which, and how far clumped grains are allowed for.

    `clumping` is `assumed` (one correlation for all pollen), `observed` (this test's samples differ more),
    or `none` (as if each grain were independent).
    """

    estimate = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    basis = serializers.DictField(child=serializers.CharField())


class MoreGrainsOut(serializers.Serializer[Any]):
    """Grains still to count at the present share: if each were independent, and in samples like these."""

    independent = serializers.IntegerField()
    clumped = serializers.IntegerField()


class GerminationCountOut(serializers.Serializer[Any]):
    """What one test says; never to be put together with tests of another method, medium or rule."""

    method = serializers.ChoiceField(Assay.Method.choices)
    medium = serializers.CharField()
    rule = serializers.CharField()
    germinated = serializers.IntegerField()
    counted = serializers.IntegerField()
    estimate = CountedShareOut(help_text="The one to go by: grains of one sample resemble each other.")
    estimate_if_independent = CountedShareOut(help_text="As other tools give it; never wider.")
    agree = serializers.BooleanField(allow_null=True, help_text="Null: one sample alone.")
    advice = ToldOut(many=True)
    more_grains = MoreGrainsOut(
        allow_null=True, help_text="Null: no width was asked for, or the samples disagree."
    )


class GerminationCounts(Resource):
    """Counts of one test."""

    tag = "lots"

    @act(
        "germination_count_reckon",
        "Reckon a germination test",
        GerminationCountOut,
        body=GerminationCountIn,
        example=RECKONED,
        body_example=COUNTS,
        problems=("invalid_input",),
        scope="read",
    )
    def post(self, call: Call) -> Mapping[str, Any]:
        """Nothing is stored. A share with its interval, whether the samples agree, and what to do next."""
        return germination_reckoned(
            replicates=call.data["replicates"],
            way=Way(call.data["method"], call.data["medium"], call.data["rule"]),
            treatment=call.data["treatment"],
            rehydrated=call.data["rehydrated"],
            wanted_half_width_percent=call.data.get("wanted_half_width_percent"),
        )
