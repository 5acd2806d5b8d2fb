"""Tests of lots: what was counted narrows the curve, what another way counted is not pooled with it."""

from datetime import timedelta
from typing import Any

import pytest

from exchange.models import Assay, CustodyEvent, Lot, Notification
from exchange.selectors.lot_viability import LotViability, lot_viability
from exchange.services.assay import Counts, assay_record
from exchange.services.collection import offer_collect
from exchange.services.lot import lot_collect
from exchange.services.lot_change import lot_dried
from growers import clock as project_clock
from growers.errors import Conflict, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.bargain import agree, make_bargain
from tests.exchange.refusal import problems, refused
from tests.exchange.society import NOON, TODAY
from tests.factories import make_plant

pytestmark = pytest.mark.django_db

WAY: dict[str, Any] = {"method": "in_vitro", "medium": "5 % sucrose", "rule": "tube as long as the grain"}


@pytest.fixture
def lot(donor: Grower, clock: MovableClock) -> Lot:
    """Fresh stamens of a hardy plant, in the refrigerator since this minute."""
    clock.set(NOON)
    lot = lot_collect(
        actor=donor, plant=make_plant(donor), flowers_emptied=2, treatment="fresh", collected_hour=14
    )
    Lot.objects.filter(pk=lot.pk).update(collected_hour=14)
    return lot


def counted(*germinated: int, of: int = 100, **fields: Any) -> Counts:
    return Counts(**{**WAY, "replicates": [(each, of) for each in germinated], **fields})


def now(lot: Lot) -> LotViability:
    return lot_viability(lot.plant.grower, lot, project_clock.now())


def test_two_tests_five_days_apart_narrow_the_curve(lot: Lot, donor: Grower, clock: MovableClock) -> None:
    """Acceptance 1: fresh hardy, 60 of 200 at once and 30 of 200 at thermal age 5."""
    clock.set(NOON + timedelta(minutes=1))
    assay_record(actor=donor, lot=lot, counts=counted(28, 32))
    clock.set(NOON + timedelta(days=5))
    assay_record(actor=donor, lot=lot, counts=counted(16, 14))
    first, second = now(lot).tests
    assert (first.thermal_age_days, second.thermal_age_days) == (0.0, 5.0)
    for told, share in ((first, 0.30), (second, 0.15)):
        assert told.viability_after is not None and told.viability_before is not None
        assert told.viability_after["low"] < share < told.viability_after["high"]
        assert width(told.viability_after) < width(told.viability_before)
    at_once = min(now(lot).curve, key=lambda point: point.at)
    assert at_once.viability["low"] < 0.30 < at_once.viability["high"]
    assert width(at_once.viability) < width(first.viability_after)


def width(band: Any) -> float:
    return float(band["high"] - band["low"])


def test_a_test_on_the_first_day_says_nothing_of_how_long_it_lasts(
    lot: Lot, donor: Grower, clock: MovableClock
) -> None:
    assert [told.code for told in now(lot).basis] == ["prior_only"]
    assay_record(actor=donor, lot=lot, counts=counted(30, 28))
    assert [told.code for told in now(lot).basis] == ["tested", "life_not_sharpened"]
    clock.move(days=8)
    assay_record(actor=donor, lot=lot, counts=counted(4, 3))
    assert "life_not_sharpened" not in [told.code for told in now(lot).basis]


def test_another_way_is_shown_and_not_pooled(lot: Lot, donor: Grower) -> None:
    assay_record(actor=donor, lot=lot, counts=counted(30, 28))
    before = now(lot)
    assay_record(actor=donor, lot=lot, counts=counted(3, method="stigmatic_fluid"))
    after = now(lot)
    assert [told.counts_here for told in after.tests] == [True, False]
    assert after.viability == before.viability
    assert "other_way" in [told.code for told in after.basis]


def test_a_stain_is_a_bound_and_no_share(lot: Lot, donor: Grower) -> None:
    before = now(lot)
    assay_record(actor=donor, lot=lot, counts=counted(95, method="stain", medium="acetocarmine"))
    assert now(lot).viability["high"] == pytest.approx(before.viability["high"], abs=0.02)
    assay_record(actor=donor, lot=lot, counts=counted(5, method="stain", medium="acetocarmine"))
    assert now(lot).viability["high"] < 0.12


def test_poor_pollen_is_said_to_be_poor_and_still_worth_a_flower(lot: Lot, donor: Grower) -> None:
    assay_record(actor=donor, lot=lot, counts=counted(2, 3))
    found = now(lot)
    assert "low_viability" in [told.code for told in found.basis]
    assert found.live_effect > 0.9
    assert found.doubts == ()


def test_those_who_are_promised_doses_hear_what_changed(
    donor: Grower, recipient: Grower, outsider: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    bargain = make_bargain(donor, recipient)
    agree(bargain.pairing, doses=2)
    lot = offer_collect(actor=donor, offer=bargain.offer, doses=3, collected_on=TODAY, store="refrigerator")
    clock.move(days=3)
    assay_record(actor=donor, lot=lot, counts=counted(30, 28, rehydrated=True))
    event = CustodyEvent.objects.get(kind="tested")
    assert event.parameters["germinated"] == 58 and event.parameters["grains"] == 200
    assert (
        set(event.parameters["before"])
        == set(event.parameters["after"])
        == {"best_before", "worth_trying_until"}
    )
    told = Notification.objects.filter(kind=Notification.Kind.LOT).values_list("grower", "custody_event")
    assert list(told) == [(recipient.pk, event.pk)]
    refused(lambda: assay_record(actor=outsider, lot=lot, counts=counted(1)), NotFound)
    refused(lambda: assay_record(actor=recipient, lot=lot, counts=counted(1)), Conflict)


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"method": "guess"}, {"/method": "method is 'guess'; allowed: in_vitro, stigmatic_fluid, stain."}),
        ({"medium": " "}, {"/medium": "medium is ' '; allowed: 1 to 200 characters."}),
        ({"replicates": []}, {"/replicates": "replicates is 0; allowed: 1 to 20 replicates."}),
        (
            {"replicates": [(101, 100)]},
            {
                "/replicates/0": "replicates/0 is '101 of 100'; allowed: 0 to 100 germinated of 1 to 10000"
                " grains."
            },
        ),
        ({"tested_at": NOON + timedelta(hours=2)}, None),
        ({"tested_at": NOON - timedelta(days=2)}, None),
    ],
)
def test_counts_that_cannot_be(
    lot: Lot, donor: Grower, changes: dict[str, Any], expected: dict[str, str] | None
) -> None:
    found = problems(lambda: assay_record(actor=donor, lot=lot, counts=counted(3, **changes)))
    assert found == expected if expected is not None else list(found) == ["/tested_at"]


def test_dried_pollen_is_asked_whether_it_was_rehydrated(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    lot = lot_collect(actor=donor, plant=make_plant(donor), flowers_emptied=2)
    lot_dried(actor=donor, lot=lot)
    found = problems(lambda: assay_record(actor=donor, lot=lot, counts=counted(3)))
    assert found == {
        "/rehydrated": "rehydrated is missing; allowed: true or false; dried pollen needs humid air before a"
        " germination test."
    }
    assert assay_record(actor=donor, lot=lot, counts=counted(3, method="stain")).rehydrated is None
    assert assay_record(actor=donor, lot=lot, counts=counted(3, rehydrated=False)).rehydrated is False
    assert Assay.objects.count() == 2
