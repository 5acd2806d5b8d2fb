"""Blocks through the API: nothing of the other in any answer, and no sign of the block itself."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import Agreement, Block, Pairing
from exchange.services.address import address_set
from exchange.services.agreement_address import address_read
from exchange.services.block import block_create
from growers.models import Grower
from tests.api.caller import Caller
from tests.api.every_get import everything
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, make_bargain, propose
from tests.exchange.services.test_address import HOME
from tests.exchange.society import NOON, make_pairing
from tests.factories import make_grower, make_offer, make_plant, make_wanted_cross

pytestmark = pytest.mark.django_db

NOWHERE = "7e6d5c4b-3a29-4180-9f0e-1d2c3b4a5968"
KEY = "5f0f8a43-3a4b-4a55-9d4c-1d8a4a3c7e10"
UNKNOWN = {"handle": "nobody of that name"}


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient)


# --- by what ---


def test_by_handle(bargain: Bargain, donor_api: Caller, recipient_api: Caller, outsider_api: Caller) -> None:
    made = donor_api.post("blocks", {"handle": " recipient "}, idempotency_key=KEY)
    block = Block.objects.get()
    body = {
        "id": str(block.public_id),
        "handle": "recipient",
        "created_at": block.created_at.isoformat().replace("+00:00", "Z"),
    }
    assert (made.status, made.body) == (201, body)
    assert made["Location"] == f"/api/v1/blocks/{block.public_id}"
    assert donor_api.post("blocks", {"handle": " recipient "}, idempotency_key=KEY).body == body
    assert donor_api.post("blocks", {"handle": "outsider"}, idempotency_key=KEY).code == "key_reused"
    assert donor_api.get("blocks").body["results"] == [body]
    assert donor_api.get(f"blocks/{block.public_id}").body == body
    for other in (recipient_api, outsider_api):
        assert other.get("blocks").body["results"] == []
        assert other.get(f"blocks/{block.public_id}").status == 404
        assert other.delete(f"blocks/{block.public_id}").status == 404
    assert donor_api.delete(f"blocks/{block.public_id}").status == 204
    assert not Block.objects.exists()


def test_whom_the_donor_knows_by_a_region_stays_without_a_handle(
    bargain: Bargain, donor_api: Caller, recipient_api: Caller
) -> None:
    by_pairing = donor_api.post("blocks", {"pairing_id": str(bargain.pairing.public_id)})
    assert (by_pairing.status, by_pairing.body["handle"]) == (201, None)
    Block.objects.all().delete()
    Pairing.objects.update(state="suggested")
    agreement = propose(bargain.pairing)
    by_agreement = donor_api.post("blocks", {"agreement_id": str(agreement.public_id)})
    assert (by_agreement.status, by_agreement.body["handle"]) == (201, None)


def test_whom_one_knows_is_named(bargain: Bargain, donor_api: Caller, recipient_api: Caller) -> None:
    made = recipient_api.post("blocks", {"pairing_id": str(bargain.pairing.public_id)})
    assert (made.status, made.body["handle"]) == (201, "donor")
    Block.objects.all().delete()
    Pairing.objects.update(state="suggested")
    agreement = agree(bargain.pairing)
    made = donor_api.post("blocks", {"agreement_id": str(agreement.public_id)})
    assert (made.status, made.body["handle"]) == (201, "recipient")


@pytest.mark.parametrize(
    ("body", "status", "faults"),
    [
        ({}, 422, {"": "state_one"}),
        ({"handle": "recipient", "pairing_id": NOWHERE}, 422, {"": "state_one"}),
        (UNKNOWN, 422, {"/handle": "not_found"}),
        ({"handle": "donor"}, 422, {"/handle": "not_found"}),
        ({"agreement_id": NOWHERE}, 422, {"/agreement_id": "not_found"}),
        ({"pairing_id": NOWHERE}, 422, {"/pairing_id": "not_found"}),
        ({"grower_id": 1}, 400, {"/grower_id": "unknown_field"}),
        ({"pairing_id": 7}, 400, {"/pairing_id": "invalid"}),
    ],
)
def test_what_names_nobody_is_refused(
    bargain: Bargain, donor_api: Caller, body: Any, status: int, faults: dict[str, str]
) -> None:
    refused = donor_api.post("blocks", body)
    assert (refused.status, refused.faults) == (status, faults)
    assert not Block.objects.exists()


def test_an_outsider_blocks_nobody_by_what_is_not_theirs(bargain: Bargain, outsider_api: Caller) -> None:
    for name, row in (("pairing_id", bargain.pairing), ("agreement_id", agree(bargain.pairing))):
        assert outsider_api.post("blocks", {name: str(row.public_id)}).faults == {f"/{name}": "not_found"}
    assert not Block.objects.exists()


# --- the matrix ---


class Both:
    """The donor and the recipient with a deal in each direction, and all that is each one's own."""

    def __init__(self, bargain: Bargain, donor: Grower, recipient: Grower) -> None:
        self.there = bargain
        back = make_offer(make_plant(recipient, name_as_grown="'Return'"), countries=["FR"])
        mine = make_plant(donor, name_as_grown="'Mine'")
        named = make_wanted_cross(mine, pollen_plants=[back.plant])
        self.back = make_pairing(back, named)
        self.agreements = [agree(bargain.pairing), agree(self.back, doses=1)]
        asked = bargain.pairing.wanted_cross
        owned = {
            donor.pk: (donor, bargain.offer, bargain.offer.plant, mine, named),
            recipient.pk: (recipient, back, back.plant, asked, asked.seed_parent),
        }
        self.own = {pk: [each.public_id for each in rows] for pk, rows in owned.items()}
        self.names = {
            donor.pk: ["'Ferry'", "'Mine'", '"donor"'],
            recipient.pk: ["'Return'", "seed of recipient", '"recipient"'],
        }
        self.shared = [each.public_id for each in (*self.agreements, bargain.pairing, self.back)]

    @property
    def ids(self) -> dict[str, list[Any]]:
        everybodys = [each for own in self.own.values() for each in own]
        kinds = ("offers", "plants", "wanted-crosses", "sites")
        return {
            "agreements": [each.public_id for each in self.agreements],
            "pairings": [self.there.pairing.public_id, self.back.public_id],
            **dict.fromkeys(kinds, everybodys),
        }

    def traces_of(self, grower: Grower) -> list[bytes]:
        """What nobody who must not meet this grower may read."""
        traces = [*self.own[grower.pk], *self.shared, *self.names[grower.pk]]
        return [str(each).encode() for each in traces]


@pytest.fixture
def both(bargain: Bargain, donor: Grower, recipient: Grower) -> Both:
    return Both(bargain, donor, recipient)


def found(api: Caller, both: Both, traces: list[bytes]) -> dict[bytes, list[str]]:
    """Where each trace is read; what its sender asked for by id is not told back by a refusal."""
    where: dict[bytes, list[str]] = {trace: [] for trace in traces}
    for path, raw in everything(api, both.ids).items():
        asked = raw.replace(f'"instance":"{path}"'.encode(), b"")
        for trace in traces:
            if trace in asked:
                where[trace].append(path)
    return where


@pytest.mark.parametrize("who", ["donor", "recipient"])
def test_neither_reads_a_trace_of_the_other(
    both: Both, donor: Grower, recipient: Grower, donor_api: Caller, recipient_api: Caller, who: str
) -> None:
    views = ((donor_api, donor, recipient), (recipient_api, recipient, donor))
    for api, _, other in views:
        before = found(api, both, both.traces_of(other))
        seen = [trace for trace, paths in before.items() if paths]
        # So that the search is known to find what is there.
        assert {str(each).encode() for each in both.shared} <= set(seen)
        assert len(seen) > len(both.shared) + 2
    actor, other = (donor, recipient) if who == "donor" else (recipient, donor)
    block_create(actor=actor, blocked=other)
    for api, viewer, hidden in views:
        after = found(api, both, both.traces_of(hidden))
        own_list = ["/api/v1/blocks"] if viewer == actor else []
        handle = f'"{hidden.handle}"'.encode()
        assert after.pop(handle) == own_list
        left = {trace: paths for trace, paths in after.items() if paths}
        # That an agreement about a plant has ended stays told, as after any other end.
        about = next(name.encode() for name in both.names[both.there.donor.pk][:1])
        assert set(left) <= {about, b"'Return'"}
        assert all(paths == ["/api/v1/notifications"] for paths in left.values())


def test_to_the_blocked_all_is_as_if_there_were_none(
    both: Both, donor: Grower, recipient: Grower, donor_api: Caller
) -> None:
    """What the blocked asks for by id is answered as what never was, byte for byte but for the address."""
    block_create(actor=recipient, blocked=donor)
    same = {"x_request_id": "the-same-for-all"}
    for kind, row in (("agreements", both.agreements[0]), ("pairings", both.there.pairing)):
        hidden, never = (donor_api.get(f"{kind}/{each}", **same) for each in (row.public_id, NOWHERE))
        assert hidden.status == never.status == 404
        assert hidden.response.content.replace(str(row.public_id).encode(), NOWHERE.encode()) == (
            never.response.content
        )
    for act, body in (("end", None), ("withdraw", None), ("address", None), ("send-less", {"doses": 1})):
        answers = [
            donor_api.post(f"agreements/{each}/{act}", body, **same)
            for each in (both.agreements[0].public_id, NOWHERE)
        ]
        assert [answer.status for answer in answers] == [404, 404]
    for name, row in (("agreement_id", both.agreements[0]), ("pairing_id", both.there.pairing)):
        answers = [donor_api.post("blocks", {name: str(each)}, **same) for each in (row.public_id, NOWHERE)]
        assert answers[0].response.content == answers[1].response.content
    yes = [
        donor_api.post("agreements", {"pairing_id": str(each), "doses": 1}, **same)
        for each in (both.there.pairing.public_id, NOWHERE)
    ]
    assert yes[0].response.content == yes[1].response.content
    named = donor_api.post("wanted-crosses", wanted_of(both, both.back.offer.plant.public_id), **same)
    never = donor_api.post("wanted-crosses", wanted_of(both, NOWHERE), **same)
    assert (named.status, named.response.content) == (422, never.response.content)


def wanted_of(both: Both, plant_id: object) -> dict[str, Any]:
    seed_parent = both.back.wanted_cross.seed_parent
    return {"seed_parent_id": str(seed_parent.public_id), "pollen_plant_ids": [str(plant_id)]}


def test_a_block_of_the_blocked_is_answered_as_any_other(
    bargain: Bargain, donor: Grower, recipient: Grower, donor_api: Caller
) -> None:
    block_create(actor=recipient, blocked=donor)
    made = donor_api.post("blocks", {"handle": "recipient"})
    assert (made.status, made.body["handle"]) == (201, "recipient")


def test_who_read_an_address_cannot_wipe_that_out_by_a_block(
    bargain: Bargain, donor: Grower, recipient: Grower, recipient_api: Caller
) -> None:
    address_set(actor=recipient, **HOME)
    address_read(actor=donor, agreement=agree(bargain.pairing))
    block_create(actor=donor, blocked=recipient)
    (view,) = recipient_api.get("address-views").body["results"]
    assert view["viewer"] == "donor"


def test_others_are_not_touched(
    bargain: Bargain, donor: Grower, recipient: Grower, outsider: Grower, outsider_api: Caller
) -> None:
    agreement = agree(bargain.wanted_by(outsider), doses=1)
    before = everything(outsider_api, {"agreements": [agreement.public_id]})
    block_create(actor=donor, blocked=recipient)
    assert everything(outsider_api, {"agreements": [agreement.public_id]}) == before
    assert Agreement.objects.get().state == "agreed"


def test_a_list_costs_the_same_however_long(donor: Grower, donor_api: Caller) -> None:
    donor_api.get("blocks")
    counts = []
    for blocks in (1, 5):
        while Block.objects.count() < blocks:
            block_create(actor=donor, blocked=make_grower(f"grower-{Block.objects.count()}"))
        with CaptureQueriesContext(connection) as captured:
            assert len(donor_api.get("blocks").body["results"]) == blocks
        counts.append(len(captured))
    assert counts == [2, 2]  # the token with its grower, the blocks
