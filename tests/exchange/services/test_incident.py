"""Incidents: what went wrong with a store touches all that lay in it; partners are told once."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from exchange.models import CustodyEvent, Incident, Lot, LotOutlook, Notification
from exchange.selectors.notification import notification_for, notifications_of
from exchange.services.collection import offer_collect
from exchange.services.incident import WhatHappened, lot_incident, store_incident
from exchange.services.lot import lot_collect
from exchange.services.lot_change import lot_discard, lot_move
from exchange.services.packet import packet_fill
from exchange.services.store import store_create, store_of_kind
from growers.errors import InvalidInput, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, make_bargain
from tests.exchange.refusal import problems, refused
from tests.exchange.society import NOON, TODAY, make_pairing
from tests.factories import make_plant, make_wanted_cross

pytestmark = pytest.mark.django_db


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    return make_bargain(donor, recipient, doses=9)


def collected(bargain: Bargain, doses: int = 3) -> Lot:
    return offer_collect(
        actor=bargain.donor, offer=bargain.offer, doses=doses, collected_on=TODAY, store="refrigerator"
    )


def told_of_lots(grower: Grower) -> list[str]:
    rows = notifications_of(grower).filter(kind=Notification.Kind.LOT).order_by("pk")
    return [notification_for(row).detail for row in rows]


def outlook(lot: Lot) -> LotOutlook:
    return LotOutlook.objects.get(lot=lot, packet=None)


def test_a_store_without_power_touches_every_lot_in_it_and_no_other(
    bargain: Bargain, donor: Grower, outsider: Grower, clock: MovableClock
) -> None:
    lots = [collected(bargain), collected(bargain)]
    elsewhere = lot_collect(
        actor=donor,
        plant=bargain.offer.plant,
        store=store_create(actor=donor, name="cellar", kind="refrigerator"),
        flowers_emptied=1,
    )
    others = lot_collect(actor=outsider, plant=make_plant(outsider), flowers_emptied=1)
    gone = lot_collect(actor=donor, plant=bargain.offer.plant, flowers_emptied=1)
    lot_discard(actor=donor, lot=gone)
    before = {lot.pk: outlook(lot).best_before_at for lot in (*lots, elsewhere, others)}
    clock.move(days=4)
    happened = WhatHappened("switched_off", hours=72, note="while we were away")
    assert store_incident(actor=donor, store=lots[0].store, happened=happened) == lots
    incident = Incident.objects.get()
    assert (incident.temperature_c, incident.ended_at - incident.began_at) == (22.0, timedelta(hours=72))
    after = {lot.pk: outlook(lot).best_before_at for lot in (*lots, elsewhere, others)}
    assert {key for key in after if after[key] != before[key]} == {lot.pk for lot in lots}
    assert all(after[lot.pk] < before[lot.pk] for lot in lots)  # type: ignore[operator]
    events = CustodyEvent.objects.filter(kind="incident")
    assert [event.lot for event in events.order_by("pk")] == lots
    assert events[0].parameters == {"incident": "switched_off", "hours": 72.0, "temperature_c": 22.0}


def test_a_partner_with_a_part_in_several_lots_is_told_once(
    bargain: Bargain, donor: Grower, recipient: Grower, outsider: Grower, clock: MovableClock
) -> None:
    agree(bargain.pairing, doses=3)
    first = collected(bargain)
    seed = bargain.pairing.wanted_cross.seed_parent
    agree(make_pairing(bargain.offer, make_wanted_cross(seed, flowers=4)), doses=3)
    collected(bargain)
    agree(bargain.wanted_by(outsider), doses=2)
    collected(bargain, doses=2)
    clock.move(days=1)
    store_incident(actor=donor, store=first.store, happened=WhatHappened("left_out", hours=6))
    code = f"{first.code[:4]}-{first.code[4:]}"
    assert told_of_lots(recipient) == [
        f"Pollen of 'Ferry', lot {code}: something went wrong: it was left out of its store."
    ]
    assert len(told_of_lots(outsider)) == 1
    assert told_of_lots(donor) == []


def test_only_what_lay_there_then_is_touched(bargain: Bargain, donor: Grower, clock: MovableClock) -> None:
    lot = collected(bargain)
    kitchen = lot.store
    clock.move(days=2)
    lot_move(actor=donor, lot=lot, store=store_create(actor=donor, name="cellar", kind="refrigerator"))
    clock.move(days=1)
    later = WhatHappened("switched_off", hours=12)
    assert store_incident(actor=donor, store=kitchen, happened=later) == []
    earlier = WhatHappened("switched_off", began_at=NOON + timedelta(days=1), hours=5)
    assert store_incident(actor=donor, store=kitchen, happened=earlier) == [lot]


def test_a_packet_is_touched_with_its_own_dates(bargain: Bargain, donor: Grower, clock: MovableClock) -> None:
    lot = collected(bargain)
    packet = packet_fill(actor=donor, lot=lot, doses=1)
    before = LotOutlook.objects.get(packet=packet).best_before_at
    clock.move(days=3)
    store_incident(actor=donor, store=lot.store, happened=WhatHappened("switched_off", hours=48))
    after = LotOutlook.objects.get(packet=packet).best_before_at
    assert before is not None and after is not None and after < before
    assert CustodyEvent.objects.filter(kind="incident", packet=packet).count() == 1


@pytest.mark.parametrize(
    ("kind", "treatment", "doubts"),
    [
        ("got_damp", "dried", ["wetted"]),
        ("thawed", "frozen", ["thawed"]),
        ("switched_off", "frozen", ["thawed"]),
        ("left_out", "dried", []),
    ],
)
def test_what_puts_a_lot_in_doubt(
    donor: Grower, clock: MovableClock, kind: str, treatment: str, doubts: list[str]
) -> None:
    clock.set(NOON)
    lot = lot_collect(
        actor=donor,
        plant=make_plant(donor),
        flowers_emptied=1,
        treatment=treatment,
        collected_on=TODAY - timedelta(days=9),
    )
    lot_incident(actor=donor, lot=lot, happened=WhatHappened(kind, hours=5))
    assert outlook(lot).doubts == doubts


def test_more_than_an_hour_of_heat_makes_a_lot_doubtful_and_less_does_not(
    donor: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    for hours, doubts in ((1.0, []), (1.5, ["heat"])):
        lot = lot_collect(
            actor=donor, plant=make_plant(donor), flowers_emptied=1, collected_on=TODAY - timedelta(days=2)
        )
        lot_incident(actor=donor, lot=lot, happened=WhatHappened("left_out", hours=hours, temperature_c=38.0))
        assert outlook(lot).doubts == doubts


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [
        ({"hours": -1.0}, "/hours"),
        ({"hours": 1441.0, "began_at": NOON}, "/hours"),
        ({"temperature_c": 61.0}, "/temperature_c"),
        ({"began_at": NOON + timedelta(hours=1)}, "/began_at"),
        ({"began_at": datetime(2027, 1, 1, tzinfo=UTC)}, "/began_at"),
        ({"note": "x" * 501}, "/note"),
    ],
)
def test_what_cannot_have_happened(bargain: Bargain, fields: dict[str, Any], pointer: str) -> None:
    lot = collected(bargain)
    happened = WhatHappened("left_out", **fields)
    assert list(problems(lambda: lot_incident(actor=bargain.donor, lot=lot, happened=happened))) == [pointer]


def test_an_unknown_kind_and_others_things_are_refused(bargain: Bargain, outsider: Grower) -> None:
    lot = collected(bargain)
    error = refused(
        lambda: lot_incident(actor=bargain.donor, lot=lot, happened=WhatHappened("eaten")), InvalidInput
    )
    assert error.detail == "kind is 'eaten'; allowed: switched_off, left_out, thawed, got_damp."
    fine = WhatHappened("left_out")
    refused(lambda: lot_incident(actor=outsider, lot=lot, happened=fine), NotFound)
    refused(lambda: store_incident(actor=outsider, store=lot.store, happened=fine), NotFound)


def test_nothing_lies_in_an_empty_store(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    store = store_of_kind(donor, "refrigerator")
    assert store_incident(actor=donor, store=store, happened=WhatHappened("switched_off", hours=1)) == []
    assert Incident.objects.count() == 1
