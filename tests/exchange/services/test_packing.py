"""A box that its donor has measured: kept as a whole, refused with what would be right, reckoned with."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from exchange.models import Offer, Stay
from exchange.selectors.lane_seen import lanes_seen
from exchange.selectors.shipment import shipment_for, shipments_known
from exchange.services.offer import offer_create
from exchange.services.offer_change import offer_update
from exchange.services.packet import packet_hand_over
from exchange.services.shipment import shipment_change
from growers.errors import InvalidInput
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.parcel import Sending, make_sending
from tests.exchange.refusal import refused
from tests.exchange.society import NOON, TODAY
from tests.factories import make_offer, make_plant

pytestmark = pytest.mark.django_db

BOX: dict[str, Any] = {"wall": "polyurethane", "wall_cm": 3.0, "inside_cm": [15.0, 20.0, 10.0], "ice_kg": 1.5}
NEEDED = "wall, wall_cm, inside_cm and ice_kg"


@pytest.fixture
def sending(donor: Grower, recipient: Grower, clock: MovableClock) -> Sending:
    clock.set(NOON)
    return make_sending(donor, recipient)


def kept(offer: Offer) -> tuple[str, Any]:
    offer.refresh_from_db()
    return offer.packing, offer.box


# --- what is said ---


def test_an_offer_keeps_the_box_of_its_donor_until_it_is_packed_otherwise(donor: Grower) -> None:
    offer = offer_create(
        actor=donor, plant=make_plant(donor), treatment="dried", doses=1, packing="own_box", box=BOX
    )
    assert kept(offer) == ("own_box", BOX)
    offer_update(actor=donor, offer=offer, box={**BOX, "ice_kg": 0})
    assert kept(offer) == ("own_box", {**BOX, "ice_kg": 0})
    offer_update(actor=donor, offer=offer, note="in June")
    assert kept(offer) == ("own_box", {**BOX, "ice_kg": 0})
    offer_update(actor=donor, offer=offer, packing="envelope")
    assert kept(offer) == ("envelope", None)


@pytest.mark.parametrize(
    ("said", "pointer", "allowed"),
    [
        ({"box": None}, "/box", f"{NEEDED} of your box"),
        ({"box": "foam"}, "/box", f"{NEEDED}, and nothing else"),
        ({"box": {**BOX, "lid": 1}}, "/box", f"{NEEDED}, and nothing else"),
        ({"wall": "wood"}, "/box/wall", "polystyrene, polyurethane, vacuum_panel, padding"),
        ({"wall_cm": 0.1}, "/box/wall_cm", "0.2 to 20"),
        ({"wall_cm": float("nan")}, "/box/wall_cm", "0.2 to 20"),
        ({"ice_kg": -0.1}, "/box/ice_kg", "0 to 50"),
        ({"ice_kg": True}, "/box/ice_kg", "0 to 50"),
        ({"inside_cm": [10, 10]}, "/box/inside_cm", "length, width and height"),
        ({"inside_cm": [10, 0.5, 10]}, "/box/inside_cm/1", "1 to 100"),
        (
            {"ice_kg": 1.93},
            "/box/ice_kg",
            "at most 1.93 kg in a box of that size, which leaves room for the packet",
        ),
    ],
)
def test_what_is_no_box_is_refused_with_what_would_be_right(
    donor: Grower, said: dict[str, Any], pointer: str, allowed: str
) -> None:
    box = said.get("box", {**BOX, **said})
    plant = make_plant(donor)
    new: Any = {"actor": donor, "plant": plant, "treatment": "dried", "doses": 1}
    error = refused(lambda: offer_create(**new, packing="own_box", box=box), InvalidInput)
    assert [(each.pointer, each.allowed) for each in error.problems] == [(pointer, allowed)]


def test_only_an_own_box_has_measures(donor: Grower, sending: Sending) -> None:
    offer, shipment = make_offer(make_plant(donor)), sending.plan()
    calls: list[Callable[[], object]] = [
        lambda: offer_update(actor=donor, offer=offer, box=BOX),
        lambda: shipment_change(actor=donor, shipment=shipment, box=BOX),
    ]
    for call in calls:
        error = refused(call, InvalidInput)
        assert error.problems[0].allowed == "none with cold_box; only own_box has one"
    for packing, box in (("cold_box", BOX), ("own_box", None)):
        with pytest.raises(IntegrityError), transaction.atomic():
            Offer.objects.filter(pk=offer.pk).update(packing=packing, box=box)


# --- what is reckoned with it ---


def hours_cold(sending: Sending) -> float:
    (row,) = shipments_known(sending.donor)
    return shipment_for(sending.donor, row, lanes_seen(TODAY)).hours_cold


def test_a_parcel_goes_in_the_box_of_its_offer_and_keeps_cold_by_it(sending: Sending) -> None:
    donor = sending.donor
    shipment = sending.plan()
    usual = hours_cold(sending)
    shipment_change(actor=donor, shipment=shipment, packing="own_box", box=BOX)
    # UA 0.1470 W/K with 1.5 kg of ice against 0.1120 with 0.5 kg (computed: 3 L PUR 3 cm, 1 L EPS 3 cm).
    assert hours_cold(sending) / usual == pytest.approx((1.5 / 0.1470) / (0.5 / 0.1120), rel=2e-3)
    sending.dispatch(shipment)
    stay = Stay.objects.get(packet=sending.packet, until=None)
    assert (stay.packing, stay.box) == ("own_box", BOX)


def test_a_parcel_takes_over_what_the_offer_says(sending: Sending) -> None:
    offer_update(actor=sending.donor, offer=sending.bargain.offer, packing="own_box", box=BOX)
    shipment = sending.plan()
    assert (shipment.packing, shipment.box) == ("own_box", BOX)


def test_a_packet_handed_over_alone_goes_as_its_offer_says(sending: Sending) -> None:
    offer_update(actor=sending.donor, offer=sending.bargain.offer, packing="own_box", box=BOX)
    packet_hand_over(actor=sending.donor, packet=sending.packet)
    assert Stay.objects.get(packet=sending.packet, until=None).box == BOX
