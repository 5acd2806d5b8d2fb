"""What pairings and explanations are made of in the API: reasons, estimates."""

from typing import Any

from rest_framework import serializers

REASON = {
    "code": "viability_prior_only",
    "detail": "How long water-lily pollen lives in store has not been published; these figures come from"
    " other plants. Test before you send.",
    "parameters": {},
}


class ToldOut(serializers.Serializer[Any]):
    """A reason: a code that never changes its meaning, a sentence, and the figures in it."""

    code = serializers.CharField()
    detail = serializers.CharField()
    parameters = serializers.DictField(child=serializers.JSONField(allow_null=True))


class EstimateOut(serializers.Serializer[Any]):
    """A chance with its likely range (four of five cases) and what it is based on."""

    estimate = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    basis = serializers.DictField(child=serializers.CharField())
