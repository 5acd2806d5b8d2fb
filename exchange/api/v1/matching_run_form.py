"""What runs, dry runs and explanations look like in the API: out, examples."""

from typing import Any

from rest_framework import serializers

from exchange.api.v1.told import ToldOut
from exchange.models import MatchingOrder, MatchingRun

RUN: dict[str, Any] = {
    "id": "a7b8c9d0-e1f2-4a3b-9c4d-5e6f7a8b9c0d",
    "today": "2027-07-01",
    "started_at": "2027-07-01T12:00:00Z",
    "finished_at": "2027-07-01T12:00:03Z",
    "model_version": "0a1b2c3d4e5f",
    "rule": "one for each grower first",
    "considered": 12,
    "proposed": 5,
    "written": 2,
    "superseded": 1,
}
ORDER: dict[str, Any] = {
    "id": "b8c9d0e1-f2a3-4b4c-8d5e-6f7a8b9c0d1e",
    "state": "waiting",
    "rule": "most capsules",
    "ordered_by": "lilies at the weir",
    "ordered_at": "2027-07-01T11:59:58Z",
    "started_at": None,
    "finished_at": None,
    "run": None,
}
ORDER_DONE = {
    **ORDER,
    "state": "done",
    "started_at": RUN["started_at"],
    "finished_at": RUN["finished_at"],
    "run": RUN,
}
REPORT_ROW = {
    "heading": "region",
    "group": "DE",
    "growers_asking": 3,
    "growers_with_offer": 2,
    "growers_served": 2,
    "doses": 6,
    "expected_capsules": 0.71,
    "capsules_by_other_rule": 0.74,
    "possible_capsules": 0.9,
}
LOSS = {
    "grower": "lilies at the weir",
    "doses": 1,
    "doses_by_other_rule": 3,
    "expected_capsules": 0.1,
    "capsules_by_other_rule": 0.28,
    "served": True,
}
PRICE = {
    "growers_served": 3,
    "growers_served_most_capsules": 2,
    "expected_capsules": 0.71,
    "most_capsules": 0.74,
}
REPORT = {"rows": [REPORT_ROW], "losers": [LOSS], "price": PRICE}
RUN_WHOLE = {**RUN, "report": REPORT}
PAIR = {
    "offer_id": "6f3b0c52-2c1e-4c57-9a55-0e6a1d2f7b11",
    "donor": "pond by the mill",
    "pollen_parent": "'Ferry'",
    "wanted_cross_id": "9d2e4f60-7a1b-4c3d-8e5f-1a2b3c4d5e6f",
    "recipient": "lilies at the weir",
    "seed_parent": "'Dusk'",
    "chance": 0.12,
    "allocated_doses": 4,
}
DRY_RUN = {
    "rule": "most capsules",
    "proposed": 5,
    "new_count": 1,
    "changed_count": 0,
    "withdrawn_count": 0,
    "new": [PAIR],
    "changed": [],
    "withdrawn": [],
    "report": REPORT,
}
GIVEN = {"offer_id": PAIR["offer_id"], "doses": 4, "expected_capsules": 0.33}
EXPLANATION = {
    "wanted_cross_id": PAIR["wanted_cross_id"],
    "recipient": "lilies at the weir",
    "seed_parent": "'Dusk'",
    "run_id": RUN["id"],
    "rule": "one for each grower first",
    "reason": {
        "code": "allocation_best",
        "detail": "The best that was on offer for it.",
        "parameters": {"doses": 4, "flowers": 4, "offers": 1},
    },
    "given": [GIVEN],
    "better_elsewhere": [],
    "without_it": [
        {
            "offer_id": PAIR["offer_id"],
            "instead": [],
            "expected_capsules": 0.0,
            "growers_served_change": -1,
            "all_capsules_change": -0.33,
        }
    ],
    "one_more": [
        {
            "offer_id": PAIR["offer_id"],
            "growers_served_change": 0,
            "all_capsules_change": 0.0,
            "goes_to": [],
        }
    ],
    "expected_capsules": 0.33,
    "capsules_by_other_rule": 0.33,
}


class MatchingRunOut(serializers.Serializer[Any]):
    """One run; a run that changes nothing is not written."""

    id = serializers.UUIDField(source="public_id")
    today = serializers.DateField(help_text="The day plans count from, UTC.")
    started_at = serializers.DateTimeField()
    finished_at = serializers.DateTimeField(allow_null=True)
    model_version = serializers.CharField()
    rule = serializers.ChoiceField(MatchingRun.Rule.choices)
    considered = serializers.IntegerField(help_text="Pairs of an open offer and an open wanted cross.")
    proposed = serializers.IntegerField(help_text="Pairings that stand.")
    written = serializers.IntegerField(help_text="Pairings that are new or say something else.")
    superseded = serializers.IntegerField()


class MatchingOrderOut(serializers.Serializer[Any]):
    """A wish for a run, and the run it came to."""

    id = serializers.UUIDField(source="public_id")
    state = serializers.ChoiceField(MatchingOrder.State.choices)
    rule = serializers.ChoiceField(MatchingRun.Rule.choices)
    ordered_by = serializers.CharField(source="ordered_by.handle", help_text="Handle.")
    ordered_at = serializers.DateTimeField(source="created_at")
    started_at = serializers.DateTimeField(allow_null=True, help_text="The last time, if more than once.")
    finished_at = serializers.DateTimeField(allow_null=True)
    run = MatchingRunOut(allow_null=True)


class ReportRowOut(serializers.Serializer[Any]):
    """Growers served and capsules lost of one group under one heading."""

    heading = serializers.ChoiceField([(word, word) for word in ("region", "season", "cross")])
    group = serializers.CharField(allow_blank=True)
    growers_asking = serializers.IntegerField()
    growers_with_offer = serializers.IntegerField()
    growers_served = serializers.IntegerField()
    doses = serializers.IntegerField()
    expected_capsules = serializers.FloatField()
    capsules_by_other_rule = serializers.FloatField()
    possible_capsules = serializers.FloatField(help_text="With pollen enough for everybody.")


class LossOut(serializers.Serializer[Any]):
    """A grower from whom fewer capsules are expected than by the other rule."""

    grower = serializers.CharField(help_text="Handle.")
    doses = serializers.IntegerField()
    doses_by_other_rule = serializers.IntegerField()
    expected_capsules = serializers.FloatField()
    capsules_by_other_rule = serializers.FloatField()
    served = serializers.BooleanField()


class PriceOut(serializers.Serializer[Any]):
    """What the rule costs against most capsules, and what it gains in growers served."""

    growers_served = serializers.IntegerField()
    growers_served_most_capsules = serializers.IntegerField()
    expected_capsules = serializers.FloatField()
    most_capsules = serializers.FloatField()


class ReportOut(serializers.Serializer[Any]):
    """How a run falls out."""

    rows = ReportRowOut(many=True)
    losers = LossOut(many=True)
    price = PriceOut(allow_null=True)


class MatchingRunWholeOut(MatchingRunOut):
    """One run with its report."""

    report = ReportOut()


class PairShownOut(serializers.Serializer[Any]):
    """An offer and a wanted cross."""

    offer_id = serializers.UUIDField()
    donor = serializers.CharField()
    pollen_parent = serializers.CharField()
    wanted_cross_id = serializers.UUIDField()
    recipient = serializers.CharField()
    seed_parent = serializers.CharField()
    chance = serializers.FloatField()
    allocated_doses = serializers.IntegerField()


class DryRunOut(serializers.Serializer[Any]):
    """What a run would change; lists hold the first 200."""

    rule = serializers.ChoiceField(MatchingRun.Rule.choices)
    proposed = serializers.IntegerField()
    new_count = serializers.IntegerField()
    changed_count = serializers.IntegerField()
    withdrawn_count = serializers.IntegerField()
    new = PairShownOut(many=True)
    changed = PairShownOut(many=True)
    withdrawn = PairShownOut(many=True)
    report = ReportOut()


class GivenOut(serializers.Serializer[Any]):
    """Doses of one offer."""

    offer_id = serializers.UUIDField()
    doses = serializers.IntegerField()
    expected_capsules = serializers.FloatField()


class ElsewhereOut(serializers.Serializer[Any]):
    """A better offer and the wanted crosses its doses went to."""

    offer_id = serializers.UUIDField()
    chance = serializers.FloatField()
    went_to = serializers.ListField(child=serializers.UUIDField())


class WithoutItOut(serializers.Serializer[Any]):
    """What it would get without one of its offers, and what that would change for everybody."""

    offer_id = serializers.UUIDField()
    instead = GivenOut(many=True)
    expected_capsules = serializers.FloatField()
    growers_served_change = serializers.IntegerField()
    all_capsules_change = serializers.FloatField()


class OneMoreOut(serializers.Serializer[Any]):
    """What one more dose of an offer would change, and who would get more."""

    offer_id = serializers.UUIDField()
    growers_served_change = serializers.IntegerField()
    all_capsules_change = serializers.FloatField()
    goes_to = serializers.ListField(child=serializers.UUIDField())


class ExplanationOut(serializers.Serializer[Any]):
    """Why a wanted cross has what it has; names no place."""

    wanted_cross_id = serializers.UUIDField()
    recipient = serializers.CharField()
    seed_parent = serializers.CharField()
    run_id = serializers.UUIDField()
    rule = serializers.ChoiceField(MatchingRun.Rule.choices)
    reason = ToldOut()
    given = GivenOut(many=True)
    better_elsewhere = ElsewhereOut(many=True)
    without_it = WithoutItOut(many=True)
    one_more = OneMoreOut(many=True)
    expected_capsules = serializers.FloatField()
    capsules_by_other_rule = serializers.FloatField()
