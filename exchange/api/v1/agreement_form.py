"""What an agreement looks like in the API: out, in, examples."""

from typing import Any

from rest_framework import serializers

from exchange.api.strict import Choice, Id, Instant, StrictSerializer, Text, Whole, Words
from exchange.api.v1.pairing_form import PLANT_SHOWN, PlantShownOut
from exchange.api.v1.region import REGION, RegionOut
from exchange.api.v1.term_form import TERM, TermOut
from exchange.models import Agreement, AgreementEvent
from exchange.models.agreement import PostFrom
from exchange.services.agreement import DECLINE_REASONS

EVENT = {
    "kind": "proposed",
    "at": "2027-07-01T12:00:00Z",
    "by": "other",
    "detail": "Someone in this region: Germany says yes to 2 doses of 'Ferry'. Now it is your turn.",
    "parameters": {"doses": 2},
}
AGREEMENT: dict[str, Any] = {
    "id": "c1d2e3f4-a5b6-4c7d-8e9f-0a1b2c3d4e5f",
    "role": "donor",
    "state": "proposed",
    "pairing_id": "f0e1d2c3-b4a5-4968-8776-5a4b3c2d1e0f",
    "offer_id": "6f3b0c52-2c1e-4c57-9a55-0e6a1d2f7b11",
    "plant": PLANT_SHOWN,
    "donor": "pond by the mill",
    "recipient": None,
    "region": {**REGION, "country": "DE"},
    "wanted_cross_id": None,
    "seed_parent": None,
    "proposed_by_you": False,
    "doses": 2,
    "terms": [TERM],
    "terms_worded_at": "2027-07-01T12:00:00Z",
    "post_from": None,
    "crosses_border": True,
    "created_at": "2027-07-01T12:00:00Z",
    "changed_at": "2027-07-01T12:00:00Z",
    "lapses_at": "2027-07-11T12:00:00Z",
    "agreed_at": None,
    "reserved_until": None,
    "sent": False,
    "ended_at": None,
    "end_reason": None,
    "end_sentence": None,
    "events": [EVENT],
}
AGREED: dict[str, Any] = {
    **AGREEMENT,
    "state": "agreed",
    "recipient": "lake house",
    "seed_parent": "'Dusk'",
    "post_from": "home",
    "lapses_at": None,
    "agreed_at": "2027-07-02T08:00:00Z",
    "reserved_until": "2027-08-05T22:00:00Z",
}
ENDED = {
    **AGREED,
    "state": "ended",
    "reserved_until": None,
    "ended_at": "2027-07-20T08:00:00Z",
    "end_reason": "done",
    "end_sentence": "Its story is over; thank you both.",
}
NEW_AGREEMENT = {
    "pairing_id": AGREEMENT["pairing_id"],
    "doses": 2,
    "terms": ["tell_result"],
}


class AgreementEventOut(serializers.Serializer[Any]):
    """One thing that happened; nothing is ever taken out of this list."""

    kind = serializers.ChoiceField(AgreementEvent.Kind.choices)
    at = serializers.DateTimeField()
    by = serializers.ChoiceField([(word, word) for word in ("you", "other", "steward", "time")])
    detail = serializers.CharField()
    parameters = serializers.DictField(child=serializers.JSONField(allow_null=True))


class AgreementOut(serializers.Serializer[Any]):
    """An agreement for one of its two growers; null is what they may not read yet, or what is not so."""

    id = serializers.UUIDField(source="public_id")
    role = serializers.ChoiceField([("donor", "donor"), ("recipient", "recipient")])
    state = serializers.ChoiceField(
        Agreement.State.choices, help_text="`proposed`: one yes, nothing reserved. `agreed`: both."
    )
    pairing_id = serializers.UUIDField(help_text="The pairing that the first yes was said to.")
    offer_id = serializers.UUIDField()
    plant = PlantShownOut()
    donor = serializers.CharField(help_text="A handle.")
    recipient = serializers.CharField(allow_null=True, help_text="A handle, once both have said yes.")
    region = RegionOut(help_text="The other's.")
    wanted_cross_id = serializers.UUIDField(allow_null=True, help_text="The recipient's own.")
    seed_parent = serializers.CharField(allow_null=True)
    proposed_by_you = serializers.BooleanField()
    doses = serializers.IntegerField()
    terms = TermOut(many=True, help_text="As worded when they were ticked.")
    terms_worded_at = serializers.DateTimeField(allow_null=True)
    post_from = serializers.ChoiceField(PostFrom.choices, allow_null=True)
    crosses_border = serializers.BooleanField()
    created_at = serializers.DateTimeField()
    changed_at = serializers.DateTimeField()
    lapses_at = serializers.DateTimeField(allow_null=True, help_text="When a single yes ends by itself.")
    agreed_at = serializers.DateTimeField(allow_null=True)
    reserved_until = serializers.DateTimeField(allow_null=True)
    sent = serializers.BooleanField()
    ended_at = serializers.DateTimeField(allow_null=True)
    end_reason = serializers.ChoiceField(Agreement.EndReason.choices, allow_null=True)
    end_sentence = serializers.CharField(allow_null=True)
    events = AgreementEventOut(many=True)


class YesIn(StrictSerializer):
    """What belongs to a yes: the taker ticks the terms, the donor says whose address the parcel shows."""

    terms = Words(
        child=Text(max_length=40), max_length=12, required=False, help_text="Keys of all terms, by the taker."
    )
    post_from = Choice(
        PostFrom.choices,
        required=False,
        help_text="By the donor, across a border always: customs papers usually show name and address.",
    )


class AgreementIn(YesIn):
    """The first yes to a pairing."""

    pairing_id = Id()
    doses = Whole(1, 12, help_text="One is enough for one flower; at most the flowers of the wanted cross.")


class AcceptIn(YesIn):
    """The second yes; a donor may give fewer doses than were asked for."""

    doses = Whole(1, 12, required=False)


class DeclineIn(StrictSerializer):
    """Why not; the other reads a kind sentence."""

    reason = Choice([(str(reason), str(reason)) for reason in DECLINE_REASONS])


class DosesIn(StrictSerializer):
    """So many doses."""

    doses = Whole(1, 12)


class AgreementQuery(StrictSerializer):
    """Which agreements."""

    state = serializers.ChoiceField(Agreement.State.choices, required=False)
    role = serializers.ChoiceField([("donor", "donor"), ("recipient", "recipient")], required=False)
    updated_since = Instant(required=False, help_text="Changed at this instant or later.")
