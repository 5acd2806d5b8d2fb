"""What gatherings and detours look like in the API: out, in, examples."""

from typing import Any

from rest_framework import serializers

from exchange.api.strict import Choice, Day, Id, Number, StrictSerializer, Text, Whole
from exchange.api.v1.region import REGION, RegionOut
from exchange.api.v1.told import EstimateOut
from exchange.matching.detour import MOST_HANDLING_DAYS
from exchange.models import Detour, Gathering
from exchange.wording.detour import CAUTION

GERMANY = {**REGION, "country": "DE"}
GATHERING: dict[str, Any] = {
    "id": "5a4b3c2d-1e0f-4a9b-8c7d-6e5f4a3b2c1d",
    "role": "steward",
    "state": "open",
    "country": "DE",
    "region": GERMANY,
    "site_id": "7d9d1c3f-4a56-4c2b-9e11-2f30a7a3f5b6",
    "reach_from": "2027-07-05",
    "reach_until": "2027-07-31",
    "handling_days": 3,
    "permit_number": "EU-2027-4711",
    "permit_valid_until": "2027-12-31",
    "note": "",
    "caution": str(CAUTION),
    "created_at": "2027-07-01T12:00:00Z",
    "changed_at": "2027-07-01T12:00:00Z",
}
NEW_GATHERING = {
    name: GATHERING[name]
    for name in (
        "site_id",
        "reach_from",
        "reach_until",
        "handling_days",
        "permit_number",
        "permit_valid_until",
    )
}
BASIS = {"donor": "lot in hand", "recipient": "said"}
DETOUR: dict[str, Any] = {
    "id": "6b5c4d3e-2f10-4bac-9d8e-7f6a5b4c3d2e",
    "agreement_id": "c1d2e3f4-a5b6-4c7d-8e9f-0a1b2c3d4e5f",
    "gathering_id": GATHERING["id"],
    "role": "recipient",
    "state": "asked",
    "plant": "'Ferry'",
    "doses": 2,
    "donor": "pond by the mill",
    "recipient": "lake house",
    "steward": None,
    "donor_region": REGION,
    "recipient_region": GERMANY,
    "steward_region": GERMANY,
    "permit_number": None,
    "recipient_yes_at": "2027-07-02T08:00:00Z",
    "donor_yes_at": None,
    "steward_yes_at": None,
    "least_chance": None,
    "direct": {"estimate": 0.12, "low": 0.03, "high": 0.31, "basis": BASIS},
    "by_way": {"estimate": 0.09, "low": 0.02, "high": 0.26, "basis": BASIS},
    "handling_days": 3,
    "reach_from": "2027-07-05",
    "reach_until": "2027-07-31",
    "post_on": "2027-07-02",
    "not_later_than": "2027-07-09",
    "arrival_half": "2027-07-16",
    "arrival_nine_tenths": "2027-07-21",
    "planned_on": "2027-07-02",
    "caution": str(CAUTION),
    "created_at": "2027-07-02T08:00:00Z",
    "changed_at": "2027-07-02T08:00:00Z",
    "ended_at": None,
}
DONORS = {**DETOUR, "role": "donor", "donor_yes_at": "2027-07-02T09:00:00Z", "least_chance": 0.001}
STEWARDS = {
    **DONORS,
    "role": "steward",
    "state": "agreed",
    "steward": "pond by the weir",
    "steward_yes_at": "2027-07-02T10:00:00Z",
    "permit_number": GATHERING["permit_number"],
}


class GatheringOut(serializers.Serializer[Any]):
    """Parcels for one country that reach a steward there, who posts them on inland. Never permission."""

    id = serializers.UUIDField(source="public_id")
    role = serializers.ChoiceField([(word, word) for word in ("steward", "grower")])
    state = serializers.ChoiceField(Gathering.State.choices)
    country = serializers.CharField(help_text="Into which parcels come; ISO 3166 alpha-2.")
    region = RegionOut(help_text="The steward's.")
    site_id = serializers.UUIDField(allow_null=True, help_text="The steward's own.")
    reach_from = serializers.DateField(help_text="Parcels must reach the steward from this day on.")
    reach_until = serializers.DateField(help_text="And until this one.")
    handling_days = serializers.IntegerField(help_text="That the steward needs before they post on.")
    permit_number = serializers.CharField(
        allow_null=True, help_text="For the steward, and for donors whose packet goes this way."
    )
    permit_valid_until = serializers.DateField(help_text="As the steward says.")
    note = serializers.CharField()
    caution = serializers.CharField(help_text="Who decides.")
    created_at = serializers.DateTimeField()
    changed_at = serializers.DateTimeField()


class GatheringFieldsIn(StrictSerializer):
    """What a steward says of a gathering."""

    reach_from = Day()
    reach_until = Day(help_text="31 days in all at most.")
    handling_days = Whole(0, MOST_HANDLING_DAYS)
    permit_number = Text(max_length=80)
    permit_valid_until = Day(help_text="Not before the gathering ends.")
    note = Text(max_length=400, required=False, allow_blank=True, help_text="Whoever could join reads it.")


class GatheringIn(GatheringFieldsIn):
    """A new gathering."""

    site_id = Id(help_text="One of your own sites, in the country that parcels come to.")


class GatheringQuery(StrictSerializer):
    """Which gatherings."""

    state = Choice(Gathering.State.choices, required=False)
    country = Text(max_length=2, required=False)
    joinable = serializers.BooleanField(
        required=False, help_text="`true`: those in which you could ask for a place now."
    )


class DetourOut(serializers.Serializer[Any]):
    """The way of one agreement's packets through a gathering, for one of the three."""

    id = serializers.UUIDField(source="public_id")
    agreement_id = serializers.UUIDField()
    gathering_id = serializers.UUIDField()
    role = serializers.ChoiceField([(word, word) for word in ("donor", "recipient", "steward")])
    state = serializers.ChoiceField(Detour.State.choices)
    plant = serializers.CharField()
    doses = serializers.IntegerField()
    donor = serializers.CharField(
        allow_null=True, help_text="A handle; for the steward once all three have said yes."
    )
    recipient = serializers.CharField(allow_null=True)
    steward = serializers.CharField(allow_null=True, help_text="A handle, once all three have said yes.")
    donor_region = RegionOut()
    recipient_region = RegionOut()
    steward_region = RegionOut()
    permit_number = serializers.CharField(
        allow_null=True, help_text="For the steward, and for the donor once all three have said yes."
    )
    recipient_yes_at = serializers.DateTimeField()
    donor_yes_at = serializers.DateTimeField(allow_null=True)
    steward_yes_at = serializers.DateTimeField(allow_null=True)
    least_chance = serializers.FloatField(
        allow_null=True, help_text="With less the donor does not send their packet this way."
    )
    direct = EstimateOut(allow_null=True, help_text="Each flower, on the direct way, as told when asked for.")
    by_way = EstimateOut(help_text="Each flower, by way of the steward, as told when asked for.")
    handling_days = serializers.IntegerField()
    reach_from = serializers.DateField()
    reach_until = serializers.DateField()
    post_on = serializers.DateField(
        allow_null=True, help_text="Best day for the donor to post, all days of this way counted."
    )
    not_later_than = serializers.DateField(allow_null=True)
    arrival_half = serializers.DateField(
        allow_null=True, help_text="By then half of such packets have come to the recipient, if they come."
    )
    arrival_nine_tenths = serializers.DateField(allow_null=True)
    planned_on = serializers.DateField(help_text="The day as of which these days were reckoned.")
    caution = serializers.CharField(help_text="Who decides.")
    created_at = serializers.DateTimeField()
    changed_at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField(allow_null=True)


class DetourIn(StrictSerializer):
    """Where a place is asked for."""

    gathering_id = Id()


class DetourYesIn(StrictSerializer):
    """The donor's yes."""

    least_chance = Number(
        0.0, 1.0, required=False, help_text="Of each flower: with less your packet does not go this way."
    )
