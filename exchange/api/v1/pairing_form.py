"""What a pairing looks like in the API: out, examples."""

from typing import Any

from rest_framework import serializers

from exchange.api.v1.region import REGION, RegionOut
from exchange.api.v1.term_form import TERM, TermOut
from exchange.api.v1.told import REASON, EstimateOut, ToldOut
from exchange.models import Offer, Pairing
from exchange.models.offer import PackingPreset, Treatment
from exchange.wording.pairing import DECIDERS
from growers.models import Diel, Group, Plant

BASIS = {"donor": "lot in hand", "recipient": "said"}
PLANT_SHOWN = {
    "id": "2b7f9a1c-88d4-4b6e-a6a1-0c5d1e7f3b42",
    "name_as_grown": "'Ferry'",
    "taxon_name": "",
    "group": "hardy",
    "diel": "day",
    "identity": "as_received",
    "region": REGION,
}
PAIRING: dict[str, Any] = {
    "id": "f0e1d2c3-b4a5-4968-8776-5a4b3c2d1e0f",
    "role": "recipient",
    "state": "suggested",
    "earlier": False,
    "created_at": "2027-07-01T12:00:00Z",
    "changed_at": "2027-07-01T12:00:00Z",
    "offer": {
        "offer_id": "6f3b0c52-2c1e-4c57-9a55-0e6a1d2f7b11",
        "plant": PLANT_SHOWN,
        "donor": "pond by the mill",
        "kind": "in_hand",
        "treatment": "dried",
        "packing": "cold_box",
        "doses": 4,
        "terms": [TERM],
    },
    "wanted": {
        "region": {**REGION, "country": "DE"},
        "wanted_cross_id": "9d2e4f60-7a1b-4c3d-8e5f-1a2b3c4d5e6f",
        "seed_parent_id": "3c8a0b2d-99e5-4c7f-b7b2-1d6e2f8a4c53",
        "seed_parent_name": "'Dusk'",
    },
    "each_flower": {"estimate": 0.12, "low": 0.03, "high": 0.31, "basis": BASIS},
    "several_flowers": 4,
    "several": {"estimate": 0.33, "low": 0.1, "high": 0.7, "basis": BASIS},
    "donor_flowers": None,
    "bud_wait": {
        "posted_chance": 1.0,
        "each_posted": {"estimate": 0.1, "low": 0.02, "high": 0.28, "basis": BASIS},
        "each_promised": 0.1,
        "better": False,
        "detail": "better not to wait for the recipient's bud: each dose posted then 10 %, likely range 2.0 %"
        " to 28 %, instead of 12 %",
    },
    "two_baskets": {
        "with_whom": "another donor",
        "offer_id": "d4c1a7e2-3b5f-4f0a-9c8e-7a6b5c4d3e2f",
        "doses": [2, 2],
        "posting": ["2027-07-01", "2027-07-05"],
        "at_least_one_together": 0.33,
        "at_least_one_split": 0.36,
        "gain": 0.03,
        "basis": {**BASIS, "second_donor": "records"},
        "detail": "2 + 2 doses, the second packet from another donor: at least one capsule 36 % instead of"
        " 33 %",
    },
    "compatibility": {
        "estimate": 0.4,
        "low": 0.2,
        "high": 0.6,
        "basis": {"compatibility": "prior of the groups"},
    },
    "lost_chance": 0.03,
    "dates": {
        "precision": "days",
        "likeliest_posting": "2027-07-01",
        "post_on": "2027-07-01",
        "not_later_than": "2027-07-22",
        "decided_by": "transit",
        "send_at_once": True,
        "good_first": "2027-07-01",
        "good_last": "2027-07-22",
        "arrival_half": "2027-07-06",
        "arrival_nine_tenths": "2027-07-12",
    },
    "words": {
        "chance": "each flower about 1 in 8 (12 %, likely range 3.0 % to 31 %); with 4 flowers about 1 in 3",
        "posting": "send at once, Thu 1 July",
        "decided_by": "the post, if it is slow",
        "based_on": "donor: pollen in hand; recipient: what its grower says",
    },
    "reasons": [],
    "cautions": [REASON],
    "papers": None,
    "withdrawn_because": None,
    "smallest_change": None,
    "allocated_doses": 4,
    "allocation_reason": {
        "code": "allocation_best",
        "detail": "The best that was on offer for it.",
        "parameters": {"doses": 4, "flowers": 4, "offers": 1},
    },
}
PAIRING_WHOLE = {
    **PAIRING,
    "timeline": {
        "first_day": "2027-07-01",
        "posted_on": "2027-07-01",
        "pollen_chance": [1.0, 1.0],
        "posting_open": [True, True],
        "arrival_chance": [0.0, 0.0],
        "first_day_flower_chance": [0.41, 0.41],
        "remaining_effect": [None, None],
    },
}


class PlantShownOut(serializers.Serializer[Any]):
    """A plant as others may read it."""

    id = serializers.UUIDField(source="public_id")
    name_as_grown = serializers.CharField()
    taxon_name = serializers.CharField()
    group = serializers.ChoiceField(Group.choices)
    diel = serializers.ChoiceField(Diel.choices)
    identity = serializers.ChoiceField(Plant.Identity.choices)
    region = RegionOut()


class OfferSideOut(serializers.Serializer[Any]):
    """The offer; ``donor`` is a handle."""

    offer_id = serializers.UUIDField()
    plant = PlantShownOut()
    donor = serializers.CharField()
    kind = serializers.ChoiceField(Offer.Kind.choices)
    treatment = serializers.ChoiceField(Treatment.choices)
    packing = serializers.ChoiceField(PackingPreset.choices)
    doses = serializers.IntegerField()
    terms = TermOut(many=True, help_text="What a taker agrees to by ticking each.")


class WantedSideOut(serializers.Serializer[Any]):
    """Who would like it; to the donor a region and nothing else."""

    region = RegionOut()
    wanted_cross_id = serializers.UUIDField(allow_null=True)
    seed_parent_id = serializers.UUIDField(allow_null=True)
    seed_parent_name = serializers.CharField(allow_null=True)


class PlannedDatesOut(serializers.Serializer[Any]):
    """When to post; with precision ``season`` a date stands for its week, and null is not known yet."""

    precision = serializers.ChoiceField([(word, word) for word in ("season", "days", "clock")])
    likeliest_posting = serializers.DateField()
    post_on = serializers.DateField(allow_null=True)
    not_later_than = serializers.DateField(allow_null=True, help_text="Null: no deadline this season.")
    decided_by = serializers.ChoiceField([(word, word) for word in DECIDERS], allow_null=True)
    send_at_once = serializers.BooleanField(allow_null=True)
    good_first = serializers.DateField(allow_null=True)
    good_last = serializers.DateField(allow_null=True)
    arrival_half = serializers.DateField(allow_null=True, help_text="Half of such parcels are there.")
    arrival_nine_tenths = serializers.DateField(allow_null=True)


class DonorFlowersOut(serializers.Serializer[Any]):
    """Flowers of the donor that so many doses take."""

    needed = serializers.IntegerField()
    chance = serializers.FloatField(help_text="That so many have opened by the likeliest posting day.")


class BudWaitOut(serializers.Serializer[Any]):
    """A lot that waits in the donor's refrigerator and is posted once the recipient reports a bud."""

    posted_chance = serializers.FloatField(help_text="That a bud is reported, so that it is posted at all.")
    each_posted = EstimateOut(help_text="That a dose ends in a capsule, of those posted.")
    each_promised = serializers.FloatField(help_text="The same of all doses, those that stay among them.")
    better = serializers.BooleanField(
        help_text="Each dose posted gives more than one posted on the best day of the forecast."
    )
    detail = serializers.CharField()


class TwoBasketsOut(serializers.Serializer[Any]):
    """The doses in two packets instead of one, and the chance of at least one capsule either way."""

    with_whom = serializers.ChoiceField([(word, word) for word in ("another donor", "the same donor")])
    offer_id = serializers.UUIDField(allow_null=True, help_text="Of the second donor.")
    doses = serializers.ListField(
        child=serializers.IntegerField(), min_length=2, max_length=2, help_text="Of each packet."
    )
    posting = serializers.ListField(
        child=serializers.DateField(),
        min_length=2,
        max_length=2,
        help_text="Likeliest day of each packet; with precision ``season`` it stands for its week.",
    )
    at_least_one_together = serializers.FloatField(help_text="From all doses in one packet.")
    at_least_one_split = serializers.FloatField()
    gain = serializers.FloatField(help_text="Below 0 where one packet is better.")
    basis = serializers.DictField(child=serializers.CharField())
    detail = serializers.CharField()


class WordsOut(serializers.Serializer[Any]):
    """The plan in sentences."""

    chance = serializers.CharField()
    posting = serializers.CharField()
    decided_by = serializers.CharField()
    based_on = serializers.CharField()


class TimelineOut(serializers.Serializer[Any]):
    """Day by day from ``first_day``; all lists are equally long."""

    first_day = serializers.DateField()
    posted_on = serializers.DateField(help_text="Arrival and effect are those of this posting day.")
    pollen_chance = serializers.ListField(
        child=serializers.FloatField(), help_text="Of a donor's flower that sheds; 1 for pollen in hand."
    )
    posting_open = serializers.ListField(child=serializers.BooleanField())
    arrival_chance = serializers.ListField(child=serializers.FloatField(), help_text="On this day.")
    first_day_flower_chance = serializers.ListField(
        child=serializers.FloatField(), help_text="Of the seed parent."
    )
    remaining_effect = serializers.ListField(
        child=serializers.FloatField(allow_null=True),
        help_text="Of the pollen if it arrives on the median day; null before.",
    )


class PairingOut(serializers.Serializer[Any]):
    """A pairing for one of its two growers; what rests on the seed parent is null to the donor."""

    id = serializers.UUIDField(source="public_id")
    role = serializers.ChoiceField([("donor", "donor"), ("recipient", "recipient")])
    state = serializers.ChoiceField(Pairing.State.choices)
    earlier = serializers.BooleanField(
        help_text="It stands, but you were told of it 14 days ago or more and have not seen it."
    )
    created_at = serializers.DateTimeField()
    changed_at = serializers.DateTimeField()
    offer = OfferSideOut()
    wanted = WantedSideOut()
    each_flower = EstimateOut(help_text="That one dose ends in a capsule.")
    several_flowers = serializers.IntegerField()
    several = EstimateOut(help_text="Of at least one capsule from so many flowers.")
    donor_flowers = DonorFlowersOut(allow_null=True, help_text="Null for pollen in hand.")
    bud_wait = BudWaitOut(
        allow_null=True, help_text="Of pollen in a refrigerator while no bud or flower was seen; else null."
    )
    two_baskets = TwoBasketsOut(
        allow_null=True,
        help_text="On the best pairing of a wanted cross for several flowers, to its recipient; else null.",
    )
    compatibility = EstimateOut(allow_null=True, help_text="That a pollination with live pollen takes.")
    lost_chance = serializers.FloatField(help_text="That the parcel is lost.")
    dates = PlannedDatesOut()
    words = WordsOut()
    reasons = ToldOut(many=True)
    cautions = ToldOut(many=True)
    papers = ToldOut(allow_null=True, help_text="Null inside one country, never across a border.")
    withdrawn_because = ToldOut(
        allow_null=True, help_text="Of a superseded one: the border note that forbids it now."
    )
    smallest_change = ToldOut(allow_null=True)
    allocated_doses = serializers.IntegerField(help_text="Proposed; promises nothing.")
    allocation_reason = ToldOut(allow_null=True)


class PairingWholeOut(PairingOut):
    """A pairing with its timeline."""

    timeline = TimelineOut(allow_null=True)
