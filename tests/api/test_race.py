"""Clients of many growers race through HTTP for few doses: each dose is given once."""

import json
import subprocess
import sys
import uuid
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import pytest
from django.db import connection

from exchange.models import AgreementEvent, Reservation
from growers.models import Change, Grower
from tests.api.caller import ROOT, caller
from tests.architecture.tree import ROOT as HERE
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, assert_sums_hold, make_bargain, propose
from tests.exchange.difference import difference
from tests.exchange.refusal import rows
from tests.exchange.society import NOON
from tests.factories import make_grower
from tests.served.client import Got, Sent, send_all
from tests.served.process import served

pytestmark = pytest.mark.django_db(transaction=True)

Racers = Callable[[list[Sent]], list[Got]]

MANY = {"postgresql": (4, 16), "sqlite": (4, 4)}
"""Processes and threads of the server. SQLite's writers take turns without a queue, each for 20 s at most: on
a slow machine 64 of them at once might wait longer, so the others wait in the server's own queue."""


@pytest.fixture
def any_number_of_proposals(monkeypatch: pytest.MonkeyPatch) -> None:
    """For the preparation alone; the server is another process, with the limit as it is."""
    monkeypatch.setattr("exchange.services.agreement.MOST_OPEN_PROPOSALS", 1_000)


def bargain_of_many(donor: Grower, clients: int, doses: int) -> Bargain:
    """A donor who has said yes to one dose for each of many growers, and has far fewer."""
    first, *others = [make_grower(f"grower-{number}") for number in range(clients)]
    bargain = make_bargain(donor, first, doses=doses, terms=[{"code": "tell_result"}])
    for grower in others:
        bargain.wanted_by(grower)
    return bargain


def yeses(address: str, bargain: Bargain) -> list[Sent]:
    """The second yes of each recipient, with a token of their own."""
    sent = []
    for pairing in bargain.pairings:
        agreement = propose(pairing, doses=1, actor=bargain.donor)
        token = caller(agreement.recipient).token
        path = f"{ROOT}/agreements/{agreement.public_id}/accept"
        sent.append(Sent(address, path, token, str(uuid.uuid4()), {"terms": ["tell_result"]}))
    return sent


def by_threads(count: int) -> Racers:
    return lambda requests: send_all(requests, count)


def by_processes(count: int) -> Racers:
    """So many processes, each with its share of the clients, all at once."""

    def race(requests: list[Sent]) -> list[Got]:
        command = [sys.executable, "-m", "tests.served.client"]
        pipes: dict[str, Any] = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
        racers = [subprocess.Popen(command, cwd=HERE, **pipes) for _ in range(count)]
        try:
            for number, racer in enumerate(racers):
                say(racer, json.dumps([asdict(each) for each in requests[number::count]]))
            assert [str(racer.stdout and racer.stdout.readline()) for racer in racers] == ["ready\n"] * count
            for racer in racers:
                say(racer, "go")
            answers = [json.loads(racer.communicate()[0]) for racer in racers]
        finally:
            for racer in racers:
                racer.kill()
                racer.communicate()
        return [Got(**each) for some in answers for each in some]

    return race


def say(racer: "subprocess.Popen[str]", line: str) -> None:
    assert racer.stdin is not None
    racer.stdin.write(f"{line}\n")
    racer.stdin.flush()


def raced(donor: Grower, *, clients: int, doses: int, served_by: tuple[int, int], race: Racers) -> None:
    """So many clients of so many growers race for so few doses."""
    bargain = bargain_of_many(donor, clients, doses)
    processes, threads = served_by
    with served(processes=processes, threads=threads) as server:
        requests = yeses(server.address, bargain)
        before = rows()
        answers = race(requests)
        after = rows()
    assert Counter(got.status for got in answers) == {200: doses, 409: clients - doses}
    refusals = [got.body for got in answers if got.status == 409]
    assert {(each["code"], each["detail"]) for each in refusals} == {
        ("doses_short", "1 dose is asked for and none is left.")
    }
    assert_sums_hold()
    supply = bargain.supply()
    assert (supply.total, supply.kept_back, supply.reserved, supply.sent) == (doses, 0, doses, 0)
    winners = {got.body["id"] for got in answers if got.status == 200}
    reserved = Reservation.objects.values_list("agreement__public_id", "doses", "state")
    assert sorted(reserved) == sorted((uuid.UUID(each), 1, "active") for each in winners)
    assert_nothing_else_changed(difference(before, after), doses, clients)


def assert_nothing_else_changed(found: Any, doses: int, clients: int) -> None:
    """Ten agreements, say, with what belongs to them; nothing for those who came too late."""
    assert found.columns_changed() == {
        "exchange_agreement": {"state", "terms", "terms_worded_at", "agreed_at", "changed_at"},
        "exchange_supply": {"reserved"},
        "exchange_apitoken": {"last_used_at"},
    }
    assert found.counts() == {
        "exchange_agreement": (0, doses, 0),
        "exchange_supply": (0, 1, 0),
        "exchange_reservation": (doses, 0, 0),
        "exchange_agreementevent": (doses, 0, 0),
        "exchange_notification": (doses, 0, 0),
        "exchange_duetask": (2 * doses, 0, 0),
        "exchange_idempotentanswer": (doses, 0, 0),
        "exchange_apitoken": (0, clients, 0),
        "growers_change": (doses, 0, 0),
    }
    assert AgreementEvent.objects.filter(kind="agreed").count() == doses
    assert {each["kind"] for each in found.added["growers_change"]} == {Change.Kind.OFFER}
    assert Counter(each["kind"] for each in found.added["exchange_duetask"]) == {
        "agreement_reservation": doses,
        "agreement_silence": doses,
    }


def test_twelve_race_for_three_doses(
    donor: Grower, clock: MovableClock, any_number_of_proposals: None
) -> None:
    clock.set(NOON)
    raced(donor, clients=12, doses=3, served_by=(2, 6), race=by_threads(12))


@pytest.mark.slow
@pytest.mark.parametrize("race", [by_threads(64), by_processes(16)], ids=["64 threads", "16 processes"])
def test_eighty_race_for_ten_doses(
    donor: Grower, clock: MovableClock, any_number_of_proposals: None, race: Racers
) -> None:
    clock.set(NOON)
    raced(donor, clients=80, doses=10, served_by=MANY[connection.vendor], race=race)
