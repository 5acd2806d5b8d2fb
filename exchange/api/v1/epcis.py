"""The history of a lot for other programs: EPCIS 2.0 as JSON-LD."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import inline_serializer
from rest_framework import serializers

from exchange.api.file import File
from exchange.api.media import json_bytes
from exchange.api.operation import Call, document
from exchange.api.resource import Resource
from exchange.models import Lot
from exchange.selectors.epcis import CONTEXT, epcis_document
from exchange.selectors.lot import custody_of, lots_known

MEDIA_TYPE = "application/ld+json"
EPCIS: dict[str, Any] = {
    "@context": [CONTEXT, {"pollen": "https://pollen.example/epcis/term/"}],
    "type": "EPCISDocument",
    "schemaVersion": "2.0",
    "creationDate": "2027-06-28T18:30:00.000Z",
    "epcisBody": {
        "eventList": [
            {
                "type": "ObjectEvent",
                "eventID": "urn:uuid:8a7b6c5d-4e3f-4210-9fed-cba987654321",
                "eventTime": "2027-06-28T07:00:00.000Z",
                "eventTimeZoneOffset": "+02:00",
                "recordTime": "2027-06-28T18:30:00.000Z",
                "action": "ADD",
                "epcList": ["urn:uuid:b5a1c7de-9f04-4a3f-8d21-6b7c8d9e0f12"],
                "bizStep": "commissioning",
                "disposition": "active",
                "readPoint": {"id": "https://pollen.example/region/country/FR"},
                "ilmd": {"pollen:flowersEmptied": 2},
            }
        ]
    },
}
BODY = inline_serializer(
    "EpcisBodyOut",
    {"eventList": serializers.ListField(child=serializers.DictField(child=serializers.JSONField()))},
)
DOCUMENT = inline_serializer(
    "EpcisOut",
    {
        "@context": serializers.ListField(child=serializers.JSONField()),
        "type": serializers.CharField(),
        "schemaVersion": serializers.CharField(),
        "creationDate": serializers.CharField(),
        "epcisBody": BODY,
    },
)


class LotEpcis(Resource):
    """Where a lot has been, in the words of a standard."""

    tag = "lots"

    def rows(self, call: Call) -> QuerySet[Lot]:
        """Own lots, and those of partners that concern the viewer."""
        return lots_known(call.grower)

    @document(
        "lot_epcis",
        "The history of a lot as EPCIS",
        media_type=MEDIA_TYPE,
        out=type(DOCUMENT),
        example=EPCIS,
        problems=("not_found",),
    )
    def get(self, call: Call) -> File:
        """GS1 EPCIS 2.0 as JSON-LD. Regions only, no growers, no notes.

        A partner reads nothing of packets for others. What was corrected stands in it as it was, with an
        `errorDeclaration`, and as it is right.
        """
        exchange = call.request.build_absolute_uri("/").rstrip("/")
        events = list(custody_of(call.grower, call.row))
        told = epcis_document(call.row, events, exchange)
        return File(f"lot-{call.row.code}.jsonld", json_bytes(told))
