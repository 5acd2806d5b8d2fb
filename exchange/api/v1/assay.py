"""Tests of lots: counted, kept with their way, folded into the curve."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, create, page
from exchange.api.reference import row_named
from exchange.api.strict import Choice, Flag, Id, Instant, StrictSerializer, Text
from exchange.api.v1.germination import ReplicateIn
from exchange.api.v1.lot import OfViewer
from exchange.api.v1.lot_viability import TEST
from exchange.models import Assay
from exchange.selectors.lot import tests_known
from exchange.selectors.packet import packets_known
from exchange.services.assay import MOST_REPLICATES, Counts, assay_record

SHOWN = ("id", "tested_at", "method", "medium", "rule", "rehydrated", "replicates")
ASSAY: dict[str, Any] = {**{name: TEST[name] for name in SHOWN}, "packet_id": None, "tested_by_you": True}
NEW_ASSAY: dict[str, Any] = {
    **{name: TEST[name] for name in ("method", "medium", "rule", "rehydrated")},
    "replicates": [{"germinated": 28, "counted": 100}, {"germinated": 32, "counted": 100}],
}


class AssayOut(serializers.Serializer[Any]):
    """A counted test."""

    id = serializers.UUIDField(source="public_id")
    packet_id = serializers.UUIDField(source="packet.public_id", allow_null=True, default=None)
    tested_at = serializers.DateTimeField()
    method = serializers.ChoiceField(Assay.Method.choices)
    medium = serializers.CharField()
    rule = serializers.CharField()
    rehydrated = serializers.BooleanField(allow_null=True)
    replicates = serializers.ListField(
        child=serializers.ListField(child=serializers.IntegerField()), help_text="[germinated, counted]"
    )
    tested_by_you = serializers.SerializerMethodField()

    def get_tested_by_you(self, assay: Assay) -> bool:
        """Whether the viewer counted."""
        return bool(assay.tested_by_id == assay.viewer_key)  # type: ignore[attr-defined]


class AssayIn(StrictSerializer):
    """A test as counted."""

    method = Choice(Assay.Method.choices, help_text="`stain` is an upper bound of what germinates.")
    medium = Text(max_length=200, help_text="Sugar, boric acid, stigmatic fluid; the stain.")
    rule = Text(max_length=200, help_text="When a grain counted.")
    replicates = serializers.ListField(child=ReplicateIn(), min_length=1, max_length=MOST_REPLICATES)
    rehydrated = Flag(required=False, allow_null=True, help_text="Asked of dried and frozen pollen.")
    tested_at = Instant(required=False, help_text="Now if left out.")
    packet_id = Id(required=False, allow_null=True, help_text="Of a packet that you hold.")
    note = Text(max_length=500, required=False, allow_blank=True)


class LotAssays(OfViewer):
    """Tests of one lot."""

    def represent(self, row: Assay) -> Assay:  # type: ignore[override]
        """With whose count it is."""
        row.viewer_key = self.request.user.pk  # type: ignore[attr-defined]
        return row

    @page(
        "assay_list",
        "Tests of a lot",
        AssayOut,
        example=ASSAY,
        order=("tested_at", "public_id"),
        problems=("not_found",),
    )
    def get(self, call: Call) -> QuerySet[Assay]:
        """For its grower all, for a partner those of the lot and of packets that concern them."""
        return tests_known(call.grower, call.row)

    @create(
        "assay_create",
        "Note a test",
        AssayIn,
        AssayOut,
        example=ASSAY,
        body_example=NEW_ASSAY,
        problems=("not_found", "conflict", "invalid_input"),
    )
    def post(self, call: Call) -> Assay:
        """Of your own lot, or of a packet that you hold. `lots/{id}/viability` says what it changed."""
        fields = dict(call.data)
        rows = packets_known(call.grower).filter(lot=call.row)
        packet: Any = row_named(rows, fields.pop("packet_id", None), field="packet_id", what="a packet")
        pairs = [(each["germinated"], each["counted"]) for each in fields.pop("replicates")]
        counts = Counts(replicates=pairs, **fields)
        return assay_record(actor=call.grower, lot=call.row, counts=counts, packet=packet)
