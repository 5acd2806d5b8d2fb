"""Addresses of the server that is measured: the project's own, and a view of one row to measure against."""

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from rest_framework import serializers

from exchange.api.operation import Call, read
from exchange.api.resource import Resource
from exchange.project.urls import urlpatterns as project_urls
from growers.models import Plant

ONE_ROW = "benchmark/one-row"


class RowOut(serializers.Serializer[Any]):
    """Two columns of a row."""

    id = serializers.UUIDField(source="public_id")
    number = serializers.CharField()


class OneRow(Resource):
    """The least that one thing costs: found by its id among the viewer's own, as all single things are."""

    tag = "benchmark"

    def rows(self, call: Call) -> QuerySet[Plant]:
        """The viewer's own."""
        return Plant.objects.filter(grower=call.grower).only("public_id", "number")

    @read("one_row", "One row", RowOut, example={"id": "2b7f9a1c-88d4-4b6e-a6a1-0c5d1e7f3b42", "number": "1"})
    def get(self, call: Call) -> Plant:
        """One query besides the token's."""
        return call.row  # type: ignore[no-any-return]


urlpatterns = [*project_urls, path(f"{ONE_ROW}/<uuid:id>", OneRow.as_view())]
