"""How a packet felt in the hand: the same course, the same dates, and both are told."""

from datetime import timedelta
from typing import Any

import pytest

from exchange.models import CustodyEvent, LotOutlook, Notification, TemperatureUpload
from exchange.selectors.lot_course import course_of
from exchange.selectors.lot_record import lot_record, lots_loaded
from exchange.services.packet import packet_receive
from exchange.services.store import store_of_kind
from exchange.services.temperature_felt import temperature_felt
from growers import clock as project_clock
from growers.errors import Conflict, InvalidInput, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.logger import HANDED_OVER, OPENED, OnTheWay, instant, on_the_way

pytestmark = pytest.mark.django_db


@pytest.fixture
def parcel(donor: Grower, recipient: Grower, clock: MovableClock) -> OnTheWay:
    return on_the_way(donor, recipient, clock)


def feel(parcel: OnTheWay, felt: str, **changes: Any) -> TemperatureUpload:
    stated = {"actor": parcel.recipient, "lot": parcel.lot, "packet": parcel.packet}
    return temperature_felt(**{**stated, **changes}, felt=felt)


def moved_hours(felt: str, parcel: OnTheWay) -> float:
    """How much later best-before lies, in hours."""
    feel(parcel, felt)
    parameters = CustodyEvent.objects.get(kind="temperature_read").parameters
    assert parameters["felt"] == felt
    before, after = (instant(parameters[name]["best_before"]) for name in ("before", "after"))
    assert LotOutlook.objects.get(packet__isnull=False).best_before_at == after
    return (after - before).total_seconds() / 3600.0


def test_what_felt_cold_ages_less_than_planned(parcel: OnTheWay) -> None:
    assert moved_hours("cold", parcel) > 6.0


def test_what_felt_warm_ages_more_than_planned(parcel: OnTheWay) -> None:
    assert moved_hours("warm", parcel) < -6.0


@pytest.mark.parametrize(("felt", "temperature_c"), [("cold", 4.0), ("cool", 14.0), ("warm", 26.0)])
def test_a_word_counts_for_the_whole_way_unless_times_are_stated(
    parcel: OnTheWay, felt: str, temperature_c: float
) -> None:
    upload = feel(parcel, felt)
    way = parcel.stay.since
    assert (upload.began_at, upload.felt, upload.summary, upload.confirmed) == (way, felt, {}, {})
    assert abs(upload.ended_at - OPENED) < timedelta(seconds=5)
    (lot,) = lots_loaded([parcel.lot])
    course = course_of(lot_record(lot, project_clock.now(), parcel.packet))
    (spell,) = [each for each in course if each.source == "felt"]
    assert spell.temperature_c.tolist() == [temperature_c, temperature_c]
    assert spell.ends - spell.begins == pytest.approx(72.0, abs=0.01)


def test_after_it_was_received_the_way_ends_there(parcel: OnTheWay, clock: MovableClock) -> None:
    store = store_of_kind(parcel.recipient, "refrigerator")
    packet = packet_receive(actor=parcel.recipient, packet=parcel.packet, store=store)
    clock.set(OPENED + timedelta(days=3))
    upload = feel(parcel, "cool", packet=packet)
    assert abs(upload.ended_at - OPENED) < timedelta(seconds=5)


def test_donor_and_recipient_are_told_once_each(parcel: OnTheWay) -> None:
    feel(parcel, "cool", began_at=HANDED_OVER + timedelta(hours=1), ended_at=OPENED)
    rows = Notification.objects.filter(custody_event__kind="temperature_read")
    assert sorted(rows.values_list("grower__handle", flat=True)) == ["donor", "recipient"]


def test_the_grower_of_a_lot_says_how_it_felt_with_both_times(parcel: OnTheWay) -> None:
    upload = feel(
        parcel,
        "warm",
        actor=parcel.donor,
        packet=None,
        began_at=HANDED_OVER,
        ended_at=HANDED_OVER + timedelta(hours=4),
    )
    assert (upload.lot_id, upload.packet_id) == (parcel.lot.pk, None)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"felt": "hot"}, "felt is 'hot'; allowed: cold, cool, warm."),
        (
            {"ended_at": OPENED + timedelta(days=1)},
            "ended_at is '2027-07-07T12:00:00+00:00'; allowed: up to now, 2027-07-06T12:00+00:00.",
        ),
        (
            {"began_at": HANDED_OVER + timedelta(hours=2), "ended_at": HANDED_OVER},
            "ended_at is '2027-07-03T12:00:00+00:00'; allowed: after 2027-07-03T14:00:00+00:00.",
        ),
    ],
)
def test_a_time_that_cannot_be_is_refused_and_nothing_written(
    parcel: OnTheWay, changes: dict[str, Any], sentence: str
) -> None:
    with pytest.raises(InvalidInput) as caught:
        feel(parcel, **{"felt": "cool", **changes})
    assert [problem.detail for problem in caught.value.problems] == [sentence]
    assert not TemperatureUpload.objects.exists()
    assert not CustodyEvent.objects.filter(kind="temperature_read").exists()


def test_before_it_was_filled_a_packet_felt_like_its_lot(parcel: OnTheWay) -> None:
    with pytest.raises(InvalidInput) as caught:
        feel(parcel, "cool", began_at=HANDED_OVER - timedelta(hours=2))
    assert [problem.pointer for problem in caught.value.problems] == ["/began_at"]


def test_of_a_lot_the_time_must_be_stated(parcel: OnTheWay) -> None:
    with pytest.raises(InvalidInput) as caught:
        feel(parcel, "cool", actor=parcel.donor, packet=None, ended_at=OPENED)
    assert [problem.detail for problem in caught.value.problems] == [
        "began_at is missing; allowed: an instant before 2027-07-06T12:00:00+00:00."
    ]


def test_others_cannot(parcel: OnTheWay, outsider: Grower) -> None:
    with pytest.raises(NotFound):
        feel(parcel, "cool", actor=outsider)
    with pytest.raises(Conflict, match="Who has the pollen says how warm it was"):
        feel(parcel, "cool", packet=None)
    assert not TemperatureUpload.objects.exists()
