"""The catalogue of problems, where the ``type`` of each points to."""

from typing import Any

from rest_framework import serializers

from exchange.api.catalogue import KINDS, ProblemKind
from exchange.api.operation import Call, page
from exchange.api.resource import Resource


class ProblemKindOut(serializers.Serializer[Any]):
    """One kind of problem."""

    code = serializers.CharField()
    status = serializers.IntegerField()
    title = serializers.CharField()
    meaning = serializers.CharField()


class ProblemList(Resource):
    """All kinds of problems."""

    tag = "problems"

    @page(
        "problem_list",
        "Every kind of problem",
        ProblemKindOut,
        example={
            "code": "stale",
            "status": 412,
            "title": "It has changed meanwhile",
            "meaning": "Read it again and send the new ETag.",
        },
        order=(),
        public=True,
    )
    def get(self, call: Call) -> list[ProblemKind]:
        """One page."""
        return list(KINDS)
