"""Loggers' files: shown first, stored once, told to both; and nothing of a file that is wrong."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from exchange.models import CustodyEvent, DueTask, LotOutlook, Notification, TemperatureUpload
from exchange.science.logger_choice import LoggerChoices
from exchange.science.logger_packing import unpack_readings
from exchange.services import temperature as temperature_service
from exchange.services.lot_change import lot_correct
from exchange.services.packet import packet_receive
from exchange.services.store import store_of_kind
from exchange.services.temperature import temperature_apply, temperature_preview
from exchange.services.temperature_file import WithPollen
from growers.errors import Conflict, InvalidInput, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.logger import (
    HANDED_OVER,
    OPENED,
    OnTheWay,
    between,
    confirmed,
    instant,
    log_of,
    long_log,
    on_the_way,
    steady,
)
from tests.science.test_logger_malformed import AS_IT_IS, Told

pytestmark = pytest.mark.django_db


@pytest.fixture
def parcel(donor: Grower, recipient: Grower, clock: MovableClock) -> OnTheWay:
    return on_the_way(donor, recipient, clock)


def apply(parcel: OnTheWay, content: bytes, **changes: Any) -> TemperatureUpload:
    """The recipient applies a file to the packet as it is read."""
    stated = {"actor": parcel.recipient, "lot": parcel.lot, "packet": parcel.packet}
    choices = changes.pop("choices", None) or confirmed(content)
    return temperature_apply(**{**stated, **changes}, content=content, choices=choices)


def the_event() -> CustodyEvent:
    return CustodyEvent.objects.get(kind="temperature_read")


def told() -> list[str]:
    """Who was told of temperatures."""
    rows = Notification.objects.filter(custody_event__kind="temperature_read")
    return sorted(rows.values_list("grower__handle", flat=True))


def written() -> tuple[int, ...]:
    """How much stands in every table that an upload touches, and when outlooks were reckoned."""
    tables: list[Any] = [TemperatureUpload, CustodyEvent, Notification, DueTask, LotOutlook]
    return tuple(table.objects.count() for table in tables)


def outlook_of_packet() -> LotOutlook:
    return LotOutlook.objects.get(packet__isnull=False)


def refused(parcel: OnTheWay, content: bytes, **changes: Any) -> list[tuple[str, str]]:
    """Pointers and codes of a refusal that wrote nothing."""
    before = written()
    with pytest.raises(InvalidInput) as caught:
        apply(parcel, content, **changes)
    assert written() == before
    return [(problem.pointer, problem.code) for problem in caught.value.problems]


# --- three loggers: hours of heat, cold all the way, more heat than the curve knows ---


def test_logger_a_six_hours_at_34_degrees_move_best_before_earlier(parcel: OnTheWay) -> None:
    apply(parcel, log_of(between(30.0, 36.0, 34.0, parcel.planned)))
    event = the_event()
    before, after = event.parameters["before"], event.parameters["after"]
    assert instant(after["best_before"]) < instant(before["best_before"]) - timedelta(hours=12)
    assert instant(after["worth_trying_until"]) < instant(before["worth_trying_until"])
    assert event.parameters["new_doubts"] == []
    assert outlook_of_packet().best_before_at == instant(after["best_before"])
    assert told() == ["donor", "recipient"]


def test_a_log_of_the_planned_profile_moves_nothing_by_more_than_a_few_hours(parcel: OnTheWay) -> None:
    apply(parcel, log_of(parcel.planned))
    moved = instant(the_event().parameters["after"]["best_before"]) - instant(
        the_event().parameters["before"]["best_before"]
    )
    assert abs(moved) <= timedelta(hours=3)


def test_logger_b_five_degrees_all_the_way_move_best_before_later(parcel: OnTheWay) -> None:
    apply(parcel, log_of(steady(5.0)))
    event = the_event()
    before, after = event.parameters["before"], event.parameters["after"]
    assert instant(after["best_before"]) > instant(before["best_before"]) + timedelta(hours=6)
    assert outlook_of_packet().doubts == []
    assert told() == ["donor", "recipient"]


def test_logger_c_two_hours_at_38_degrees_put_the_packet_in_doubt(parcel: OnTheWay) -> None:
    apply(parcel, log_of(between(30.0, 32.0, 38.0, steady(5.0))))
    assert the_event().parameters["new_doubts"] == ["heat"]
    assert outlook_of_packet().doubts == ["heat"]
    assert LotOutlook.objects.get(packet=None).doubts == []
    assert told() == ["donor", "recipient"]


@pytest.mark.parametrize("profile", ["A", "B", "C"])
def test_the_same_file_again_changes_nothing_and_tells_nobody(
    parcel: OnTheWay, clock: MovableClock, profile: str
) -> None:
    warm = {"A": (6.0, 34.0), "B": (0.0, 5.0), "C": (2.0, 38.0)}[profile]
    content = log_of(between(30.0, 30.0 + warm[0], warm[1], steady(5.0)))
    apply(parcel, content)
    before, outlook = written(), outlook_of_packet()
    clock.set(OPENED + timedelta(hours=1))
    for actor in (parcel.recipient, parcel.donor):
        with pytest.raises(Conflict, match="read already"):
            apply(parcel, content, actor=actor)
    assert written() == before
    assert outlook_of_packet().reckoned_at == outlook.reckoned_at
    apply(parcel, content, packet=None, lot=parcel.lot, actor=parcel.donor)
    assert TemperatureUpload.objects.count() == 2


def test_the_summary_is_stored_and_told_with_the_event(parcel: OnTheWay) -> None:
    upload = apply(parcel, log_of(between(30.0, 32.0, 38.0, steady(5.0))))
    shown = {name: upload.summary[name] for name in ("readings", "minimum_c", "maximum_c", "span_hours")}
    assert shown == {"readings": 433, "minimum_c": 5.0, "maximum_c": 38.0, "span_hours": 72.0}
    # Ten minutes up from 5 to 38 °C and down again: (38 − 8) / 33 of each is above 8 °C.
    assert upload.summary["hours_above_8_c"] == pytest.approx(2.0 + 2 * (30 / 33) / 6, abs=0.01)
    assert upload.summary["worst_day_kinetic_c"] > upload.summary["mean_kinetic_c"] > 5.0
    assert the_event().parameters["summary"]["thermal_age_days"] == upload.summary["thermal_age_days"]
    assert 3.0 < upload.summary["thermal_age_days"] < 6.5


def test_readings_are_kept_bit_by_bit_and_what_was_confirmed_beside_them(parcel: OnTheWay) -> None:
    content = log_of(steady(5.25), hours=1.0)
    upload = TemperatureUpload.objects.get(pk=apply(parcel, content).pk)
    seconds, temperature_c = unpack_readings(bytes(upload.readings or b""))
    assert seconds.tolist() == [HANDED_OVER.timestamp() + 600.0 * place for place in range(7)]
    assert temperature_c.tolist() == [5.25] * 7
    assert (upload.began_at, upload.ended_at) == (HANDED_OVER, HANDED_OVER + timedelta(hours=1))
    assert upload.confirmed == {
        "delimiter": ";",
        "decimal_mark": ".",
        "time_columns": ["Time (UTC)"],
        "temperature_column": "Temperature (°C)",
        "unit": "C",
        "date_order": "year_first",
        "zone": "UTC",
        "clock": "stays",
        "with_it_since": None,
        "with_it_until": None,
    }


# --- preview ---


def test_a_preview_shows_all_that_applying_does_and_stores_nothing(parcel: OnTheWay) -> None:
    content = log_of(between(30.0, 32.0, 38.0, steady(5.0)))
    before = written()
    shown = temperature_preview(actor=parcel.recipient, lot=parcel.lot, packet=parcel.packet, content=content)
    assert written() == before
    assert shown.file.layout.complete and shown.file.findings == ()
    assert shown.first is not None and shown.last is not None
    assert (shown.first.at, shown.first.local, shown.first.zone) == (
        HANDED_OVER,
        "2027-07-03T12:00:00+00:00",
        "UTC",
    )
    assert (shown.last.at, shown.last.row, shown.last.temperature_c) == (OPENED, 434, 5.0)
    assert shown.new_doubts == ("heat",)
    upload = apply(parcel, content)
    assert {**(shown.summary or {}), "findings_count": 0} == upload.summary
    assert shown.after is not None and shown.before is not None
    parameters = the_event().parameters
    assert instant(parameters["after"]["best_before"]) == shown.after.best_before
    assert instant(parameters["before"]["best_before"]) == shown.before.best_before


def test_an_open_question_is_shown_with_no_dates_and_answered_by_a_choice(parcel: OnTheWay) -> None:
    content = log_of(steady(5.0)).replace(b"Time (UTC)", b"Time")
    who: dict[str, Any] = {"actor": parcel.recipient, "lot": parcel.lot, "packet": parcel.packet}
    shown = temperature_preview(**who, content=content)
    assert [(each.name, each.code) for each in shown.file.layout.questions] == [("zone", "zone_open")]
    assert (shown.first, shown.summary, shown.after) == (None, None, None)
    shown = temperature_preview(**who, content=content, choices=LoggerChoices(zone="-02:00"))
    assert shown.first is not None
    assert (shown.first.at, shown.first.local) == (
        HANDED_OVER + timedelta(hours=2),
        "2027-07-03T12:00:00-02:00",
    )


def test_the_zone_of_cells_with_offsets_is_confirmed_as_shown(parcel: OnTheWay) -> None:
    rows = [f"2027-07-03T{hour}:00:00+02:00;5.0" for hour in (14, 15, 16)]
    content = "\n".join(["Time;Temp (°C)", *rows]).encode()
    choices = confirmed(content)
    assert choices.zone == "cells"
    assert apply(parcel, content, choices=choices).began_at == HANDED_OVER


# --- what is refused ---


def test_every_choice_must_be_confirmed(parcel: OnTheWay) -> None:
    content = log_of(steady(5.0))
    assert refused(parcel, content, choices=LoggerChoices(zone="UTC", unit="C")) == [
        ("/delimiter", "not_confirmed"),
        ("/decimal_mark", "not_confirmed"),
        ("/time_columns", "not_confirmed"),
        ("/temperature_column", "not_confirmed"),
        ("/date_order", "not_confirmed"),
        ("/clock", "not_confirmed"),
    ]
    other = replace(confirmed(content), clock="follows")
    assert refused(parcel, content, choices=other) == [("/clock", "not_allowed")]
    other = replace(confirmed(content), unit="F")
    assert refused(parcel, content, choices=other) == [("row 1", "unit_contradicted")]


def pointer(row: int | None, column: str) -> str:
    return "/file" if row is None else f"row {row}" + (f" column {column}" if column else "")


QUESTION_CODES = {
    "zone_open",
    "unit_open",
    "date_order_open",
    "dates_of_two_orders",
    "both_decimal_marks",
    "fahrenheit_suspected",
    "units_differ",
    "several_temperature_columns",
    "no_temperature_column",
    "several_time_columns",
    "zone_statements_differ",
    "summer_time_changes",
}


@pytest.mark.parametrize(
    ("content", "choices", "expected"), [row[1:] for row in AS_IT_IS], ids=[row[0] for row in AS_IT_IS]
)
def test_a_file_that_is_wrong_is_refused_with_reasons_and_never_written(
    parcel: OnTheWay, content: bytes | str, choices: LoggerChoices, expected: list[Told]
) -> None:
    file = content.encode() if isinstance(content, str) else content
    who: dict[str, Any] = {"actor": parcel.recipient, "lot": parcel.lot, "packet": parcel.packet}
    found = set(refused(parcel, file, choices=choices))
    before = written()
    try:
        shown = temperature_preview(**who, content=file, choices=choices).file
    except InvalidInput as error:
        found = {(problem.pointer, problem.code) for problem in error.problems}
    else:
        found |= {(pointer(each.row, each.column), each.code) for each in shown.findings}
        found |= {(pointer(each.row, each.name), each.code) for each in shown.layout.questions}
    assert written() == before
    assert {(pointer(row, column), code) for code, row, column in expected} <= found


def test_a_reading_still_to_come_names_its_row(parcel: OnTheWay) -> None:
    content = log_of(steady(5.0), hours=73.0)
    assert refused(parcel, content) == [("row 436 column Time (UTC)", "in_the_future")]


def test_a_log_of_another_time_is_refused(parcel: OnTheWay) -> None:
    content = log_of(steady(5.0), first=datetime(2027, 6, 1, tzinfo=UTC))
    assert refused(parcel, content) == [("/file", "not_of_its_time")]
    content = log_of(steady(5.0))
    after = WithPollen(since=OPENED + timedelta(hours=1))
    assert refused(parcel, content, beside=after) == [("/file", "not_of_its_time")]


@pytest.mark.parametrize("step", ["custody_note", "custody_tell", "outlooks_renew_later"])
def test_a_failure_half_way_leaves_nothing(
    parcel: OnTheWay, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    def fails(*_: Any, **__: Any) -> None:
        assert TemperatureUpload.objects.count() == 1  # its row stands already
        raise RuntimeError("the worker dies")

    before = written()
    monkeypatch.setattr(f"exchange.services.temperature_subject.{step}", fails)
    with pytest.raises(RuntimeError):
        apply(parcel, log_of(steady(5.0)))
    assert written() == before
    monkeypatch.undo()
    apply(parcel, log_of(steady(5.0)))
    assert told() == ["donor", "recipient"]


def test_an_outlook_that_was_not_renewed_is_renewed_by_the_sweep(
    parcel: OnTheWay, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(_: Any) -> None:
        raise RuntimeError("the worker dies")

    monkeypatch.setattr(temperature_service, "outlook_renew", fails)
    with pytest.raises(RuntimeError):
        apply(parcel, log_of(steady(5.0)))
    assert DueTask.objects.filter(kind="lot_outlook", subject_id=parcel.lot.pk).exists()
    assert TemperatureUpload.objects.count() == 1


# --- who may ---


def test_the_holder_and_the_recipient_of_a_packet_may_and_the_owner_of_the_lot(
    parcel: OnTheWay, outsider: Grower, clock: MovableClock
) -> None:
    content, other = log_of(steady(5.0)), log_of(steady(6.0))
    refusals: list[tuple[dict[str, Any], type[Exception]]] = [
        ({"actor": outsider}, NotFound),
        ({"actor": outsider, "packet": None}, NotFound),
        ({"actor": parcel.recipient, "packet": None}, Conflict),
    ]
    for changes, error in refusals:
        before = written()
        with pytest.raises(error):
            apply(parcel, content, **changes)
        assert written() == before
    apply(parcel, content, actor=parcel.donor)
    store = store_of_kind(parcel.recipient, "refrigerator")
    packet_receive(actor=parcel.recipient, packet=parcel.packet, store=store)
    parcel.packet.refresh_from_db()
    with pytest.raises(Conflict, match="Who has the pollen says how warm it was"):
        apply(parcel, other, actor=parcel.donor)
    apply(parcel, other)
    apply(parcel, other, actor=parcel.donor, packet=None)


# --- which readings count ---


def test_what_the_logger_read_before_the_packet_was_filled_is_kept_and_does_not_count(
    parcel: OnTheWay,
) -> None:
    early = HANDED_OVER - timedelta(hours=6)
    content = log_of(between(0.0, 4.0, 45.0, steady(5.0)), first=early, hours=78.0)
    upload = apply(parcel, content)
    assert upload.summary["maximum_c"] == 5.0
    assert upload.summary["readings"] == 73 * 6  # the packet was filled a moment after eleven
    assert len(unpack_readings(bytes(upload.readings or b""))[0]) == 78 * 6 + 1
    assert the_event().parameters["new_doubts"] == []


def test_what_it_read_after_it_was_taken_out_does_not_count(parcel: OnTheWay) -> None:
    content = log_of(between(70.0, 72.0, 40.0, steady(5.0)))
    upload = apply(parcel, content, beside=WithPollen(until=HANDED_OVER + timedelta(hours=69)))
    assert (upload.summary["maximum_c"], upload.summary["span_hours"]) == (5.0, 69.0)
    assert outlook_of_packet().doubts == []


def test_a_gap_is_assumed_warm_and_said_to_be(parcel: OnTheWay) -> None:
    rows = log_of(steady(5.0)).split(b"\n")
    silent = b"\n".join([*rows[:61], *rows[205:]])  # from hour 10 − 1/6 to hour 34
    whole = apply(parcel, log_of(steady(5.0)))
    best = outlook_of_packet().best_before_at
    TemperatureUpload.objects.filter(pk=whole.pk).delete()
    upload = apply(parcel, silent)
    kept = outlook_of_packet()
    assert upload.summary["assumed_hours"] == pytest.approx(34.0 - 59 / 6, abs=0.01)
    assert kept.basis["temperatures"].count("logger_gap") == 1
    assert kept.best_before_at is not None and best is not None
    assert kept.best_before_at < best - timedelta(hours=24)
    shown = temperature_preview(actor=parcel.recipient, lot=parcel.lot, packet=parcel.packet, content=silent)
    assert [(each.code, each.row) for each in shown.file.findings] == [("gap", 62)]


def test_a_lot_that_was_cut_later_than_first_said_takes_fewer_readings(
    parcel: OnTheWay, clock: MovableClock
) -> None:
    noon = HANDED_OVER - timedelta(days=2)
    content = log_of(between(0.0, 3.0, 45.0, steady(5.0)), first=noon, hours=24.0)
    apply(parcel, content, packet=None, actor=parcel.donor)
    assert LotOutlook.objects.get(packet=None).doubts == ["heat"]
    lot_correct(actor=parcel.donor, lot=parcel.lot, collected_hour=18, flowers_emptied=2)
    assert LotOutlook.objects.get(packet=None).doubts == []


# --- long files ---


def test_a_hundred_thousand_rows_are_shown_and_applied(parcel: OnTheWay) -> None:
    content = long_log(100_000)
    shown = temperature_preview(actor=parcel.recipient, lot=parcel.lot, packet=parcel.packet, content=content)
    assert shown.summary is not None
    upload = apply(parcel, content)
    assert upload.summary == {**shown.summary, "findings_count": 0}
    figures = {name: upload.summary[name] for name in ("readings", "minimum_c", "maximum_c", "span_hours")}
    assert figures == {"readings": 100_000, "minimum_c": 5.0, "maximum_c": 5.6, "span_hours": 72.0}
    assert upload.summary["mean_kinetic_c"] == pytest.approx(5.3, abs=0.02)
