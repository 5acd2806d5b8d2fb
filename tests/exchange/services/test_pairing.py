"""Dismissing a pairing: by either of its growers, for good, and by nobody else."""

import pytest

from exchange.models import Pairing
from exchange.services.pairing import pairing_dismiss
from growers.errors import Conflict, NotFound
from growers.models import Change, Grower
from tests.clock import MovableClock
from tests.exchange.refusal import refused, rows
from tests.exchange.society import NOON, Society, make_pairing, make_society

pytestmark = pytest.mark.django_db


@pytest.fixture
def society(donor: Grower, recipient: Grower, clock: MovableClock) -> Society:
    clock.set(NOON)
    return make_society(donor, recipient)


@pytest.mark.parametrize("side", ["donor", "recipient"])
def test_either_grower_dismisses_it_once(society: Society, clock: MovableClock, side: str) -> None:
    pairing = make_pairing(society.offer, society.wanted)
    Change.objects.all().delete()
    actor = society.given.grower if side == "donor" else society.seed.grower
    clock.move(hours=1)
    dismissed = pairing_dismiss(actor=actor, pairing=pairing)
    assert dismissed.state == "dismissed"
    assert (dismissed.changed_at - pairing.changed_at).total_seconds() >= 3600
    change = Change.objects.get()
    assert (change.kind, change.subject_id) == ("offer", society.offer.pk)
    before = rows()
    assert pairing_dismiss(actor=society.seed.grower, pairing=pairing).state == "dismissed"
    assert rows() == before


def test_nobody_else_does(society: Society, outsider: Grower) -> None:
    pairing = make_pairing(society.offer, society.wanted)
    refused(lambda: pairing_dismiss(actor=outsider, pairing=pairing), NotFound)


def test_one_that_was_replaced_cannot_be_dismissed(society: Society) -> None:
    old = make_pairing(society.offer, society.wanted, state=Pairing.State.SUPERSEDED)
    error = refused(lambda: pairing_dismiss(actor=society.seed.grower, pairing=old), Conflict)
    assert error.detail == "This pairing is superseded; look for the one that stands now."
