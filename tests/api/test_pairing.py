"""Pairings: each of the two growers reads theirs, key by key; to all others there is none."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.api.v1.pairing import RENDERED
from exchange.models import Notification, Pairing
from exchange.selectors.pairing import EARLIER_AFTER
from exchange.services.rescoring import rescore
from growers import clock as project_clock
from growers.models import Grower
from tests.api.caller import Caller
from tests.clock import MovableClock
from tests.exchange.society import NOON, SECRET_NAME, Society, make_pairing, make_society
from tests.factories import make_offer_in_hand, make_plant, make_wanted_cross

pytestmark = pytest.mark.django_db

REGION = {
    "level": "climate_band",
    "part_of_the_world": "Europe",
    "country": None,
    "subdivision": None,
    "climate_band": "northern temperate",
    "cell_latitude_deg": None,
    "cell_longitude_deg": None,
}
BASIS = {"donor": "lot in hand", "recipient": "records"}
VIABILITY = {
    "code": "viability_prior_only",
    "detail": "How long water-lily pollen lives in store has not been published; these figures come from"
    " other plants. Test before you send.",
    "parameters": {},
}


@pytest.fixture
def society(donor: Grower, recipient: Grower, clock: MovableClock) -> Society:
    clock.set(NOON)
    return make_society(donor, recipient)


BUD_WAIT = {
    "posted_chance": 1.0,
    "each_posted": {"estimate": 0.1, "low": 0.02, "high": 0.28, "basis": BASIS},
    "each_promised": 0.1,
    "better": False,
    "detail": "better not to wait for the recipient's bud: each dose posted then 10 %, likely range"
    " 2.0 % to 28 %, instead of 12 %",
}


@pytest.fixture
def pairing(society: Society) -> Pairing:
    return make_pairing(society.offer, society.wanted)


def for_both(society: Society, pairing: Pairing) -> dict[str, Any]:
    """What both growers read alike."""
    plan = pairing.plan
    written = pairing.created_at.isoformat().replace("+00:00", "Z")
    changed = pairing.changed_at.isoformat().replace("+00:00", "Z")
    return {
        "id": str(pairing.public_id),
        "state": "suggested",
        "earlier": False,
        "created_at": written,
        "changed_at": changed,
        "offer": {
            "offer_id": str(society.offer.public_id),
            "plant": {
                "id": str(society.given.public_id),
                "name_as_grown": "'Ferry'",
                "taxon_name": "",
                "group": "hardy",
                "diel": "day",
                "identity": "as_received",
                "region": REGION,
            },
            "donor": "donor",
            "kind": "in_hand",
            "treatment": "dried",
            "packing": "cold_box",
            "doses": 4,
            "terms": [],
        },
        "each_flower": {"estimate": 0.12, "low": 0.03, "high": 0.31, "basis": BASIS},
        "several_flowers": 4,
        "several": {"estimate": 0.33, "low": 0.1, "high": 0.7, "basis": BASIS},
        "donor_flowers": None,
        "bud_wait": BUD_WAIT,
        "lost_chance": 0.01,
        "dates": {"precision": "days", "likeliest_posting": "2026-06-18", **plan["dates"]},
        "words": {
            "chance": "each flower about 1 in 8 (12 %, likely range 3.0 % to 31 %);"
            " with 4 flowers about 1 in 3",
            "posting": "best on Thu 18 June, not later than Thu 25 June",
            "decided_by": "the post, if it is slow",
            "based_on": "donor: pollen in hand; recipient: its own records",
        },
        "papers": {
            "code": "papers_country_not_told",
            "detail": "Across a border, and the other country is not shown yet: this is not permission."
            " Pollen is plant material. The recipient is the importer and asks both countries' plant-health"
            " authorities first.",
            "parameters": {},
        },
        "withdrawn_because": None,
        "smallest_change": {
            "code": "change_saturday_service",
            "detail": "With a Saturday service: each flower about 1 in 5 instead of about 1 in 8.",
            "parameters": {"chance": 0.2, "instead_of": 0.12},
        },
        "allocated_doses": 2,
        "timeline": pairing.timeline,
    }


def test_the_donor_reads_exactly_this(society: Society, pairing: Pairing, donor_api: Caller) -> None:
    answer = donor_api.get(f"pairings/{pairing.public_id}")
    assert answer.body == {
        **for_both(society, pairing),
        "role": "donor",
        "wanted": {
            "region": REGION,
            "wanted_cross_id": None,
            "seed_parent_id": None,
            "seed_parent_name": None,
        },
        "two_baskets": None,
        "compatibility": None,
        "reasons": [
            {
                "code": "poor_pollen_parent",
                "detail": "Pollen of 'Ferry' is poor, so its chance is a fifth (its grower).",
                "parameters": {"plant": "'Ferry'", "source": "its grower"},
            }
        ],
        "cautions": [VIABILITY],
        "allocation_reason": None,
    }


def test_the_recipient_reads_exactly_this(society: Society, pairing: Pairing, recipient_api: Caller) -> None:
    body = recipient_api.get(f"pairings/{pairing.public_id}").body
    shared = for_both(society, pairing)
    assert {name: body[name] for name in shared} == shared
    assert body.keys() - shared.keys() == {
        "role",
        "wanted",
        "two_baskets",
        "compatibility",
        "reasons",
        "cautions",
        "allocation_reason",
    }
    assert body["role"] == "recipient"
    assert body["wanted"] == {
        "region": REGION,
        "wanted_cross_id": str(society.wanted.public_id),
        "seed_parent_id": str(society.seed.public_id),
        "seed_parent_name": SECRET_NAME,
    }
    assert body["compatibility"]["estimate"] == 0.4
    assert [each["code"] for each in body["reasons"]] == [
        "groups_on_record",
        "poor_seed_parent",
        "poor_pollen_parent",
    ]
    assert len(body["cautions"]) == 5
    assert body["allocation_reason"] == {
        "code": "allocation_best",
        "detail": "The best that was on offer for it.",
        "parameters": {"doses": 2, "flowers": 4, "offers": 1},
    }


def test_the_list_is_the_same_without_the_timeline(
    society: Society, pairing: Pairing, donor_api: Caller, recipient_api: Caller
) -> None:
    for api in (donor_api, recipient_api):
        (listed,) = api.get("pairings").body["results"]
        whole = api.get(f"pairings/{pairing.public_id}").body
        assert whole == {**listed, "timeline": pairing.timeline}


def test_pairings_are_found_by_what_is_the_viewers_own(
    society: Society, pairing: Pairing, clock: MovableClock, donor_api: Caller, recipient_api: Caller
) -> None:
    second = make_wanted_cross(society.seed)
    other = make_offer_in_hand(society.given, NOON.date())
    later = make_pairing(other, second)

    def found(api: Caller, query: str) -> list[str]:
        return [each["id"] for each in api.get(f"pairings?{query}").body["results"]]

    first_id, later_id = str(pairing.public_id), str(later.public_id)
    assert found(donor_api, "") == found(recipient_api, "") == [later_id, first_id]
    assert found(donor_api, f"offer={society.offer.public_id}") == [first_id]
    assert found(recipient_api, f"wanted_cross={second.public_id}") == [later_id]
    # Whoever guesses at another's offer or wanted cross learns nothing.
    assert found(recipient_api, f"offer={society.offer.public_id}") == []
    assert found(donor_api, f"wanted_cross={second.public_id}") == []
    clock.move(hours=1)
    recipient_api.call("POST", f"pairings/{first_id}/dismiss")
    assert found(donor_api, "state=dismissed") == [first_id]
    assert found(donor_api, "state=suggested") == [later_id]
    since = (NOON + timedelta(minutes=30)).isoformat().replace("+00:00", "Z")
    assert found(donor_api, f"updated_since={since}") == [first_id]
    assert found(donor_api, f"updated_since={since.replace('2027', '2028')}") == []


@pytest.mark.parametrize(
    "since",
    [
        "yesterday",
        "2027-07-01",
        "2027-07-01T12:00:00",
        "2027-07-01T12:00:00+02:00",  # a plus of an address is a space
        "2027-07-01T24:30:00Z",
        "2027-02-30T12:00:00Z",
        "2027-W26-4T12:00:00Z",
        "20270701T120000Z",
        "1814443200",
        "",
    ],
)
def test_an_instant_is_asked_for_with_its_offset_or_refused(donor_api: Caller, since: str) -> None:
    refused = donor_api.get(f"pairings?updated_since={since}")
    assert (refused.status, refused.faults) == (400, {"updated_since": "invalid"})
    assert refused.body["errors"][0]["detail"] == "As 2027-06-20T18:30:00Z; in an address + is written %2B."


def test_changed_at_that_very_instant_is_changed_since(pairing: Pairing, donor_api: Caller) -> None:
    Pairing.objects.update(changed_at=NOON)
    for since, count in (
        ("2027-07-01T12:00:00Z", 1),
        ("2027-07-01t12:00:00z", 1),
        ("2027-07-01T14:00:00%2B02:00", 1),
        ("2027-07-01T07:00:00.000000-05:00", 1),
        ("2027-07-01T12:00:00.000001Z", 0),
    ):
        assert len(donor_api.get(f"pairings?updated_since={since}").body["results"]) == count, since


def test_what_is_superseded_stays_readable_and_cannot_be_dismissed(
    pairing: Pairing, donor_api: Caller, recipient_api: Caller
) -> None:
    Pairing.objects.update(state="superseded")
    for api in (donor_api, recipient_api):
        assert api.get(f"pairings/{pairing.public_id}").body["state"] == "superseded"
        refused = api.call("POST", f"pairings/{pairing.public_id}/dismiss")
        assert (refused.status, refused.code) == (409, "conflict")


def test_a_dismissed_pairing_says_so_to_both_and_not_who(
    pairing: Pairing, donor_api: Caller, recipient_api: Caller
) -> None:
    first = recipient_api.call("POST", f"pairings/{pairing.public_id}/dismiss")
    again = recipient_api.call("POST", f"pairings/{pairing.public_id}/dismiss")
    assert (first.status, first.body["state"], again.body) == (200, "dismissed", first.body)
    assert donor_api.get(f"pairings/{pairing.public_id}").body["state"] == "dismissed"


def test_a_list_costs_the_same_however_long(
    society: Society, donor_api: Caller, recipient_api: Caller
) -> None:
    for api in (donor_api, recipient_api):
        api.get("me")
    counts = []
    for expected in (10, 200):
        while Pairing.objects.count() < expected:
            make_pairing(society.offer, society.wanted, state="superseded")
        RENDERED.clear()
        for api in (donor_api, donor_api, recipient_api, recipient_api):
            with CaptureQueriesContext(connection) as captured:
                assert len(api.get("pairings?limit=100").body["results"]) == min(expected, 100)
            counts.append(len(captured))
    # The token with its grower, who is hidden, three for the stamps; what was not rendered costs two more.
    assert counts == [7, 5, 7, 5] * 2


def test_what_is_rendered_is_told_as_long_as_it_is_true(
    society: Society, pairing: Pairing, donor_api: Caller, recipient_api: Caller
) -> None:
    RENDERED.clear()
    first = recipient_api.get("pairings")
    again = recipient_api.get("pairings")
    assert (again.response.content, again["ETag"]) == (first.response.content, first["ETag"])
    assert donor_api.get("pairings").body["results"][0]["role"] == "donor"
    assert len(RENDERED.young) == 2
    assert recipient_api.get("pairings", accept_language="de").status == 200
    assert len(RENDERED.young) == 3
    plant = f"plants/{society.given.public_id}"
    assert donor_api.patch(plant, {"name_as_grown": "'Ferryman'"}).status == 200
    renamed = recipient_api.get("pairings")
    assert renamed.body["results"][0]["offer"]["plant"]["name_as_grown"] == "'Ferryman'"
    assert renamed["ETag"] != first["ETag"]
    RENDERED.clear()
    assert recipient_api.get("pairings").response.content == renamed.response.content


def test_a_real_pairing_is_told_to_both_and_the_outsider_reads_nothing_of_it(
    society: Society, outsider: Grower, donor_api: Caller, recipient_api: Caller, outsider_api: Caller
) -> None:
    make_plant(outsider)
    rescore(now=NOON)
    (to_donor,) = donor_api.get("pairings").body["results"]
    (to_recipient,) = recipient_api.get("pairings").body["results"]
    assert to_donor["each_flower"] == to_recipient["each_flower"]
    assert 0.0 < to_donor["each_flower"]["estimate"] < 1.0
    assert to_recipient["wanted"]["seed_parent_name"] == SECRET_NAME
    whole = donor_api.get(f"pairings/{to_donor['id']}")
    picture = whole.body["timeline"]
    assert picture["posted_on"] == whole.body["dates"]["post_on"]
    assert {len(picture[name]) for name in picture if isinstance(picture[name], list)} == {
        len(picture["posting_open"])
    }
    assert SECRET_NAME.encode() not in whole.response.content
    assert len(whole.response.content) < 6_000
    assert outsider_api.get("pairings").body["results"] == []


def test_what_was_told_long_ago_and_not_seen_is_an_earlier_proposal(
    society: Society,
    donor: Grower,
    donor_api: Caller,
    recipient_api: Caller,
    outsider_api: Caller,
    clock: MovableClock,
) -> None:
    told, new = (
        make_pairing(society.offer, society.wanted, state="superseded"),
        make_pairing(society.offer, society.wanted),
    )
    at = project_clock.now()
    for grower in (donor, society.seed.grower):
        Notification.objects.create(grower=grower, kind="pairing_proposed", pairing=told, created_at=at)

    def earlier(api: Caller) -> list[bool]:
        rows = api.get("pairings?state=suggested").body["results"]
        assert [each["id"] for each in api.get("pairings?earlier=true").body["results"]] == [
            each["id"] for each in rows if each["earlier"]
        ]
        return [each["earlier"] for each in rows]

    clock.set(at + EARLIER_AFTER - timedelta(minutes=5))
    assert (earlier(donor_api), earlier(recipient_api)) == ([False], [False])
    clock.set(at + EARLIER_AFTER + timedelta(minutes=5))
    assert (earlier(donor_api), earlier(recipient_api)) == ([True], [True])
    assert len(donor_api.get("pairings?earlier=false").body["results"]) == 1
    assert outsider_api.call("POST", f"pairings/{new.public_id}/seen").status == 404
    for _ in range(2):
        assert donor_api.call("POST", f"pairings/{new.public_id}/seen").body["earlier"] is False
    assert (earlier(donor_api), earlier(recipient_api)) == ([False], [True])
    Notification.objects.create(grower=society.seed.grower, kind="pairing_changed", pairing=new)
    assert earlier(recipient_api) == [False]
