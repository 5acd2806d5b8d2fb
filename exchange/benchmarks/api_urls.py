"""Addresses of the server that is measured: the project's own, and a view of one row to measure against."""

from typing import Any

from django.urls import path
from rest_framework import serializers

from exchange.api.operation import Call, read
from exchange.api.resource import Resource
from exchange.models import Pairing
from exchange.project.urls import urlpatterns as project_urls

ONE_ROW = "benchmark/one-row"


class RowOut(serializers.Serializer[Any]):
    """Two columns of a row."""

    id = serializers.UUIDField(source="public_id")
    state = serializers.CharField()


class OneRow(Resource):
    """The least that an answer to a signed-in client costs."""

    tag = "benchmark"

    @read(
        "one_row", "One row", RowOut, example={"id": "f0e1d2c3-b4a5-4968-8776-5a4b3c2d1e0f", "state": "open"}
    )
    def get(self, call: Call) -> Pairing | None:
        """One query of one row besides the token's."""
        return Pairing.objects.only("public_id", "state").first()


urlpatterns = [*project_urls, path(ONE_ROW, OneRow.as_view())]
