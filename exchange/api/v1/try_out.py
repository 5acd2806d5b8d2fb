"""The guest's try-out: two plants, two places, a season plan; nothing is stored."""

from typing import Any

from django.conf import settings
from rest_framework import serializers

from exchange.api.operation import Call, act
from exchange.api.resource import Resource
from exchange.api.strict import Choice, Number, StrictSerializer, Text, Whole
from exchange.api.throttle import network_counted
from exchange.api.v1.bloom import SaidIn
from exchange.api.v1.pairing_form import PAIRING_WHOLE, TimelineOut
from exchange.api.v1.told import REASON, EstimateOut, ToldOut
from exchange.models.offer import Treatment
from exchange.selectors.try_out import Guest, TryOut, try_out
from growers import clock
from growers.models import Group
from growers.services.bloom_rule import SaidWords

BY_POST = [choice for choice in Treatment.choices if choice[0] != Treatment.FROZEN]
SUMMER = {"first_month": 6, "first_day": 5, "last_month": 9, "last_day": 15}
TRIED = {
    "donor": {"group": "hardy", "country": "FR", "zone": "Europe/Paris", "usual_bloom": SUMMER},
    "recipient": {
        "group": "hardy",
        "country": "DE",
        "latitude_deg": 48.1,
        "longitude_deg": 11.6,
        "usual_bloom": {**SUMMER, "first_day": 20},
    },
    "treatment": "dried",
    "flowers": 4,
}
TRY_OUT = {
    "today": "2027-03-01",
    "chance": {**PAIRING_WHOLE["each_flower"], "basis": {"donor": "said", "recipient": "said"}},
    "flowers": 4,
    "several": {**PAIRING_WHOLE["several"], "basis": {"donor": "said", "recipient": "said"}},
    "in_words": PAIRING_WHOLE["words"]["chance"],
    "donor_bloom": {"first": "2027-05-31", "last": "2027-09-13"},
    "recipient_bloom": {"first": "2027-06-14", "last": "2027-09-13"},
    "likeliest_posting_week": "2027-06-21",
    "good_posting_weeks": {"first": "2027-06-14", "last": "2027-06-28"},
    "reasons": [],
    "cautions": [REASON],
    "papers": None,
    "timeline": PAIRING_WHOLE["timeline"],
}


class GuestIn(StrictSerializer):
    """A plant that is not entered: its group, usual bloom and place, by a zone or by a point's cell."""

    group = Choice(Group.choices)
    country = Text(max_length=2, help_text="ISO 3166 alpha-2.")
    zone = Text(max_length=64, required=False, help_text="IANA zone of the country; or else a point.")
    latitude_deg = Number(-90, 90, required=False)
    longitude_deg = Number(-180, 180, required=False)
    usual_bloom = SaidIn()


class TryOutIn(StrictSerializer):
    """Whose pollen would go to whom."""

    donor = GuestIn()
    recipient = GuestIn()
    treatment = Choice(BY_POST, default=Treatment.DRIED.value)
    flowers = Whole(1, 12, default=1)


class WeeksOut(serializers.Serializer[Any]):
    """From one week to another, each by its Monday."""

    first = serializers.DateField()
    last = serializers.DateField()


class TryOutOut(serializers.Serializer[Any]):
    """A season plan in weeks; without a chance, `reasons` says why."""

    today = serializers.DateField()
    chance = EstimateOut(allow_null=True, help_text="That one dose ends in a capsule.")
    flowers = serializers.IntegerField()
    several = EstimateOut(allow_null=True, help_text="Of at least one capsule from so many flowers.")
    in_words = serializers.CharField(allow_blank=True)
    donor_bloom = WeeksOut(allow_null=True, help_text="Null: all year, or not known.")
    recipient_bloom = WeeksOut(allow_null=True)
    likeliest_posting_week = serializers.DateField(allow_null=True)
    good_posting_weeks = WeeksOut(allow_null=True, help_text="Null: too early to name them.")
    reasons = ToldOut(many=True)
    cautions = ToldOut(many=True)
    papers = ToldOut(allow_null=True)
    timeline = TimelineOut(allow_null=True)


class TryOutPlan(Resource):
    """A plan for a guest."""

    tag = "public"

    @act(
        "try_out",
        "Plan a season for two plants",
        TryOutOut,
        body=TryOutIn,
        example=TRY_OUT,
        body_example=TRIED,
        problems=("invalid_input", "conflict", "csrf_failed"),
        public=True,
    )
    def post(self, call: Call) -> TryOut:
        """Nothing is stored; of a point only its half-degree cell is used. Limited to a few a minute."""
        network_counted(call.request, "try-out", settings.TRY_OUTS_PER_MINUTE)
        return try_out(
            donor=_guest(call.data["donor"]),
            recipient=_guest(call.data["recipient"]),
            treatment=call.data["treatment"],
            flowers=call.data["flowers"],
            today=clock.today("UTC"),
        )


def _guest(stated: dict[str, Any]) -> Guest:
    return Guest(**{**stated, "usual_bloom": SaidWords(**stated["usual_bloom"])})
