"""How alive a lot is: its curve, reckoned when asked."""

from typing import Any

from rest_framework import serializers

from exchange.api.operation import Call, read
from exchange.api.reference import row_named
from exchange.api.strict import StrictSerializer
from exchange.api.v1.lot import OfViewer
from exchange.api.v1.lot_form import CUSTODY, CustodyOut
from exchange.api.v1.told import REASON, ToldOut
from exchange.models import Assay, Packet
from exchange.selectors.lot_viability import LotViability, lot_viability
from exchange.selectors.packet import packets_known
from growers import clock

BAND = {"low": 0.05, "median": 0.2, "high": 0.43}
DATES = {
    "best_before": "2027-07-14T09:00:00Z",
    "best_before_median": "2027-08-27T21:00:00Z",
    "worth_trying_until": "2028-05-24T07:00:00Z",
}
TEST: dict[str, Any] = {
    "id": "5d4c3b2a-1908-4716-8504-e3d2c1b0a998",
    "packet": None,
    "tested_at": "2027-06-29T09:00:00Z",
    "method": "in_vitro",
    "medium": "5 % sucrose",
    "rule": "tube as long as the grain is wide",
    "rehydrated": True,
    "replicates": [[28, 100], [32, 100]],
    "counts_here": True,
    "thermal_age_days": 4.1,
    "viability_before": BAND,
    "viability_after": {"low": 0.26, "median": 0.3, "high": 0.34},
    "before": DATES,
    "after": DATES,
}
VIABILITY: dict[str, Any] = {
    "lot_id": "b5a1c7de-9f04-4a3f-8d21-6b7c8d9e0f12",
    "code": "7K3M9QXF",
    "packet": None,
    "reckoned_at": "2027-06-29T18:30:00Z",
    "thermal_age_days": {"low": 3.3, "median": 4.4, "high": 6.0},
    "viability": BAND,
    "live_effect": 0.87,
    "dates": DATES,
    "doubts": [],
    "curve": [{"at": "2027-06-28T07:00:00Z", "viability": BAND, "live_effect": 1.0}],
    "tests": [TEST],
    "events": [CUSTODY],
    "basis": [REASON],
}


class BandOut(serializers.Serializer[Any]):
    """A median with the range that holds it in four of five cases."""

    low = serializers.FloatField()
    median = serializers.FloatField()
    high = serializers.FloatField()


class DatesOut(serializers.Serializer[Any]):
    """The dates of a lot; null beyond twenty years or where the curve says nothing."""

    best_before = serializers.DateTimeField(allow_null=True)
    best_before_median = serializers.DateTimeField(allow_null=True)
    worth_trying_until = serializers.DateTimeField(allow_null=True)


class CurvePointOut(serializers.Serializer[Any]):
    """One instant of the curve."""

    at = serializers.DateTimeField()
    viability = BandOut(help_text="Share of the grains that germinate.")
    live_effect = serializers.FloatField(help_text="What age leaves of the chance that the same had fresh.")


class TestOut(serializers.Serializer[Any]):
    """A test and what it changed, at the time of the test."""

    id = serializers.UUIDField()
    packet = serializers.IntegerField(allow_null=True)
    tested_at = serializers.DateTimeField()
    method = serializers.ChoiceField(Assay.Method.choices)
    medium = serializers.CharField()
    rule = serializers.CharField()
    rehydrated = serializers.BooleanField(allow_null=True)
    replicates = serializers.ListField(child=serializers.ListField(child=serializers.IntegerField()))
    counts_here = serializers.BooleanField(help_text="False for another method, medium or rule.")
    thermal_age_days = serializers.FloatField()
    viability_before = BandOut(allow_null=True)
    viability_after = BandOut(allow_null=True)
    before = DatesOut(allow_null=True)
    after = DatesOut(allow_null=True)


class LotViabilityOut(serializers.Serializer[Any]):
    """A lot's curve with all that it rests on."""

    lot_id = serializers.UUIDField()
    code = serializers.CharField()
    packet = serializers.IntegerField(
        allow_null=True, help_text="Number of the packet; null: the lot itself."
    )
    reckoned_at = serializers.DateTimeField()
    thermal_age_days = BandOut(help_text="Age as days in a refrigerator at 4 °C.")
    viability = BandOut()
    live_effect = serializers.FloatField()
    dates = DatesOut()
    doubts = ToldOut(many=True)
    curve = CurvePointOut(many=True, help_text="From the collecting until it is hardly worth a flower.")
    tests = TestOut(many=True)
    events = CustodyOut(many=True, help_text="Of the lot itself, and of the packet asked for.")
    basis = ToldOut(many=True)


class ViabilityQuery(StrictSerializer):
    """Of the lot itself, or of one of its packets."""

    packet = serializers.UUIDField(required=False, help_text="The packet's id.")


class LotViabilityRead(OfViewer):
    """The curve of a lot."""

    def represent(self, row: LotViability) -> LotViability:  # type: ignore[override]
        """As it is."""
        return row

    @read(
        "lot_viability",
        "How alive a lot is",
        LotViabilityOut,
        example=VIABILITY,
        query=ViabilityQuery,
        problems=("not_found", "invalid_input"),
    )
    def get(self, call: Call) -> LotViability:
        """Reckoned now from where it lay, what loggers read and what tests counted."""
        rows = packets_known(call.grower).filter(lot=call.row)
        packet: Packet | None = row_named(rows, call.query.get("packet"), field="packet", what="a packet")
        # To the minute, so that a client that asks again soon is told that nothing has changed.
        return lot_viability(call.grower, call.row, clock.now().replace(second=0, microsecond=0), packet)
