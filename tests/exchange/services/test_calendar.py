"""What stands in whose calendar, and how an entry that changes, ends or comes back is told."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.models import CalendarEntry, CarrierService, LotOutlook, Offer, Reservation
from exchange.services import calendar
from exchange.services.agreement_change import agreement_send, agreement_withdraw
from exchange.services.block import block_create
from exchange.services.calendar import entries_told
from exchange.services.lot import lot_collect
from exchange.services.lot_change import lot_discard, lot_use_up
from exchange.services.packet import packet_fill
from growers import clock as project_clock
from growers.models import Grower
from growers.services.grower import grower_update
from tests.clock import MovableClock
from tests.exchange.bargain import Bargain, agree, make_bargain, propose, state_papers
from tests.exchange.packed import make_packed
from tests.exchange.plan import stands
from tests.exchange.society import NOON
from tests.factories import make_plant

pytestmark = pytest.mark.django_db


@pytest.fixture
def bargain(donor: Grower, recipient: Grower, clock: MovableClock) -> Bargain:
    clock.set(NOON)
    made = make_bargain(donor, recipient)
    stands(made.pairing)
    return made


def told(grower: Grower) -> list[CalendarEntry]:
    return entries_told(grower, project_clock.now())


def kinds(grower: Grower) -> dict[str, CalendarEntry]:
    """Entries by their uid without the id of the row that they are about."""
    return {row.uid[:-37]: row for row in told(grower)}


def days(row: CalendarEntry) -> tuple[str, str, str]:
    return row.content["summary"], row.content["first"], row.content["last"]


# --- agreements ---


def test_the_donor_reads_when_to_post_and_until_when(bargain: Bargain) -> None:
    agreement = agree(bargain.pairing)
    rows = kinds(bargain.donor)
    assert sorted(rows) == ["donor-post-by", "donor-post-on", "donor-reserved-until"]
    assert {row.uid[-36:] for row in rows.values()} == {str(agreement.public_id)}
    assert days(rows["donor-post-on"]) == ("Best day to post: pollen of 'Ferry'", "2027-07-08", "2027-07-08")
    assert rows["donor-post-by"].content == {
        "summary": "Post not later than this day: pollen of 'Ferry'",
        "description": (
            "2 doses. Someone in this region: Europe, northern temperate. What decides this date: the post,"
            " if it is slow."
        ),
        "first": "2027-07-15",
        "last": "2027-07-15",
        "at": None,
        "zone": "",
        "alarm": True,
    }
    until = agreement.reservations.get().reserved_until
    assert rows["donor-reserved-until"].content == {
        "summary": "Reservation ends: 2 doses of 'Ferry'",
        "description": "2 doses. Someone in this region: Europe, northern temperate.",
        "first": None,
        "last": None,
        "at": until.isoformat(),
        "zone": bargain.donor.zone,
        "alarm": True,
    }


@pytest.mark.parametrize("precision", ["days", "clock"])
def test_with_pollen_in_hand_and_a_known_cut_off_the_deadline_is_an_hour(
    bargain: Bargain, precision: str
) -> None:
    counter = CarrierService.objects.create(grower=bargain.donor, country="FR", cut_off=time(15, 30))
    Offer.objects.update(carrier_service=counter)
    stands(bargain.pairing, precision=precision)
    agree(bargain.pairing)
    content = kinds(bargain.donor)["donor-post-by"].content
    hour = ("Hand over by 15:30 (Europe/Paris): pollen of 'Ferry'", None, "2027-07-15T13:30:00+00:00")
    day = ("Post not later than this day: pollen of 'Ferry'", "2027-07-15", None)
    found = content["summary"], content["first"], content["at"]
    assert found == (hour if precision == "clock" else day)
    assert content["zone"] == ("Europe/Paris" if precision == "clock" else "")
    assert content["alarm"] is True


def test_the_recipient_reads_of_arrival_and_flowers(bargain: Bargain, recipient: Grower) -> None:
    agree(bargain.pairing)
    rows = kinds(recipient)
    assert sorted(rows) == ["recipient-arrival", "recipient-first-day-flowers", "recipient-reserved-until"]
    assert days(rows["recipient-arrival"]) == (
        "Likely to arrive: pollen of 'Ferry'",
        "2027-07-12",
        "2027-07-15",
    )
    # From half of the highest chance on, in one piece with the likely arrival on 12 July.
    assert days(rows["recipient-first-day-flowers"]) == (
        "First-day flowers likely: seed of recipient, for pollen of 'Ferry'",
        "2027-07-10",
        "2027-07-13",
    )
    description = rows["recipient-arrival"].content["description"]
    assert description == "2 doses. Someone in this region: Europe, northern temperate."


def test_nothing_of_the_other_but_the_region_is_in_it(bargain: Bargain, recipient: Grower) -> None:
    agree(bargain.pairing)
    for reader, other in ((bargain.donor, recipient), (recipient, bargain.donor)):
        text = str([(row.uid, row.content) for row in told(reader)])
        assert other.handle not in text.replace("seed of recipient", "").replace("recipient-", "").replace(
            "donor-", ""
        )
        assert "@" not in text and "pond" not in text and "48." not in text
    assert "seed of" not in str([row.content for row in told(bargain.donor)])


@pytest.mark.parametrize("precision", ["days", "clock"])
def test_a_date_that_is_known_to_the_season_only_is_no_day(bargain: Bargain, precision: str) -> None:
    agree(bargain.pairing)
    stands(bargain.pairing, precision="season")
    assert sorted(kinds(bargain.donor)) == ["donor-reserved-until"]
    stands(bargain.pairing, precision=precision)
    assert sorted(kinds(bargain.donor)) == ["donor-post-by", "donor-post-on", "donor-reserved-until"]


def test_without_a_deadline_or_flowers_in_the_picture_neither_is_told(
    bargain: Bargain, recipient: Grower
) -> None:
    agree(bargain.pairing)
    stands(bargain.pairing, not_later_than=None, arrival_half=date(2027, 7, 9))
    assert sorted(kinds(bargain.donor)) == ["donor-post-on", "donor-reserved-until"]
    assert sorted(kinds(recipient)) == ["recipient-arrival", "recipient-reserved-until"]


def test_before_both_yeses_and_for_others_there_is_nothing(
    bargain: Bargain, recipient: Grower, outsider: Grower
) -> None:
    propose(bargain.pairing)
    assert (told(bargain.donor), told(recipient)) == ([], [])
    agree(bargain.wanted_by(outsider))
    assert told(recipient) == []


def test_a_reservation_past_its_time_is_over_swept_or_not(bargain: Bargain, clock: MovableClock) -> None:
    agreement = agree(bargain.pairing)
    assert len(told(bargain.donor)) == 3
    clock.set(agreement.reservations.get().reserved_until + timedelta(seconds=1))
    assert {row.cancelled_at is not None for row in told(bargain.donor)} == {True}


def test_two_who_block_each_other_read_nothing_of_each_other(bargain: Bargain, recipient: Grower) -> None:
    agree(bargain.pairing)
    block_create(actor=recipient, blocked=bargain.donor)
    assert (told(bargain.donor), told(recipient)) == ([], [])


# --- pollen ---


def test_the_dates_of_a_lot_are_days_where_its_plant_is(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    lot = lot_collect(actor=donor, plant=make_plant(donor, name_as_grown="'Ferry'"), flowers_emptied=1)
    LotOutlook.objects.update(
        best_before_at="2027-07-13T23:00:00Z", worth_trying_until_at="2028-05-02T10:00:00Z", doubts=["thawed"]
    )
    code = f"{lot.code[:4]}-{lot.code[4:]}"
    rows = kinds(donor)
    assert sorted(rows) == ["lot-best-before", "lot-worth-trying-until"]
    assert days(rows["lot-best-before"]) == (
        f"Best before: pollen of 'Ferry', lot {code}",
        "2027-07-14",  # in Paris
        "2027-07-14",
    )
    assert days(rows["lot-worth-trying-until"]) == (
        f"Worth trying until about this day: pollen of 'Ferry', lot {code}",
        "2028-05-02",
        "2028-05-02",
    )
    assert {row.content["description"] for row in rows.values()} == {
        "It thawed; how much that costs is not known."
    }


def test_a_packet_is_in_the_calendar_of_whoever_holds_it(
    donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    packed = make_packed(donor, recipient)
    of_packet = {"packet-best-before", "packet-worth-trying-until"}
    assert of_packet <= kinds(donor).keys() and not of_packet & kinds(recipient).keys()
    packed.hand_over()
    packed.receive()
    stands = {kind for kind, row in kinds(recipient).items() if row.cancelled_at is None}
    assert {kind for kind in stands if kind.startswith("packet")} == of_packet
    summary = kinds(recipient)["packet-best-before"].content["summary"]
    assert summary.endswith(", packet 1")
    assert {row.cancelled_at is None for kind, row in kinds(donor).items() if kind in of_packet} == {False}


@pytest.mark.parametrize("end", [lot_use_up, lot_discard])
def test_a_lot_that_is_no_more_takes_its_dates_with_it(donor: Grower, clock: MovableClock, end: Any) -> None:
    clock.set(NOON)
    lot = lot_collect(actor=donor, plant=make_plant(donor), flowers_emptied=1, doses=3)
    packet_fill(actor=donor, lot=lot, doses=1)
    assert {row.cancelled_at for row in told(donor)} == {None}
    end(actor=donor, lot=lot)
    assert None not in {row.cancelled_at for row in told(donor)}


def test_a_partner_goes_on_with_a_packet_when_the_rest_is_used_up(
    donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    packed = make_packed(donor, recipient)
    packed.hand_over()
    packed.receive()
    state_papers(packed.agreement)
    agreement_send(actor=donor, agreement=packed.agreement)
    before = [row.uid for row in told(recipient) if row.cancelled_at is None]
    lot_use_up(actor=donor, lot=packed.lot)
    assert [row.uid for row in told(recipient) if row.cancelled_at is None] == before


# --- how changes are told ---


def test_what_did_not_change_keeps_its_number_and_its_time(bargain: Bargain, clock: MovableClock) -> None:
    agree(bargain.pairing)
    first = list(map(vars_of, told(bargain.donor)))
    clock.move(days=1)
    assert list(map(vars_of, told(bargain.donor))) == first
    assert {row["sequence"] for row in first} == {0}


def vars_of(row: CalendarEntry) -> dict[str, Any]:
    return {name: value for name, value in vars(row).items() if name != "_state"}


def test_a_changed_date_has_the_same_uid_and_the_next_number(bargain: Bargain, clock: MovableClock) -> None:
    agree(bargain.pairing)
    before = kinds(bargain.donor)
    clock.move(days=1)
    stands(bargain.pairing, not_later_than=date(2027, 7, 16))
    after = kinds(bargain.donor)
    changed = after["donor-post-by"]
    assert (changed.uid, changed.sequence) == (before["donor-post-by"].uid, 1)
    assert (changed.content["first"], changed.changed_at.date()) == ("2027-07-16", date(2027, 7, 2))
    assert {kind: row.sequence for kind, row in after.items()} == {
        "donor-post-by": 1,
        "donor-post-on": 0,
        "donor-reserved-until": 0,
    }


def test_what_holds_no_more_is_told_as_cancelled_for_thirty_days(
    bargain: Bargain, clock: MovableClock
) -> None:
    agreement = agree(bargain.pairing)
    before = kinds(bargain.donor)["donor-post-by"]
    agreement_withdraw(actor=bargain.donor, agreement=agreement)
    gone = kinds(bargain.donor)["donor-post-by"]
    assert (gone.uid, gone.sequence, gone.content) == (before.uid, 1, before.content)
    assert gone.cancelled_at == gone.changed_at
    clock.move(days=29, hours=23)
    assert len(told(bargain.donor)) == 3
    clock.move(hours=2)
    assert told(bargain.donor) == []


def test_what_comes_back_goes_on_counting(bargain: Bargain, clock: MovableClock) -> None:
    agree(bargain.pairing)
    told(bargain.donor)
    stands(bargain.pairing, precision="season")
    told(bargain.donor)
    Reservation.objects.update(reserved_until=NOON + timedelta(days=90))
    clock.move(days=31)
    assert sorted(kinds(bargain.donor)) == ["donor-reserved-until"]
    stands(bargain.pairing, precision="days")
    row = kinds(bargain.donor)["donor-post-by"]
    assert (row.sequence, row.cancelled_at) == (2, None)


def test_another_name_is_another_text(bargain: Bargain) -> None:
    agree(bargain.pairing)
    told(bargain.donor)
    bargain.offer.plant.name_as_grown = "'Punt'"
    bargain.offer.plant.save()
    assert {row.sequence for row in told(bargain.donor)} == {1}
    assert all("'Punt'" in row.content["summary"] for row in told(bargain.donor))


def test_two_readers_at_once_change_nothing_twice(bargain: Bargain, monkeypatch: pytest.MonkeyPatch) -> None:
    agree(bargain.pairing)
    told(bargain.donor)
    stands(bargain.pairing, not_later_than=date(2027, 7, 16))
    found = calendar._bring_up_to_date
    between: list[bool] = []

    def interrupted(*arguments: Any) -> bool:
        """Another reader does it all between our reading and our writing."""
        if not between:
            between.append(True)
            told(bargain.donor)
        return found(*arguments)

    monkeypatch.setattr(calendar, "_bring_up_to_date", interrupted)
    rows = kinds(bargain.donor)
    assert between and rows["donor-post-by"].sequence == 1


def test_two_first_readers_at_once_write_each_entry_once(
    bargain: Bargain, monkeypatch: pytest.MonkeyPatch
) -> None:
    agree(bargain.pairing)
    found = calendar._bring_up_to_date
    between: list[bool] = []

    def interrupted(*arguments: Any) -> bool:
        if not between:
            between.append(True)
            told(bargain.donor)
        return found(*arguments)

    monkeypatch.setattr(calendar, "_bring_up_to_date", interrupted)
    assert [row.sequence for row in told(bargain.donor)] == [0, 0, 0]
    assert CalendarEntry.objects.count() == 3


def test_the_end_of_a_reservation_is_shown_on_the_clock_of_its_reader(bargain: Bargain) -> None:
    grower_update(actor=bargain.donor, zone="Australia/Lord_Howe")
    bargain.donor.refresh_from_db()
    agree(bargain.pairing)
    content = kinds(bargain.donor)["donor-reserved-until"].content
    assert content["zone"] == "Australia/Lord_Howe"
    shown = datetime.fromisoformat(content["at"]).astimezone(ZoneInfo(content["zone"]))
    assert shown.utcoffset() == timedelta(hours=10.5) and shown.tzinfo is not UTC


@pytest.mark.parametrize("lots", [10, 100])
def test_reading_costs_the_same_with_ten_entries_and_with_a_hundred(bargain: Bargain, lots: int) -> None:
    agree(bargain.pairing)
    plant = bargain.offer.plant
    for _ in range(lots // 2):
        lot_collect(actor=bargain.donor, plant=plant, flowers_emptied=1)
    costs = []
    for _ in range(2):
        with CaptureQueriesContext(connection) as captured:
            rows = told(bargain.donor)
        costs.append(len(captured))
    assert len(rows) == lots + 3
    # Six reads; the first time also the entries between BEGIN and COMMIT, and they are read again.
    assert costs[1] == 6 and costs[0] <= 10
