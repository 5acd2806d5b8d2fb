"""The states of offers and wanted crosses: every pair of them against the table."""

from collections.abc import Callable
from itertools import product
from typing import Any

import pytest

from exchange.models import Offer, WantedCross
from exchange.models.offer import OpenState
from exchange.services.offer import offer_close, offer_pause, offer_reopen
from exchange.services.open_state import ALLOWED
from exchange.services.wanted_cross import wanted_cross_close, wanted_cross_pause, wanted_cross_reopen
from growers.errors import Conflict
from growers.models import Change, Grower
from tests.exchange.refusal import refused, rows
from tests.factories import make_offer, make_plant, make_wanted_cross

pytestmark = pytest.mark.django_db

MAY_FOLLOW = {
    ("open", "open"): True,
    ("open", "paused"): True,
    ("open", "closed"): True,
    ("paused", "open"): True,
    ("paused", "paused"): True,
    ("paused", "closed"): True,
    ("closed", "open"): False,
    ("closed", "paused"): False,
    ("closed", "closed"): True,
}
"""Whether the second state may be asked for in the first; the same state again is no error."""

POSSIBLE = {"open": "closed, paused", "paused": "closed, open", "closed": "nothing: it is over"}
OFFER_SERVICES = {"open": offer_reopen, "paused": offer_pause, "closed": offer_close}
CROSS_SERVICES = {"open": wanted_cross_reopen, "paused": wanted_cross_pause, "closed": wanted_cross_close}


def an_offer(grower: Grower, state: str) -> tuple[Offer, Callable[[str], object]]:
    offer = make_offer(make_plant(grower))
    Offer.objects.filter(pk=offer.pk).update(state=state)
    return offer, lambda wanted: OFFER_SERVICES[wanted](actor=grower, offer=offer)


def a_wanted_cross(grower: Grower, state: str) -> tuple[WantedCross, Callable[[str], object]]:
    cross = make_wanted_cross(make_plant(grower))
    WantedCross.objects.filter(pk=cross.pk).update(state=state)
    return cross, lambda wanted: CROSS_SERVICES[wanted](actor=grower, wanted_cross=cross)


Maker = Callable[[Grower, str], tuple[Any, Callable[[str], object]]]
KINDS: dict[str, Maker] = {"offer": an_offer, "wanted_cross": a_wanted_cross}
ALSO_WRITTEN = {"offer": {"exchange_duetask"}, "wanted_cross": set[str]()}
"""A paused offer is not asked whether it is still true."""


def test_the_table_knows_every_pair_of_states() -> None:
    assert set(MAY_FOLLOW) == set(product(OpenState.values, repeat=2))
    assert set(ALLOWED) == set(OpenState.values) == set(OFFER_SERVICES) == set(CROSS_SERVICES)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("present", "wanted"), MAY_FOLLOW)
def test_one_state_after_another(donor: Grower, kind: str, present: str, wanted: str) -> None:
    row, ask = KINDS[kind](donor, present)
    if MAY_FOLLOW[present, wanted]:
        ask(wanted)
        row.refresh_from_db()
        assert row.state == wanted
        assert Change.objects.filter(kind=kind, subject_id=row.pk).count() == 2
        return
    error = refused(lambda: ask(wanted), Conflict)
    word = kind.replace("_", " ")
    assert (
        error.detail == f"The {word} is {present} and cannot become {wanted}; allowed: {POSSIBLE[present]}."
    )


@pytest.mark.parametrize("kind", KINDS)
def test_a_change_of_state_writes_nothing_but_the_state(donor: Grower, kind: str) -> None:
    _, ask = KINDS[kind](donor, "open")
    table = f"exchange_{kind.replace('_', '')}"
    before = rows()
    ask("paused")
    after = rows()
    changed = {name for name in after if after[name] != before[name]}
    assert changed == {table, "growers_change"} | ALSO_WRITTEN[kind]
    (old,), (new,) = before[table], after[table]
    assert {name for name in new if new[name] != old[name]} == {"state"}
