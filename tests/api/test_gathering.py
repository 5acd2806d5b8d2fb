"""Gatherings and detours through the API: each of the three reads theirs, and nobody the permit too early."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import Agreement, Detour, Gathering, Packet
from exchange.services.address import address_set
from exchange.services.block import block_create
from exchange.services.gathering import gathering_close
from exchange.wording.detour import CAUTION
from exchange.wording.papers import READS_AS_LEAVE
from growers.models import Grower
from tests.api.caller import Caller, caller
from tests.clock import MovableClock
from tests.exchange.gathered import PERMIT, Gathered, make_deal, make_gathered, make_gathering
from tests.exchange.refusal import rows
from tests.exchange.services.test_address import HOME
from tests.exchange.society import NOON
from tests.factories import make_grower, make_site

pytestmark = pytest.mark.django_db

SHOWN = {
    "level": "climate_band",
    "part_of_the_world": "Europe",
    "country": None,
    "subdivision": None,
    "climate_band": "northern temperate",
    "cell_latitude_deg": None,
    "cell_longitude_deg": None,
}
"""Where all three are, as others read it; the steward's country is told by the gathering itself."""


@pytest.fixture
def steward(db: None, clock: MovableClock) -> Grower:
    clock.set(NOON)
    return make_grower("keeper")


@pytest.fixture
def gathered(donor: Grower, recipient: Grower, steward: Grower) -> Gathered:
    return make_gathered(donor, recipient, steward)


@pytest.fixture
def steward_api(steward: Grower) -> Caller:
    return caller(steward)


@pytest.fixture(autouse=True)
def _tokens_in_use(
    donor_api: Caller, recipient_api: Caller, outsider_api: Caller, steward_api: Caller
) -> None:
    """The first use of a token is noted, which is no change by what is refused later."""
    for api in (donor_api, recipient_api, outsider_api, steward_api):
        api.get("me")


def new_gathering(steward: Grower, **said: Any) -> dict[str, Any]:
    return {
        "site_id": str(make_site(steward, name="jetty", country="DE").public_id),
        "reach_from": "2027-07-05",
        "reach_until": "2027-07-31",
        "handling_days": 3,
        "permit_number": PERMIT,
        "permit_valid_until": "2027-12-31",
        **said,
    }


def detour_at(gathered: Gathered, act: str = "detour") -> str:
    return f"agreements/{gathered.agreement.public_id}/{act}"


def place(gathered: Gathered) -> dict[str, str]:
    return {"gathering_id": str(gathered.gathering.public_id)}


# --- gatherings ---


def test_a_steward_opens_one_and_reads_all_of_it(steward: Grower, steward_api: Caller) -> None:
    body = new_gathering(steward, note="ring twice")
    made = steward_api.post("gatherings", body)
    assert made.status == 201, made.body
    row = Gathering.objects.get()
    assert made["Location"] == f"/api/v1/gatherings/{row.public_id}"
    read = steward_api.get(made["Location"])
    assert read.body == made.body
    assert set(made.body) - set(body) == {
        "id", "role", "state", "country", "region", "caution", "created_at", "changed_at"
    }  # fmt: skip
    assert {name: made.body[name] for name in body} == body
    assert (made.body["role"], made.body["state"], made.body["caution"]) == ("steward", "open", str(CAUTION))
    assert not READS_AS_LEAVE.search(str(made.body))


@pytest.mark.parametrize(
    ("said", "status", "pointer"),
    [
        ({"reach_until": "2027-08-05"}, 422, "/reach_until"),
        ({"permit_valid_until": "2027-07-30"}, 422, "/permit_valid_until"),
        ({"reach_from": "2027-06-30", "reach_until": "2027-07-02"}, 422, "/reach_from"),
        ({"handling_days": 15}, 400, "/handling_days"),
        ({"permit_number": ""}, 400, "/permit_number"),
        ({"country": "DE"}, 400, "/country"),
    ],
)
def test_what_does_not_fit_is_refused(
    steward: Grower, steward_api: Caller, said: dict[str, Any], status: int, pointer: str
) -> None:
    body = new_gathering(steward, **said)
    before = rows()
    answer = steward_api.post("gatherings", body)
    assert answer.status == status, answer.body
    assert [each["pointer"] for each in answer.body["errors"]] == [pointer]
    assert rows() == before


def test_it_changes_with_its_tag_and_ends(steward: Grower, steward_api: Caller) -> None:
    path = steward_api.post("gatherings", new_gathering(steward))["Location"]
    tag = steward_api.get(path)["ETag"]
    assert steward_api.patch(path, {"handling_days": 2}, if_match=tag).body["handling_days"] == 2
    assert steward_api.patch(path, {"handling_days": 1}, if_match=tag).status == 412
    assert steward_api.post(f"{path}/close").body["state"] == "closed"
    again = steward_api.post(f"{path}/close")
    assert (again.status, again.body["code"]) == (409, "conflict")
    assert steward_api.post(f"{path}/call-off").body["state"] == "called_off"


def test_who_could_join_reads_of_it_and_of_no_permit(
    gathered: Gathered, recipient_api: Caller, donor_api: Caller, outsider_api: Caller
) -> None:
    shown = recipient_api.get("gatherings?joinable=true").body["results"]
    assert len(shown) == 1
    assert (shown[0]["id"], shown[0]["role"]) == (str(gathered.gathering.public_id), "grower")
    assert (shown[0]["permit_number"], shown[0]["site_id"]) == (None, None)
    assert shown[0]["region"] == SHOWN
    for api in (donor_api, outsider_api):
        assert api.get("gatherings").body["results"] == []
        assert api.get(f"gatherings/{gathered.gathering.public_id}").status == 404


def test_one_is_found_by_state_and_country(gathered: Gathered, steward_api: Caller) -> None:
    for query, count in (("state=open", 1), ("state=closed", 0), ("country=DE", 1), ("country=NL", 0)):
        assert len(steward_api.get(f"gatherings?{query}").body["results"]) == count


def test_closed_sent_or_elsewhere_it_is_not_shown(gathered: Gathered, recipient_api: Caller) -> None:
    Gathering.objects.update(country="NL")
    assert recipient_api.get("gatherings").body["results"] == []
    Gathering.objects.update(country="DE")
    assert len(recipient_api.get("gatherings").body["results"]) == 1
    gathering_close(actor=gathered.steward, gathering=gathered.gathering)
    assert recipient_api.get("gatherings").body["results"] == []


@pytest.mark.parametrize("who", ["donor", "recipient"])
def test_a_steward_who_is_blocked_is_not_shown(gathered: Gathered, recipient_api: Caller, who: str) -> None:
    block_create(actor=gathered.steward, blocked=getattr(gathered, who))
    assert recipient_api.get("gatherings").body["results"] == []
    before = rows()
    answer = recipient_api.post(detour_at(gathered), place(gathered))
    assert answer.status == 422
    assert answer.body["errors"][0]["detail"] == "gathering_id is not a gathering that you can see."
    assert rows() == before


@pytest.mark.parametrize("blocks", ["the steward", "the donor"])
def test_it_is_shown_while_one_of_the_donors_may_meet_its_steward(
    gathered: Gathered, recipient_api: Caller, blocks: str
) -> None:
    def keep_apart(donor: Grower) -> None:
        pair = (gathered.steward, donor) if blocks == "the steward" else (donor, gathered.steward)
        block_create(actor=pair[0], blocked=pair[1])

    second = make_deal(make_grower("second"), gathered.recipient)
    for donor, shown in ((gathered.donor, 1), (second.donor, 0)):
        keep_apart(donor)
        for query in ("gatherings", "gatherings?joinable=true"):
            assert len(recipient_api.get(query).body["results"]) == shown


# --- detours ---


def test_asked_for_it_says_what_it_costs(gathered: Gathered, recipient_api: Caller) -> None:
    made = recipient_api.post(detour_at(gathered), place(gathered))
    assert made.status == 200, made.body
    detour = Detour.objects.get()
    dates = detour.plan["dates"]
    assert made.body == {
        "id": str(detour.public_id),
        "agreement_id": str(gathered.agreement.public_id),
        "gathering_id": str(gathered.gathering.public_id),
        "role": "recipient",
        "state": "asked",
        "plant": "'Ferry'",
        "doses": 2,
        "donor": "donor",
        "recipient": "recipient",
        "steward": None,
        "donor_region": SHOWN,
        "recipient_region": SHOWN,
        "steward_region": SHOWN,
        "permit_number": None,
        "recipient_yes_at": made.body["created_at"],
        "donor_yes_at": None,
        "steward_yes_at": None,
        "least_chance": None,
        "direct": detour.told["direct"],
        "by_way": detour.told["by_way"],
        "handling_days": 3,
        "reach_from": "2027-07-01",
        "reach_until": "2027-07-28",
        "post_on": dates["post_on"],
        "not_later_than": dates["not_later_than"],
        "arrival_half": dates["arrival_half"],
        "arrival_nine_tenths": dates["arrival_nine_tenths"],
        "planned_on": "2027-07-01",
        "caution": str(CAUTION),
        "created_at": made.body["created_at"],
        "changed_at": made.body["created_at"],
        "ended_at": None,
    }
    assert not READS_AS_LEAVE.search(str(made.body))
    assert recipient_api.get(detour_at(gathered)).body == made.body


def test_all_three_say_yes_and_read_what_they_then_may(
    gathered: Gathered, donor_api: Caller, recipient_api: Caller, steward_api: Caller, outsider_api: Caller
) -> None:
    recipient_api.post(detour_at(gathered), place(gathered))
    assert steward_api.get(detour_at(gathered)).status == 404
    assert steward_api.get(f"gatherings/{place(gathered)['gathering_id']}/detours").body["results"] == []
    yes = donor_api.post(detour_at(gathered, "detour-yes"), {"least_chance": 0.0001})
    assert (yes.status, yes.body["least_chance"], yes.body["permit_number"]) == (200, 0.0001, None)
    (asked,) = steward_api.get(f"gatherings/{place(gathered)['gathering_id']}/detours").body["results"]
    assert (asked["role"], asked["donor"], asked["recipient"]) == ("steward", None, None)
    assert (asked["donor_region"], asked["permit_number"]) == (SHOWN, PERMIT)
    agreed = steward_api.post(detour_at(gathered, "detour-accept"))
    assert (agreed.status, agreed.body["state"]) == (200, "agreed")
    assert (agreed.body["donor"], agreed.body["recipient"]) == ("donor", "recipient")
    for api, permit in ((donor_api, PERMIT), (recipient_api, None)):
        shown = api.get(detour_at(gathered)).body
        assert (shown["steward"], shown["permit_number"]) == ("keeper", permit)
        path = f"gatherings/{place(gathered)['gathering_id']}"
        assert api.get(path).body["permit_number"] == permit
    assert outsider_api.get(detour_at(gathered)).status == 404


def test_too_little_chance_is_refused_with_both_numbers(gathered: Gathered, donor_api: Caller) -> None:
    gathered.ask()
    before = rows()
    answer = donor_api.post(detour_at(gathered, "detour-yes"), {"least_chance": 0.9})
    assert (answer.status, answer.body["errors"][0]["code"]) == (409, "below_named")
    assert answer.body["detail"].endswith("the donor named at least 90 in 100 for this packet.")
    assert rows() == before
    assert donor_api.post(detour_at(gathered, "detour-yes"), {"least_chance": 1.1}).status == 400


def test_both_legs_through_the_api(
    gathered: Gathered, donor_api: Caller, recipient_api: Caller, steward_api: Caller
) -> None:
    gathered.agree()
    for who, town in ((gathered.steward, "Seeburg"), (gathered.recipient, "Pondville")):
        address_set(actor=who, **{**HOME, "town": town})
    assert donor_api.post(detour_at(gathered, "detour-address")).body["town"] == "Seeburg"
    assert donor_api.post(detour_at(gathered, "address")).status == 409
    deal = {"agreement_id": str(gathered.agreement.public_id)}
    first = donor_api.post("shipments", deal)
    assert (first.status, first.body["leg"], first.body["role"]) == (201, "to_steward", "consignor")
    assert first.body["plan"]["post_on"] == gathered.detour.plan["dates"]["post_on"]
    assert first.body["recipient_half_on"] > first.body["half_on"]
    path = first["Location"]
    assert donor_api.post(f"{path}/dispatch", {}).status == 200
    assert steward_api.get(path).body["role"] == "consignee"
    assert recipient_api.get(path).body["role"] == "concerned"
    store = {"store_id": str(gathered.home_of(gathered.steward).public_id)}
    assert steward_api.post(f"{path}/receive", store).body["state"] == "received"
    packet = Packet.objects.get()
    assert steward_api.get(f"packets/{packet.public_id}").body["held_by_you"] is True
    assert steward_api.get(f"lots/{packet.lot.public_id}").body["role"] == "partner"
    assert steward_api.post(detour_at(gathered, "detour-address")).body["town"] == "Pondville"
    second = steward_api.post("shipments", deal)
    assert (second.status, second.body["leg"], second.body["plan"]) == (201, "inland", None)
    assert steward_api.post(f"{second['Location']}/dispatch", {}).status == 200
    home = {"store_id": str(gathered.home_of(gathered.recipient).public_id)}
    assert recipient_api.post(f"{second['Location']}/receive", home).body["state"] == "received"
    assert steward_api.get(detour_at(gathered)).body["state"] == "done"
    views = recipient_api.get("address-views").body["results"]
    assert [view["viewer"] for view in views] == ["keeper"]


def test_no_and_taken_back(gathered: Gathered, donor_api: Caller, recipient_api: Caller) -> None:
    recipient_api.post(detour_at(gathered), place(gathered))
    before = rows()
    answer = recipient_api.post(detour_at(gathered, "detour-decline"))
    assert (answer.status, answer.body["detail"]) == (409, "You have said yes to it; withdraw instead.")
    assert rows() == before
    assert donor_api.post(detour_at(gathered, "detour-decline")).body["state"] == "declined"
    again = recipient_api.post(detour_at(gathered), place(gathered))
    assert again.body["state"] == "asked"
    assert recipient_api.post(detour_at(gathered, "detour-withdraw")).body["state"] == "withdrawn"


def test_strangers_find_nothing(gathered: Gathered, outsider_api: Caller, nobody: Caller) -> None:
    gathered.agree()
    before = rows()
    for act in ("detour-yes", "detour-accept", "detour-decline", "detour-withdraw", "detour-address"):
        body: dict[str, Any] | None = {} if act == "detour-yes" else None
        assert outsider_api.post(detour_at(gathered, act), body).status == 404
        assert nobody.post(detour_at(gathered, act), body).status == 401
    assert rows() == before


def test_a_page_of_places_costs_no_more_with_many(gathered: Gathered, steward_api: Caller) -> None:
    gathered.agree()
    path = f"gatherings/{gathered.gathering.public_id}/detours"
    counts = []
    for _ in range(2):
        with CaptureQueriesContext(connection) as captured:
            steward_api.get(path)
        counts.append(len(captured))
        detour = Detour.objects.get(state="agreed")
        for state in ("declined", "withdrawn"):
            detour.pk, detour.state = None, state
            detour.public_id = make_gathering(gathered.steward, site=gathered.gathering.site).public_id
            detour.save()
    assert counts[0] == counts[1]
    assert Agreement.objects.count() == 1
