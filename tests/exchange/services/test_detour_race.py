"""Yeses, an end and a parcel of a detour at one moment: whoever comes second meets the first."""

from functools import partial

import pytest

from exchange.models import Detour, Gathering, Shipment
from exchange.services.detour import detour_accept, detour_ask, detour_withdraw
from exchange.services.gathering import gathering_call_off
from exchange.services.shipment import shipment_dispatch, shipment_plan
from growers.errors import Conflict
from tests.exchange.gathered import Gathered
from tests.growers.services.test_race import at_once

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = 3
LIVE = ("asked", "agreed")


def asked(gathered: Gathered) -> None:
    Detour.objects.all().delete()
    Gathering.objects.update(state="open")
    gathered.ask()
    gathered.yes()


def test_one_place_is_asked_for_however_often(gathered: Gathered) -> None:
    ask = partial(
        detour_ask, actor=gathered.recipient, agreement=gathered.agreement, gathering=gathered.gathering
    )
    outcomes = at_once(ask, ask, ask)
    assert sum(outcome is None for outcome in outcomes) == 1
    assert all(outcome is None or isinstance(outcome, Conflict) for outcome in outcomes)
    assert Detour.objects.get().state == "asked"


def test_nobody_has_a_place_in_what_was_called_off(gathered: Gathered) -> None:
    accept = partial(detour_accept, actor=gathered.steward, agreement=gathered.agreement)
    end = partial(gathering_call_off, actor=gathered.steward, gathering=gathered.gathering)
    for _ in range(ROUNDS):
        asked(gathered)
        accepted, ended = at_once(accept, end)
        assert ended is None
        assert accepted is None or isinstance(accepted, Conflict)
        assert not Detour.objects.filter(state__in=LIVE).exists()


def test_a_place_asked_for_while_it_is_called_off_is_none(gathered: Gathered) -> None:
    ask = partial(
        detour_ask, actor=gathered.recipient, agreement=gathered.agreement, gathering=gathered.gathering
    )
    end = partial(gathering_call_off, actor=gathered.steward, gathering=gathered.gathering)
    for _ in range(ROUNDS):
        Detour.objects.all().delete()
        Gathering.objects.update(state="open")
        at_once(ask, end)
        if Gathering.objects.get().state == "called_off":
            assert not Detour.objects.filter(state__in=LIVE).exists()
        else:  # somebody asked at that moment, and the steward is told to try again
            assert Detour.objects.get().state == "asked"


def test_a_parcel_and_a_yes_taken_back_never_both_go_through(gathered: Gathered) -> None:
    for _ in range(ROUNDS):
        asked(gathered)
        gathered.accept()
        planned = shipment_plan(actor=gathered.donor, agreement=gathered.agreement)
        sent, taken_back = at_once(
            partial(shipment_dispatch, actor=gathered.donor, shipment=planned),
            partial(detour_withdraw, actor=gathered.recipient, agreement=gathered.agreement),
        )
        shipment, detour = Shipment.objects.latest("pk"), Detour.objects.get()
        if taken_back is None:
            assert (shipment.state, detour.state) == ("called_off", "withdrawn")
            assert isinstance(sent, Conflict)
            Shipment.objects.all().delete()
        else:
            assert (sent, shipment.state, detour.state) == (None, "dispatched", "agreed")
            break
