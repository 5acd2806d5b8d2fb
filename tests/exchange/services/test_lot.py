"""Lots: collected with defaults that are stated and gaps that stay gaps; every deed with its event."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from exchange.models import CustodyEvent, Lot, LotOutlook, NoteKey, Stay, Store, Supply
from exchange.models.lot_code import code_read
from exchange.selectors.lot_time import cut_at
from exchange.services.account import account_close
from exchange.services.due import run_due
from exchange.services.lot import lot_collect
from exchange.services.lot_change import (
    ALLOWED,
    lot_correct,
    lot_discard,
    lot_dried,
    lot_move,
    lot_put_in_fluid,
    lot_use_up,
)
from exchange.services.note_key import notes_opened
from exchange.services.store import store_create, store_of_kind, store_update
from growers import clock as project_clock
from growers.errors import Conflict, InvalidInput, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.refusal import problems, refused, rows
from tests.exchange.society import FRANCE, NOON
from tests.factories import make_plant, make_site

pytestmark = pytest.mark.django_db
KINDS = CustodyEvent.Kind


@pytest.fixture(autouse=True)
def noon(clock: MovableClock) -> None:
    clock.set(NOON)


@pytest.fixture
def lot(donor: Grower) -> Lot:
    """Two flowers of a hardy plant near Paris, collected at eight this morning."""
    plant = make_plant(donor, site=make_site(donor, **FRANCE), name_as_grown="'Ferry'")
    return lot_collect(actor=donor, plant=plant, flowers_emptied=2, collected_hour=8, doses=4)


def kinds(lot: Lot) -> list[str]:
    return list(lot.events.order_by("pk").values_list("kind", flat=True))


def test_all_but_plant_and_flowers_has_a_default_or_is_not_stated(donor: Grower) -> None:
    lot = lot_collect(actor=donor, plant=make_plant(donor), flowers_emptied=3)
    assert (lot.collected_on, lot.treatment, lot.state, lot.doses) == (NOON.date(), "dried", "drying", 3)
    assert (lot.flower_day, lot.collected_hour, lot.netted_before_opening, lot.dried_at) == (None,) * 4
    assert (lot.store.kind, lot.collected_by) == ("refrigerator", donor)
    assert code_read(lot.code) == lot.code
    assert Supply.objects.get(lot=lot).left == 3


def test_a_lot_begins_with_a_stay_an_event_and_dates(lot: Lot) -> None:
    eight = datetime(2027, 7, 1, 6, tzinfo=UTC)
    assert Stay.objects.values_list("store", "since", "until").get() == (lot.store_id, eight, None)
    event = CustodyEvent.objects.get()
    assert (event.kind, event.occurred_at, event.zone) == ("collected", eight, "Europe/Paris")
    assert timedelta() <= event.created_at - NOON < timedelta(minutes=1)
    assert event.parameters == {"flowers": 2, "doses": 4, "treatment": "dried", "store": "refrigerator"}
    outlook = LotOutlook.objects.get(lot=lot)
    assert outlook.best_before_at is not None and outlook.worth_trying_until_at is not None
    # One day at 22 °C while it dries counts 4.1 days of the 19.9 that other plants give it.
    left = outlook.best_before_at - eight
    assert timedelta(days=16) < left < timedelta(days=18)


def test_what_is_in_the_freezer_was_dried_first(donor: Grower) -> None:
    plant = make_plant(donor)
    frozen = lot_collect(actor=donor, plant=plant, flowers_emptied=1, treatment="frozen")
    assert frozen.store.kind == "freezer"
    store = store_create(actor=donor, name="chest", kind="chest_freezer")
    found = problems(lambda: lot_collect(actor=donor, plant=plant, flowers_emptied=1, store=store))
    assert found == {
        "/store": "store is 'chest_freezer'; allowed: refrigerator; only dried pollen may be frozen,"
        " treatment frozen."
    }


@pytest.mark.parametrize(
    ("fields", "pointer", "sentence"),
    [
        (
            {"flowers_emptied": 0},
            "/flowers_emptied",
            "flowers_emptied is 0; allowed: whole numbers from 1 to 200.",
        ),
        ({"flower_day": 8}, "/flower_day", "flower_day is 8; allowed: whole numbers from 1 to 7."),
        (
            {"collected_hour": 24},
            "/collected_hour",
            "collected_hour is 24; allowed: whole numbers from 0 to 23.",
        ),
        ({"doses": 1000}, "/doses", "doses is 1000; allowed: whole numbers from 1 to 999."),
        (
            {"collected_on": date(2027, 7, 2)},
            "/collected_on",
            "collected_on is 2027-07-02; allowed: a day up to today, 2027-07-01.",
        ),
        ({"treatment": "pickled"}, "/treatment", "treatment is 'pickled'; allowed: fresh, dried, frozen."),
    ],
)
def test_what_cannot_be_is_refused(
    donor: Grower, fields: dict[str, Any], pointer: str, sentence: str
) -> None:
    plant = make_plant(donor)
    store_of_kind(donor, "refrigerator")
    found = problems(lambda: lot_collect(actor=donor, plant=plant, **{"flowers_emptied": 1, **fields}))
    assert found == {pointer: sentence}


def test_only_of_ones_own_plant_and_into_ones_own_store(donor: Grower, outsider: Grower) -> None:
    plant, store = make_plant(donor), store_create(actor=outsider, name="x", kind="refrigerator")
    refused(lambda: lot_collect(actor=outsider, plant=plant, flowers_emptied=1), NotFound)
    refused(lambda: lot_collect(actor=donor, plant=plant, flowers_emptied=1, store=store), NotFound)


# --- deeds ---


def test_dry_is_said_once_and_counts_from_then(lot: Lot, donor: Grower, clock: MovableClock) -> None:
    clock.move(hours=40)
    dried = lot_dried(actor=donor, lot=lot, occurred_at=NOON + timedelta(hours=10))
    assert (dried.state, dried.dried_at) == ("stored", NOON + timedelta(hours=10))
    assert kinds(lot) == ["collected", "dried"]
    error = refused(lambda: lot_dried(actor=donor, lot=lot), Conflict)
    assert error.detail == (
        "The lot is stored and cannot become stored; allowed: discarded, in_fluid, used_up."
    )


def test_a_move_ends_a_stay_and_begins_another(lot: Lot, donor: Grower, clock: MovableClock) -> None:
    lot_dried(actor=donor, lot=lot)
    chest = store_create(actor=donor, name="chest", kind="chest_freezer", temperature_c=-20.0)
    clock.move(days=3)
    at = NOON + timedelta(days=2)
    moved = lot_move(actor=donor, lot=lot, store=chest, occurred_at=at)
    assert (moved.store, moved.treatment) == (chest, "frozen")
    assert list(Stay.objects.order_by("pk").values_list("store__kind", "until")) == [
        ("refrigerator", at),
        ("chest_freezer", None),
    ]
    event = moved.events.get(kind=KINDS.MOVED)
    assert event.parameters == {"origin": "refrigerator", "store": "chest_freezer"}


def test_undried_pollen_in_a_freezer_is_noted_and_doubtful(donor: Grower) -> None:
    lot = lot_collect(
        actor=donor, plant=make_plant(donor), flowers_emptied=1, treatment="fresh", collected_hour=6
    )
    moved = lot_move(actor=donor, lot=lot, store=store_of_kind(donor, "frost_free_freezer"))
    assert moved.treatment == "fresh"
    assert LotOutlook.objects.get(lot=lot).doubts == ["frozen_undried"]


def test_a_lot_that_is_drying_is_not_frozen(lot: Lot, donor: Grower) -> None:
    chest = store_of_kind(donor, "chest_freezer")
    error = refused(lambda: lot_move(actor=donor, lot=lot, store=chest), Conflict)
    assert error.detail == "The lot is drying; say that it is dry, then freeze it."


def test_pollen_in_fluid_has_no_dates(lot: Lot, donor: Grower) -> None:
    assert lot_put_in_fluid(actor=donor, lot=lot).state == "in_fluid"
    outlook = LotOutlook.objects.get(lot=lot)
    assert (outlook.best_before_at, outlook.worth_trying_until_at, outlook.doubts) == (
        None,
        None,
        ["in_fluid"],
    )


@pytest.mark.parametrize(("end", "state"), [(lot_use_up, "used_up"), (lot_discard, "discarded")])
def test_an_end_is_the_end(lot: Lot, donor: Grower, end: Callable[..., Lot], state: str) -> None:
    assert end(actor=donor, lot=lot, note="mould").state == state
    assert Supply.objects.get(lot=lot).left == 0
    error = refused(lambda: lot_dried(actor=donor, lot=lot), Conflict)
    assert error.detail == f"The lot is {state.replace('_', ' ')}; that is its end."


def test_every_state_is_in_the_table_and_the_ends_are_ends() -> None:
    assert set(ALLOWED) == set(Lot.State)
    assert {state for state, after in ALLOWED.items() if not after} == {"used_up", "discarded"}


DEEDS: list[Callable[..., object]] = [lot_dried, lot_put_in_fluid, lot_use_up, lot_discard, lot_correct]


@pytest.mark.parametrize("deed", DEEDS)
def test_nobody_else_does_anything_with_it(lot: Lot, outsider: Grower, deed: Callable[..., object]) -> None:
    refused(lambda: deed(actor=outsider, lot=lot), NotFound)


@pytest.mark.parametrize(
    ("hours", "sentence"),
    [
        (1, "occurred_at is '2027-07-01T13:00:00+00:00'; allowed: up to now, 2027-07-01T12:00+00:00."),
        (
            -7,
            "occurred_at is '2027-07-01T05:00:00+00:00'; allowed: since it was collected,"
            " 2027-07-01T06:00:00+00:00.",
        ),
    ],
)
def test_a_deed_is_not_ahead_and_not_before_the_flower(
    lot: Lot, donor: Grower, hours: int, sentence: str
) -> None:
    at = NOON + timedelta(hours=hours)
    assert problems(lambda: lot_dried(actor=donor, lot=lot, occurred_at=at)) == {"/occurred_at": sentence}


def test_a_phone_clock_may_be_some_minutes_fast(lot: Lot, donor: Grower) -> None:
    at = NOON + timedelta(minutes=9)
    assert lot_dried(actor=donor, lot=lot, occurred_at=at).dried_at == at


# --- put right ---


def test_a_correction_keeps_what_was_said_before(lot: Lot, donor: Grower) -> None:
    put_right = lot_correct(actor=donor, lot=lot, flowers_emptied=3, collected_on=date(2027, 6, 30))
    assert (put_right.flowers_emptied, put_right.collected_on) == (3, date(2027, 6, 30))
    event = put_right.events.get(kind=KINDS.CORRECTED)
    assert event.corrects == put_right.events.get(kind=KINDS.COLLECTED)
    assert event.parameters == {
        "before": {"flowers_emptied": 2, "collected_on": "2027-07-01"},
        "after": {"flowers_emptied": 3, "collected_on": "2027-06-30"},
    }
    assert Stay.objects.get().since == datetime(2027, 6, 30, 6, tzinfo=UTC)


def test_what_is_right_is_not_corrected(lot: Lot, donor: Grower) -> None:
    refused(lambda: lot_correct(actor=donor, lot=lot, flowers_emptied=2), Conflict)
    found = problems(lambda: lot_correct(actor=donor, lot=lot, flower_day=9))
    assert found == {"/flower_day": "flower_day is 9; allowed: whole numbers from 1 to 7."}


# --- notes ---


def opened(lot: Lot) -> dict[int, str]:
    events = lot.events.exclude(sealed_note=None)
    return notes_opened(
        {event.pk: (event.actor_id or 0, bytes(event.sealed_note or b"")) for event in events}
    )


def test_notes_are_sealed_and_go_with_the_account(lot: Lot, donor: Grower) -> None:
    lot_dried(actor=donor, lot=lot, note="mother's airing cupboard")
    event = lot.events.get(kind=KINDS.DRIED)
    assert b"airing" not in bytes(event.sealed_note or b"")
    assert list(opened(lot).values()) == ["mother's airing cupboard"]
    account_close(actor=donor)
    assert opened(lot) == {}
    assert not NoteKey.objects.exists()
    assert kinds(lot) == ["collected", "dried"]
    assert lot.events.get(kind=KINDS.DRIED).actor == donor


# --- stores ---


def test_a_store_has_a_name_of_its_own_and_a_temperature_of_its_kind(donor: Grower, outsider: Grower) -> None:
    made = store_create(actor=donor, name="kitchen", kind="refrigerator", temperature_c=6.5)
    assert Store.objects.values_list("name", "kind", "temperature_c").get() == (
        "kitchen",
        "refrigerator",
        6.5,
    )
    error = refused(lambda: store_create(actor=donor, name="kitchen", kind="freezer"), Conflict)
    assert error.detail == "You have a store called kitchen."
    found = problems(lambda: store_create(actor=donor, name="attic", kind="chest_freezer", temperature_c=3.0))
    assert found == {
        "/temperature_c": "temperature_c is 3.0; allowed: 0 °C or less; what is warmer is a refrigerator."
    }
    refused(lambda: store_update(actor=outsider, store=made, name="mine"), NotFound)


def test_a_warmer_store_brings_the_dates_of_what_lies_in_it_forward(
    lot: Lot, donor: Grower, clock: MovableClock
) -> None:
    before = LotOutlook.objects.get(lot=lot).best_before_at
    store_update(actor=donor, store=lot.store, temperature_c=9.0)
    run_due(project_clock.now(), 10)
    after = LotOutlook.objects.get(lot=lot).best_before_at
    assert before is not None and after is not None and after < before


def test_a_refusal_changes_nothing_even_in_the_middle(
    lot: Lot, donor: Grower, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise InvalidInput("no room")

    before = rows()
    monkeypatch.setattr("exchange.services.lot_acting.outlooks_renew_later", fails)
    with pytest.raises(InvalidInput, match="no room"):
        lot_dried(actor=donor, lot=lot)
    assert rows() == before


# --- the hour ---


def test_pollen_noted_before_the_usual_hour_was_cut_when_it_was_noted(
    donor: Grower, clock: MovableClock
) -> None:
    """At six in the morning in Paris; nothing of it may wait for nine."""
    six = datetime(2027, 7, 1, 4, tzinfo=UTC)
    clock.set(six)
    plant = make_plant(donor, site=make_site(donor, **FRANCE))
    lot = lot_collect(actor=donor, plant=plant, flowers_emptied=1)
    assert abs(cut_at(lot) - six) < timedelta(minutes=1)
    clock.move(minutes=5)
    assert lot_put_in_fluid(actor=donor, lot=lot).state == "in_fluid"


def test_an_hour_that_has_not_begun_is_refused(donor: Grower) -> None:
    plant = make_plant(donor, site=make_site(donor, **FRANCE))
    store_of_kind(donor, "refrigerator")
    found = problems(lambda: lot_collect(actor=donor, plant=plant, flowers_emptied=1, collected_hour=15))
    assert found == {
        "/collected_hour": "collected_hour is 15; allowed: an hour that has begun, on the plant's clock."
    }
