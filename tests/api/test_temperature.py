"""Temperatures over the API: a preview, what was confirmed, a photo without its place, and for whom."""

import io
import json
import uuid
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart
from PIL import Image

from exchange.api.v1.temperature_form import LoggerFormParser
from exchange.models import CustodyEvent, Notification, TemperatureUpload
from growers.models import Grower
from tests.api.caller import Answer, Caller
from tests.clock import MovableClock
from tests.exchange.logger import FIELDS, OnTheWay, between, log_of, on_the_way, steady
from tests.exchange.picture import GPS_PART, picture_bytes

pytestmark = pytest.mark.django_db


@pytest.fixture
def parcel(donor: Grower, recipient: Grower, clock: MovableClock) -> OnTheWay:
    return on_the_way(donor, recipient, clock)


def path(parcel: OnTheWay, end: str = "") -> str:
    return f"lots/{parcel.lot.public_id}/temperatures{end}"


def fields(parcel: OnTheWay, **changes: str) -> dict[str, str]:
    """All choices, and the packet."""
    return {**FIELDS, "packet_id": str(parcel.packet.public_id), **changes}


def with_photo(api: Caller, parcel: OnTheWay, content: bytes, photo: bytes) -> Answer:
    """A form with two files."""
    files = {
        "file": SimpleUploadedFile("log.csv", content, "text/csv"),
        "photo": SimpleUploadedFile("logger.jpg", photo, "image/jpeg"),
    }
    body = encode_multipart(BOUNDARY, {**fields(parcel), **files})
    return api.post(path(parcel), body, content_type=MULTIPART_CONTENT)


def nothing_written() -> bool:
    told = Notification.objects.filter(custody_event__kind="temperature_read")
    event = CustodyEvent.objects.filter(kind="temperature_read")
    return not (TemperatureUpload.objects.exists() or told.exists() or event.exists())


def in_the_file(shown: dict[str, Any]) -> dict[str, Any]:
    return {each["field"]: each["value"] for each in shown["choices"]}


def test_a_preview_tells_how_the_file_is_read_and_what_it_would_do(
    parcel: OnTheWay, recipient_api: Caller
) -> None:
    content = log_of(between(30.0, 32.0, 38.0, steady(5.0)))
    answer = recipient_api.upload(path(parcel, "/preview"), content, packet_id=str(parcel.packet.public_id))
    assert answer.status == 200
    shown = answer.body
    before, after = shown.pop("before"), shown.pop("after")
    assert sorted(before) == ["best_before", "best_before_median", "worth_trying_until"]
    # Two hours of 38 °C cost less than the planned parcel, which grows as warm as the air; but are a doubt.
    assert after["best_before"] > before["best_before"]
    summary = shown.pop("summary")
    assert {name: summary[name] for name in ("readings", "minimum_c", "maximum_c", "assumed_hours")} == {
        "readings": 433,
        "minimum_c": 5.0,
        "maximum_c": 38.0,
        "assumed_hours": 0.0,
    }
    detected = {"how": "detected", "row": 1, "evidence": "heading"}
    assert shown == {
        "can_be_applied": True,
        "columns": ["Time (UTC)", "Temperature (°C)"],
        "heading_row": 1,
        "encoding": "utf-8",
        "choices": [
            {**detected, "field": "delimiter", "value": "semicolon", "evidence": "most_readings", "row": 2},
            {**detected, "field": "decimal_mark", "value": "point", "evidence": "cells", "row": 2},
            {**detected, "field": "time_column", "value": "Time (UTC)", "evidence": "cells", "row": 2},
            {**detected, "field": "temperature_column", "value": "Temperature (°C)"},
            {**detected, "field": "unit", "value": "C"},
            {**detected, "field": "date_order", "value": "year_first", "evidence": "cells", "row": 2},
            {**detected, "field": "zone", "value": "UTC"},
            {**detected, "field": "clock", "value": "stays", "evidence": "one_offset", "row": None},
        ],
        "questions": [],
        "first": {
            "at": "2027-07-03T12:00:00Z",
            "local": "2027-07-03T12:00:00+00:00",
            "zone": "UTC",
            "temperature_c": 5.0,
            "row": 2,
        },
        "last": {
            "at": "2027-07-06T12:00:00Z",
            "local": "2027-07-06T12:00:00+00:00",
            "zone": "UTC",
            "temperature_c": 5.0,
            "row": 434,
        },
        "findings": [],
        "findings_count": 0,
        "new_doubts": [
            {
                "code": "heat",
                "detail": "It was above 35 °C for more than an hour; the curve is not known there.",
                "parameters": {},
            }
        ],
    }
    assert nothing_written()


def test_what_is_asked_is_answered_by_a_field(parcel: OnTheWay, recipient_api: Caller) -> None:
    content = log_of(steady(5.0)).replace(b"Time (UTC)", b"Time").replace(b" (\xc2\xb0C)", b"")
    address, packet = path(parcel, "/preview"), str(parcel.packet.public_id)
    shown = recipient_api.upload(address, content, packet_id=packet).body
    assert (shown["can_be_applied"], shown["summary"], shown["after"]) == (False, None, None)
    assert shown["questions"] == [
        {
            "field": "zone",
            "code": "zone_open",
            "detail": "The file does not say in which time zone its clock ran.",
            "allowed": [],
            "suggested": "",
            "row": None,
        },
        {
            "field": "unit",
            "code": "unit_open",
            "detail": "The file does not say in which unit it is: C, F or K?",
            "allowed": ["C", "F", "K"],
            "suggested": "",
            "row": None,
        },
    ]
    shown = recipient_api.upload(address, content, packet_id=packet, zone="Europe/Berlin", unit="C").body
    assert shown["can_be_applied"] and shown["questions"] == []
    assert shown["first"]["local"] == "2027-07-03T12:00:00+02:00"
    # What the preview shows is what applying wants back.
    stated = {name: value for name, value in in_the_file(shown).items() if value is not None}
    assert recipient_api.upload(path(parcel), content, packet_id=packet, **stated).status == 201


def test_a_file_is_applied_as_it_was_confirmed_and_listed(
    parcel: OnTheWay, recipient_api: Caller, donor_api: Caller
) -> None:
    answer = recipient_api.upload(path(parcel), log_of(steady(5.0)), **fields(parcel))
    assert answer.status == 201
    made = answer.body
    summary = made.pop("summary")
    upload = TemperatureUpload.objects.get()
    assert made == {
        "id": str(upload.public_id),
        "packet_id": str(parcel.packet.public_id),
        "felt": None,
        "began_at": "2027-07-03T12:00:00Z",
        "ended_at": "2027-07-06T12:00:00Z",
        "read_at": made["read_at"],
        "findings_count": 0,
        "confirmed": {
            **FIELDS,
            "time_of_day_column": None,
            "with_it_since": None,
            "with_it_until": None,
        },
        "has_photo": False,
        "by_you": True,
    }
    assert summary == {
        "readings": 433,
        "minimum_c": 5.0,
        "maximum_c": 5.0,
        "hours_above_8_c": 0.0,
        "longest_hours_above_8_c": 0.0,
        "mean_kinetic_c": 5.0,
        "worst_day_kinetic_c": 5.0,
        "span_hours": 72.0,
        "assumed_hours": 0.0,
        "thermal_age_days": summary["thermal_age_days"],
    }
    # Three days at 5 °C are a little more than three at 4 °C: 3 × 2.2 ** 0.1.
    assert summary["thermal_age_days"] == pytest.approx(3.25, abs=0.02)
    listed = donor_api.get(path(parcel)).body["results"]
    assert listed == [{**made, "summary": summary, "by_you": False}]
    assert Notification.objects.filter(custody_event__kind="temperature_read").count() == 2


def test_the_history_and_the_notification_say_it(parcel: OnTheWay, recipient_api: Caller) -> None:
    recipient_api.upload(path(parcel), log_of(between(30.0, 32.0, 38.0, steady(5.0))), **fields(parcel))
    events = recipient_api.get(f"lots/{parcel.lot.public_id}/events").body["results"]
    (event,) = [each for each in events if each["kind"] == "temperature_read"]
    assert event["detail"] == "temperatures read: 5.0 to 38.0 °C"
    (told,) = [
        each["detail"]
        for each in recipient_api.get("notifications").body["results"]
        if "temperatures read" in each["detail"]
    ]
    assert told.endswith("It was above 35 °C for more than an hour; the curve is not known there.")


def test_the_same_file_again_is_a_conflict(parcel: OnTheWay, recipient_api: Caller) -> None:
    content = log_of(steady(5.0))
    assert recipient_api.upload(path(parcel), content, **fields(parcel)).status == 201
    again = recipient_api.upload(path(parcel), content, **fields(parcel))
    assert (again.status, again.code) == (409, "conflict")
    assert again.body["detail"] == "This file was read already; its readings count."
    assert TemperatureUpload.objects.count() == 1
    assert Notification.objects.filter(custody_event__kind="temperature_read").count() == 2


def test_the_same_request_again_is_the_same_answer(parcel: OnTheWay, recipient_api: Caller) -> None:
    content, key = log_of(steady(5.0)), str(uuid.uuid4())
    first, second = (
        recipient_api.upload(path(parcel), content, **fields(parcel), header_idempotency_key=key)
        for _ in range(2)
    )
    assert (second.status, second.body) == (201, first.body)
    assert second["Idempotency-Replayed"] == "true"
    assert TemperatureUpload.objects.count() == 1


def test_faults_name_row_column_and_reason(parcel: OnTheWay, recipient_api: Caller) -> None:
    rows = log_of(steady(5.0), hours=1.0).split(b"\n")
    content = b"\n".join([*rows[:5], *[row.replace(b";5.00", b";LO") for row in rows[5:]]])
    refused = recipient_api.upload(path(parcel), content, **fields(parcel))
    assert (refused.status, refused.code) == (422, "invalid_input")
    assert refused.body["errors"] == [
        {
            "code": "not_a_number",
            "detail": f"Row {row} column Temperature (°C): It is LO, which is no number.",
            "row": row,
            "column": "Temperature (°C)",
        }
        for row in (6, 7, 8)
    ]
    assert nothing_written()


def test_a_choice_that_is_not_confirmed_names_its_field(parcel: OnTheWay, recipient_api: Caller) -> None:
    without = {name: value for name, value in fields(parcel).items() if name not in ("time_column", "unit")}
    refused = recipient_api.upload(path(parcel), log_of(steady(5.0)), **without)
    assert (refused.status, refused.faults) == (
        422,
        {"/time_column": "not_confirmed", "/unit": "not_confirmed"},
    )
    refused = recipient_api.upload(path(parcel), log_of(steady(5.0)), **fields(parcel, unit="R", colour="x"))
    assert (refused.status, refused.faults) == (400, {"/unit": "invalid_choice", "/colour": "unknown_field"})
    assert nothing_written()


@pytest.mark.parametrize("cell", ["=1+1", "=CMD|'/C calc'!A0", "@SUM(A1)", "+5+5", "-2+3"])
def test_a_formula_in_a_cell_does_nothing(parcel: OnTheWay, recipient_api: Caller, cell: str) -> None:
    rows = log_of(steady(5.0), hours=1.0).decode().split("\n")
    content = "\n".join([*rows[:-1], rows[-1].replace("5.00", cell)])
    shown = recipient_api.upload(
        path(parcel, "/preview"), content, packet_id=str(parcel.packet.public_id)
    ).body
    assert [(each["code"], each["row"], each["value"]) for each in shown["findings"]] == [
        ("not_a_number", 8, cell)
    ]
    assert (shown["summary"]["readings"], shown["summary"]["maximum_c"]) == (6, 5.0)


def test_a_photo_is_read_back_without_its_place(
    parcel: OnTheWay, recipient_api: Caller, donor_api: Caller, outsider_api: Caller, nobody: Caller
) -> None:
    sent = picture_bytes(size=(4000, 3000), orientation=6)
    assert Image.open(io.BytesIO(sent)).getexif().get_ifd(GPS_PART)[1] == "N"
    made = with_photo(recipient_api, parcel, log_of(steady(5.0)), sent)
    assert (made.status, made.body["has_photo"]) == (201, True)
    address = f"temperatures/{made.body['id']}/photo"
    for api in (recipient_api, donor_api):
        answer = api.get(address)
        assert (answer.status, answer["Content-Type"]) == (200, "image/jpeg")
        assert answer["Content-Disposition"] == 'attachment; filename="photo.jpg"'
        picture = Image.open(io.BytesIO(answer.response.content))
        assert picture.size == (1500, 2000)
        assert dict(picture.getexif()) == {}
        assert b"Exif" not in answer.response.content and b"Telephone" not in answer.response.content
    assert outsider_api.get(address).status == 404
    assert nobody.get(address).status == 401


def test_without_a_photo_there_is_none_to_read(parcel: OnTheWay, recipient_api: Caller) -> None:
    made = recipient_api.upload(path(parcel), log_of(steady(5.0)), **fields(parcel)).body
    assert recipient_api.get(f"temperatures/{made['id']}/photo").status == 404


def test_a_photo_that_is_none_refuses_the_file_too(parcel: OnTheWay, recipient_api: Caller) -> None:
    refused = with_photo(recipient_api, parcel, log_of(steady(5.0)), b"no picture")
    assert (refused.status, refused.faults) == (422, {"/photo": "no_picture"})
    assert nothing_written()


def test_how_it_felt(parcel: OnTheWay, recipient_api: Caller) -> None:
    body = {"felt": "warm", "packet_id": str(parcel.packet.public_id)}
    answer = recipient_api.post(path(parcel, "/felt"), body)
    assert answer.status == 201
    shown = {name: answer.body[name] for name in ("felt", "summary", "confirmed", "findings_count")}
    assert shown == {"felt": "warm", "summary": None, "confirmed": None, "findings_count": 0}
    events = recipient_api.get(f"lots/{parcel.lot.public_id}/events").body["results"]
    assert events[-1]["detail"] == "it felt warm"
    refused = recipient_api.post(path(parcel, "/felt"), {"felt": "hot"})
    assert (refused.status, refused.faults) == (400, {"/felt": "invalid_choice"})


def test_who_may(
    parcel: OnTheWay, donor_api: Caller, recipient_api: Caller, outsider_api: Caller, nobody: Caller
) -> None:
    content, felt = log_of(steady(5.0)), {"felt": "cool"}
    for api, status in ((outsider_api, 404), (nobody, 401)):
        assert api.get(path(parcel)).status == status
        assert api.upload(path(parcel, "/preview"), content).status == status
        assert api.upload(path(parcel), content, **fields(parcel)).status == status
        assert api.post(path(parcel, "/felt"), felt).status == status
    # The recipient knows of the lot, but what lies in the donor's store is the donor's to say.
    mine = {name: value for name, value in fields(parcel).items() if name != "packet_id"}
    assert recipient_api.upload(path(parcel), content, **mine).status == 409
    assert recipient_api.upload(path(parcel, "/preview"), content).status == 409
    assert recipient_api.post(path(parcel, "/felt"), felt).status == 409
    assert nothing_written()
    assert donor_api.upload(path(parcel, "/preview"), content).status == 200
    strange = donor_api.upload(path(parcel, "/preview"), content, packet_id=str(uuid.uuid4()))
    assert (strange.status, strange.faults) == (422, {"/packet_id": "not_found"})


def test_this_form_alone_may_be_longer_than_a_megabyte(parcel: OnTheWay, recipient_api: Caller) -> None:
    content = log_of(steady(5.0)) + b"\n" * 2_000_000
    packet = str(parcel.packet.public_id)
    shown = recipient_api.upload(path(parcel, "/preview"), content, packet_id=packet)
    assert (shown.status, shown.body["can_be_applied"]) == (200, True)
    too_long = b"x" * (LoggerFormParser.most_bytes + 1)
    refused = recipient_api.upload(path(parcel, "/preview"), too_long, packet_id=packet)
    assert (refused.status, refused.code) == (413, "too_large")
    assert refused.body["detail"] == "The body is larger than 30100000 bytes."


def test_no_answer_holds_readings_or_digests(parcel: OnTheWay, recipient_api: Caller) -> None:
    made = recipient_api.upload(path(parcel), log_of(steady(5.0)), **fields(parcel)).body
    upload = TemperatureUpload.objects.get()
    told = json.dumps([made, recipient_api.get(path(parcel)).body])
    assert upload.file_digest and upload.file_digest not in told
