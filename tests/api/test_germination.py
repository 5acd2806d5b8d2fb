"""A counted test is reckoned for any member, and leaves no trace."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.api.v1.germination import COUNTS, RECKONED, WAY
from exchange.models import IdempotentAnswer
from tests.api.access_call import database_state
from tests.api.caller import Caller

pytestmark = pytest.mark.django_db

PATH = "germination-counts"
PLAIN = {"replicates": [{"germinated": 28, "counted": 100}], **WAY, "treatment": "fresh", "rehydrated": None}


def pairs(*counts: tuple[int, int]) -> list[dict[str, int]]:
    return [{"germinated": germinated, "counted": counted} for germinated, counted in counts]


def codes(body: dict[str, Any]) -> list[str]:
    return [each["code"] for each in body["advice"]]


def test_a_test_is_reckoned_as_the_document_shows(donor_api: Caller) -> None:
    answer = donor_api.call("POST", PATH, COUNTS)
    assert answer.status == 200
    body = answer.body
    for name in ("estimate", "estimate_if_independent"):
        shown, told = RECKONED[name], body.pop(name)
        assert told["basis"] == shown["basis"]
        for end in ("estimate", "low", "high"):
            assert told[end] == pytest.approx(shown[end], abs=5e-4), (name, end)
    assert body.pop("advice")[0] == RECKONED["advice"][0]
    assert body == {
        **WAY,
        "germinated": 60,
        "counted": 200,
        "agree": True,
        "more_grains": {"independent": 120, "clumped": 754},
    }


def test_its_advice_has_code_sentence_and_figures(donor_api: Caller) -> None:
    body = donor_api.call("POST", PATH, {**PLAIN, "replicates": pairs((80, 100), (40, 100))}).body
    assert body["agree"] is False
    assert body["more_grains"] is None
    assert codes(body) == [
        "replicates_disagree",
        "count_again",
        "another_replicate",
        "too_few_grains",
        "clumping_observed",
        "same_way_only",
    ]
    assert body["advice"][3] == {
        "code": "too_few_grains",
        "detail": "Only 200 grains were counted. We advise 3 samples of 100 grains or more, from different"
        " anthers.",
        "parameters": {"counted": 200, "replicates": 3, "grains_per_replicate": 100},
    }
    assert body["estimate"]["basis"]["clumping"] == "observed"


def test_one_sample_alone_neither_agrees_nor_disagrees(donor_api: Caller) -> None:
    body = donor_api.call("POST", PATH, PLAIN).body
    assert (body["agree"], body["more_grains"]) == (None, None)
    assert codes(body)[0] == "replicate_alone"


def test_none_of_thirty_has_its_interval(donor_api: Caller) -> None:
    body = donor_api.call("POST", PATH, {**PLAIN, "replicates": pairs((0, 30))}).body
    independent = body["estimate_if_independent"]
    assert (independent["low"], independent["high"]) == (0.0, pytest.approx(0.113513, abs=1e-6))
    assert (body["estimate"]["low"], body["estimate"]["high"]) == (0.0, pytest.approx(0.168272, abs=1e-6))


@pytest.mark.parametrize(
    ("changes", "status", "faults"),
    [
        ({"replicates": []}, 400, {"/replicates": "min_length"}),
        ({"replicates": pairs((1, 2)) * 21}, 400, {"/replicates": "max_length"}),
        ({"replicates": [{"germinated": 1}]}, 400, {"/replicates/0/counted": "required"}),
        ({"replicates": pairs((0, 0))}, 400, {"/replicates/0/counted": "min_value"}),
        ({"replicates": pairs((-1, 5))}, 400, {"/replicates/0/germinated": "min_value"}),
        ({"replicates": pairs((1, 10_001))}, 400, {"/replicates/0/counted": "max_value"}),
        ({"replicates": [{"germinated": "1", "counted": 2}]}, 400, {"/replicates/0/germinated": "invalid"}),
        ({"method": "taste"}, 400, {"/method": "invalid_choice"}),
        ({"medium": ""}, 400, {"/medium": "blank"}),
        ({"rule": "x" * 201}, 400, {"/rule": "max_length"}),
        ({"treatment": "boiled"}, 400, {"/treatment": "invalid_choice"}),
        ({"rehydrated": "yes"}, 400, {"/rehydrated": "invalid"}),
        ({"wanted_half_width_percent": 0.4}, 400, {"/wanted_half_width_percent": "min_value"}),
        ({"wanted_half_width_percent": 51}, 400, {"/wanted_half_width_percent": "max_value"}),
        ({"lot": "A"}, 400, {"/lot": "unknown_field"}),
        (
            {"replicates": pairs((1, 2), (3, 2), (9, 4))},
            422,
            {"/replicates/1/germinated": "not_allowed", "/replicates/2/germinated": "not_allowed"},
        ),
    ],
)
def test_wrong_counts_are_told_by_their_field(
    donor_api: Caller, changes: dict[str, Any], status: int, faults: dict[str, str]
) -> None:
    before = database_state()
    refused = donor_api.call("POST", PATH, {**PLAIN, **changes})
    assert (refused.status, refused.faults) == (status, faults)
    assert database_state() == before


def test_more_grains_germinated_than_were_counted_is_said_in_a_sentence(donor_api: Caller) -> None:
    refused = donor_api.call("POST", PATH, {**PLAIN, "replicates": pairs((3, 2))})
    assert (refused.code, refused.body["errors"][0]["detail"]) == (
        "invalid_input",
        "replicates/0/germinated is 3; allowed: 0 to 2.",
    )


@pytest.mark.parametrize("missing", ["replicates", "method", "medium", "rule", "treatment", "rehydrated"])
def test_how_it_was_done_is_stated_not_assumed(donor_api: Caller, missing: str) -> None:
    body = {name: value for name, value in PLAIN.items() if name != missing}
    refused = donor_api.call("POST", PATH, body)
    assert (refused.status, refused.faults) == (400, {f"/{missing}": "required"})


def test_nothing_is_stored_and_no_rows_are_read(donor_api: Caller) -> None:
    donor_api.call("POST", PATH, PLAIN)
    before = database_state()
    counts = []
    for replicates in (1, 20):
        with CaptureQueriesContext(connection) as captured:
            assert (
                donor_api.call("POST", PATH, {**PLAIN, "replicates": pairs((5, 9)) * replicates}).status
                == 200
            )
        counts.append(len(captured))
    assert counts == [1, 1]
    assert database_state() == before
    assert IdempotentAnswer.objects.count() == 0


def test_it_is_for_members(nobody: Caller) -> None:
    assert nobody.call("POST", PATH, PLAIN).status == 401
