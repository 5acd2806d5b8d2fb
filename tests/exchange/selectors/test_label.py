"""What a label says of a lot or a packet, and who prints which."""

from datetime import date
from uuid import uuid4

import pytest

from exchange.models import Lot
from exchange.selectors.label import (
    LotPage,
    clock_of,
    label_facts,
    label_of,
    labels_of_packets,
    lot_page,
    lots_printable,
)
from exchange.selectors.label_paper import labels_on_paper
from exchange.selectors.lot import lots_of
from exchange.selectors.packet import packets_known
from exchange.services.block import block_create
from exchange.services.incident import WhatHappened, lot_incident
from exchange.services.lot import lot_collect
from exchange.wording.label import LabelFacts
from growers.errors import InvalidInput, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.packed import Packed, make_packed
from tests.exchange.society import NOON
from tests.exchange.wording.label_world import page_text
from tests.factories import make_offer_in_hand, make_plant, make_site

pytestmark = pytest.mark.django_db

PAGE = "https://pollen.example/l/7K3M9QXF"


@pytest.fixture
def packed(donor: Grower, recipient: Grower, clock: MovableClock) -> Packed:
    clock.set(NOON)
    return make_packed(donor, recipient)


def own(lot: Lot) -> Lot:
    return lots_of(lot.plant.grower).get(pk=lot.pk)


def test_the_label_of_a_lot_says_what_is_on_record(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    plant = make_plant(donor, name_as_grown="'Ferry'")
    made = lot_collect(
        actor=donor, plant=plant, flowers_emptied=2, collected_on=date(2027, 6, 30), collected_hour=9
    )
    lot = own(made)
    facts = label_facts(lot, None, address_of_page=PAGE)
    outlook = lot.outlooks.get()
    assert outlook.best_before_at and outlook.worth_trying_until_at
    assert facts == LabelFacts(
        plant="'Ferry'",
        code=lot.code,
        packet=None,
        doses=2,
        collected_on=date(2027, 6, 30),
        collected_hour=9,
        zone="UTC+2",
        treatment="dried",
        store="refrigerator",
        best_before=facts.best_before,
        worth_trying_until=facts.worth_trying_until,
        doubtful=(),
        terms=(),
        url=PAGE,
    )
    # 19.8 days at 4 °C on the prior alone; the first of them it dries at 22 °C.
    assert facts.best_before and abs((facts.best_before - date(2027, 7, 14)).days) <= 6
    assert facts.worth_trying_until and facts.worth_trying_until > facts.best_before


@pytest.mark.parametrize(
    ("longitude_deg", "country", "zone", "day"),
    [
        (-157.75, "US", "UTC-10", date(2027, 7, 9)),
        (174.75, "NZ", "UTC+12", date(2027, 7, 10)),
    ],
)
def test_days_on_it_are_those_of_the_plants_clock(
    donor: Grower, clock: MovableClock, longitude_deg: float, country: str, zone: str, day: date
) -> None:
    clock.set(NOON)
    latitude_deg = 21.25 if country == "US" else -36.75
    site = make_site(donor, country=country, latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    made = lot_collect(actor=donor, plant=make_plant(donor, site=site), flowers_emptied=1)
    made.outlooks.update(best_before_at="2027-07-09T23:30:00Z")
    facts = label_facts(own(made), None, address_of_page=PAGE)
    assert (facts.zone, facts.best_before) == (zone, day)


def test_without_an_outlook_no_date_is_made_up(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    made = lot_collect(actor=donor, plant=make_plant(donor), flowers_emptied=1)
    made.outlooks.all().delete()
    facts = label_facts(own(made), None, address_of_page=PAGE)
    assert (facts.best_before, facts.worth_trying_until, facts.doubtful) == (None, None, ())


def test_doubts_and_terms_stand_on_it(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    terms = [{"code": "do_not_pass_on"}, {"code": "other", "text": "Greet the pond."}]
    offer = make_offer_in_hand(make_plant(donor), date(2027, 6, 28), terms=terms)
    lot_incident(actor=donor, lot=offer.lots.get(), happened=WhatHappened(kind="got_damp"))
    facts = label_facts(own(offer.lots.get()), None, address_of_page=PAGE)
    assert facts.doubtful == (
        "It got damp; wet pollen germinates or rots, and the curve says nothing of it.",
    )
    assert facts.terms == ("Do not pass the pollen on.", "Greet the pond.")


def test_a_packet_has_its_own_number_doses_store_and_dates(packed: Packed, recipient: Grower) -> None:
    packed.hand_over()
    packed.receive()
    packed.packet.outlooks.update(best_before_at="2027-07-20T12:00:00Z")
    packet = packets_known(recipient).get()
    facts = label_facts(packed.lot, packet, address_of_page=PAGE)
    assert (facts.packet, facts.doses, facts.best_before) == (1, 2, date(2027, 7, 20))
    lots = label_facts(packed.lot, None, address_of_page=PAGE)
    assert (lots.packet, lots.doses) == (None, 4)
    assert lots.best_before != facts.best_before


def test_on_its_way_it_is_labelled_with_the_store_of_its_lot(packed: Packed, donor: Grower) -> None:
    packed.hand_over()
    packet = packets_known(donor).get()
    assert packet.store is None
    assert label_facts(packed.lot, packet, address_of_page=PAGE).store == "refrigerator"


def test_the_grower_prints_all_and_a_holder_what_they_hold(
    packed: Packed, donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    lot, packet = packed.lot, packed.packet.public_id
    assert label_of(donor, lot, None, address_of_page=PAGE).packet is None
    assert label_of(donor, lot, packet, address_of_page=PAGE).packet == 1
    assert not lots_printable(recipient).exists()
    with pytest.raises(NotFound):
        label_of(recipient, lot, packet, address_of_page=PAGE)  # promised to them is not held by them
    packed.hand_over()
    packed.receive()
    assert lots_printable(recipient).get() == lot
    assert label_of(recipient, lot, packet, address_of_page=PAGE).packet == 1
    assert len(labels_of_packets(recipient, lot, address_of_page=PAGE)) == 1
    with pytest.raises(NotFound, match="There is no such thing, or it is not yours to see"):
        label_of(recipient, lot, None, address_of_page=PAGE)
    assert not lots_printable(outsider).exists()
    for which in (None, packet, uuid4()):
        with pytest.raises(NotFound):
            label_of(outsider, lot, which, address_of_page=PAGE)
    assert labels_of_packets(outsider, lot, address_of_page=PAGE) == []


def test_whoever_is_blocked_prints_none(packed: Packed, donor: Grower, recipient: Grower) -> None:
    packed.hand_over()
    packed.receive()
    block_create(actor=donor, blocked=recipient)
    assert not lots_printable(recipient).exists()


def test_orders_that_do_not_fit_are_refused(packed: Packed, donor: Grower) -> None:
    def refused(**order: object) -> list[tuple[str, str]]:
        with pytest.raises(InvalidInput) as error:
            labels_on_paper(donor, packed.lot, order, address_of_page=PAGE)  # type: ignore[arg-type]
        return [(each.pointer, each.detail) for each in error.value.problems]

    both = "packets is True; allowed: one of packet, packets and blank."
    assert refused(packet=packed.packet.public_id, packets=True) == [("/packets", both)]
    assert refused(blank=True, packets=True)[0][0] == "/packets"
    assert refused(sheet="narrow", start=2) == [
        ("/start", "start is 2; allowed: 1, where each label has a page of its own.")
    ]
    assert refused(sheet="letter", start=15) == [("/start", "start is 15; allowed: 1 to 14.")]
    assert refused(copies=501) == [("/copies", "copies is 501; allowed: 1 to 500.")]


def test_a_lot_without_packets_has_no_labels_of_them(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    lot = own(lot_collect(actor=donor, plant=make_plant(donor), flowers_emptied=1))
    with pytest.raises(InvalidInput, match="There is no label to print"):
        labels_on_paper(donor, lot, {"packets": True}, address_of_page=PAGE)
    blank = page_text(labels_on_paper(donor, lot, {"blank": True}, address_of_page=PAGE))
    assert lot.code[:4] not in blank and "best before" in blank


def test_the_public_page_tells_less_than_the_label(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    terms = [{"code": "tell_result"}, {"code": "other", "text": "Ring the ferryman."}]
    offer = make_offer_in_hand(make_plant(donor, name_as_grown="'Ferry'"), date(2027, 6, 28), terms=terms)
    lot = own(offer.lots.get())
    facts = label_facts(lot, None, address_of_page="")
    assert lot_page(lot.code) == LotPage(
        plant="'Ferry'",
        code=lot.code,
        collected_on=date(2027, 6, 28),
        collected_hour=None,
        treatment="dried",
        best_before=facts.best_before,
        worth_trying_until=facts.worth_trying_until,
        doubtful=(),
        terms=("Tell me what became of it, failures too.",),
        own_words=True,
    )


def test_a_code_that_nobody_has_leads_to_nothing(db: None) -> None:
    assert lot_page("00000000") is None


@pytest.mark.parametrize(
    ("zone", "collected_on", "told"),
    [
        ("Europe/Paris", date(2027, 7, 1), "UTC+2"),
        ("Europe/Paris", date(2027, 1, 1), "UTC+1"),
        ("Asia/Kolkata", date(2027, 7, 1), "UTC+5:30"),
        ("America/St_Johns", date(2027, 1, 1), "UTC-3:30"),
        ("Africa/Abidjan", date(2027, 7, 1), "UTC+0"),
    ],
)
def test_a_label_tells_the_clock_and_not_the_zone(
    donor: Grower, clock: MovableClock, zone: str, collected_on: date, told: str
) -> None:
    clock.set(NOON)
    lot = lot_collect(actor=donor, plant=make_plant(donor), flowers_emptied=1)
    lot.plant.site.cell_zone, lot.collected_on = zone, collected_on
    assert clock_of(lot) == told
