"""The history of a lot in the words of EPCIS: every kind of event, corrections, and what is never in it."""

import json
from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any
from uuid import UUID

import pytest
from jsonschema import Draft202012Validator

from exchange.models import CustodyEvent, Lot
from exchange.selectors.epcis import epcis_document
from exchange.selectors.lot import custody_of
from exchange.services.assay import Counts, assay_record
from exchange.services.custody import custody_note
from exchange.services.incident import WhatHappened, lot_incident
from exchange.services.lot import lot_collect
from exchange.services.lot_change import (
    lot_correct,
    lot_discard,
    lot_dried,
    lot_move,
    lot_put_in_fluid,
    lot_use_up,
)
from exchange.services.packet import packet_fill
from exchange.services.store import store_create
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.epcis_rule import BIZ_STEPS, DISPOSITIONS, DOCUMENT
from tests.exchange.packed import make_packed
from tests.exchange.society import NOON
from tests.factories import make_plant, make_site

pytestmark = pytest.mark.django_db

HOST = "https://pollen.example"
Kind = CustodyEvent.Kind


def document(lot: Lot) -> dict[str, Any]:
    """The document of a lot, which keeps the rules."""
    loaded = Lot.objects.select_related("plant__site", "plant__grower").get(pk=lot.pk)
    told = epcis_document(loaded, list(custody_of(loaded.plant.grower, loaded)), HOST)
    assert faults(told) == []
    return told


def events(lot: Lot) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = document(lot)["epcisBody"]["eventList"]
    return found


def faults(told: Any) -> list[str]:
    whole = json.loads(json.dumps(told))
    return [error.json_path for error in Draft202012Validator(DOCUMENT).iter_errors(whole)]


def uuid(public_id: UUID) -> str:
    return f"urn:uuid:{public_id}"


@pytest.fixture
def lot(donor: Grower, clock: MovableClock) -> Lot:
    clock.set(NOON)
    plant = make_plant(donor, site=make_site(donor, region_level="country"))
    return lot_collect(
        actor=donor,
        plant=plant,
        flowers_emptied=2,
        flower_day=2,
        collected_on=date(2027, 6, 30),
        collected_hour=9,
        note="beside the church",
    )


def test_a_collecting_is_a_commissioning(lot: Lot) -> None:
    told = document(lot)
    event = lot.events.get()
    assert told == {
        "@context": [
            "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld",
            {"pollen": "https://pollen.example/epcis/term/"},
        ],
        "type": "EPCISDocument",
        "schemaVersion": "2.0",
        "creationDate": event.created_at.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
        "epcisBody": {
            "eventList": [
                {
                    "type": "ObjectEvent",
                    "eventID": uuid(event.public_id),
                    "eventTime": "2027-06-30T07:00:00.000Z",
                    "eventTimeZoneOffset": "+02:00",
                    "recordTime": told["creationDate"],
                    "action": "ADD",
                    "epcList": [uuid(lot.public_id)],
                    "bizStep": "commissioning",
                    "disposition": "active",
                    "readPoint": {"id": "https://pollen.example/region/country/FR"},
                    "ilmd": {"pollen:flowersEmptied": 2, "pollen:flowerDay": 2},
                }
            ]
        },
    }


def steps(lot: Lot) -> list[tuple[str, str | None, str, str | None]]:
    return [
        (each["type"], each.get("action"), each["bizStep"], each.get("disposition")) for each in events(lot)
    ]


OWN = "https://pollen.example/epcis/step"


def test_what_happens_in_store_has_the_standards_words_or_an_address(
    donor: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    lot = lot_collect(actor=donor, plant=make_plant(donor), flowers_emptied=1)
    lot_dried(actor=donor, lot=lot)
    freezer = store_create(actor=donor, name="garage", kind="freezer")
    lot_move(actor=donor, lot=lot, store=freezer)
    for kind in ("switched_off", "left_out", "thawed", "got_damp"):
        lot_incident(actor=donor, lot=lot, happened=WhatHappened(kind=kind))
    counts = Counts("in_vitro", "sucrose", "a tube", [(5, 20)], rehydrated=True)
    assay_record(actor=donor, lot=lot, counts=counts)
    lot_use_up(actor=donor, lot=lot)
    assert steps(lot) == [
        ("ObjectEvent", "ADD", "commissioning", "active"),
        ("ObjectEvent", "OBSERVE", "storing", "in_progress"),
        ("ObjectEvent", "OBSERVE", "storing", "in_progress"),
        ("ObjectEvent", "OBSERVE", f"{OWN}/switched_off", "non_conformant"),
        ("ObjectEvent", "OBSERVE", f"{OWN}/left_out", "non_conformant"),
        ("ObjectEvent", "OBSERVE", f"{OWN}/thawed", "damaged"),
        ("ObjectEvent", "OBSERVE", f"{OWN}/got_damp", "damaged"),
        ("ObjectEvent", "OBSERVE", "inspecting", None),
        ("ObjectEvent", "DELETE", "decommissioning", "inactive"),
    ]


def test_fluid_has_no_word_and_discarding_has_one(lot: Lot, donor: Grower) -> None:
    lot_put_in_fluid(actor=donor, lot=lot)
    lot_discard(actor=donor, lot=lot)
    assert steps(lot)[1:] == [
        ("ObjectEvent", "OBSERVE", f"{OWN}/put_in_fluid", "unavailable"),
        ("ObjectEvent", "DELETE", "destroying", "destroyed"),
    ]


def test_a_packet_comes_out_of_a_lot_and_goes_on_its_own(
    donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    packed = make_packed(donor, recipient)
    packed.hand_over()
    packed.receive()
    lot, packet = uuid(packed.lot.public_id), uuid(packed.packet.public_id)
    filled, sent, come = events(packed.lot)[1:]
    assert (filled["type"], filled["inputEPCList"], filled["outputEPCList"]) == (
        "TransformationEvent",
        [lot],
        [packet],
    )
    assert (filled["bizStep"], filled["disposition"]) == ("packing", "container_closed")
    assert (sent["bizStep"], sent["disposition"], sent["epcList"]) == ("shipping", "in_transit", [packet])
    assert (come["bizStep"], come["disposition"], come["epcList"]) == ("receiving", "in_progress", [packet])
    assert "readPoint" in sent and "readPoint" not in come  # whose place is a partner's


def test_a_logger_is_told_in_sum(lot: Lot, donor: Grower) -> None:
    figures = {"minimum_c": 2.5, "maximum_c": 9.0, "mean_kinetic_c": 5.25, "hours_above_8_c": 1.5}
    stated: list[dict[str, Any]] = [{"summary": figures}, {"felt": "cool"}]
    for parameters in stated:
        custody_note(lot, Kind.TEMPERATURE_READ, actor=donor, now=NOON + timedelta(hours=1), **parameters)
    read, felt = events(lot)[1:]
    assert read["bizStep"] == felt["bizStep"] == "sensor_reporting"
    assert read["sensorElementList"] == [
        {
            "sensorReport": [
                {"type": "Temperature", "minValue": 2.5, "maxValue": 9.0, "uom": "CEL"},
                {
                    "type": "https://pollen.example/epcis/measurement/mean_kinetic_temperature",
                    "value": 5.25,
                    "uom": "CEL",
                },
            ],
        }
    ]
    assert "sensorElementList" not in felt


def test_a_partner_reads_nothing_of_packets_for_others(
    donor: Grower, recipient: Grower, clock: MovableClock
) -> None:
    clock.set(NOON)
    packed = make_packed(donor, recipient)
    other = packet_fill(actor=donor, lot=packed.lot, doses=1)
    packed.hand_over()
    told = {
        grower: [event.packet for event in custody_of(grower, packed.lot)] for grower in (donor, recipient)
    }
    assert told == {
        donor: [None, packed.packet, other, packed.packet],
        recipient: [None, packed.packet, packed.packet],
    }


# --- corrections ---


def test_a_correction_declares_the_error_and_says_what_is_right(
    lot: Lot, donor: Grower, clock: MovableClock
) -> None:
    clock.set(NOON + timedelta(hours=1))
    lot_correct(actor=donor, lot=lot, collected_hour=7, flowers_emptied=3)
    first, wrong, right = events(lot)
    correction = lot.events.get(kind=Kind.CORRECTED)
    assert first["ilmd"] == {"pollen:flowersEmptied": 2, "pollen:flowerDay": 2}
    declared = wrong.pop("errorDeclaration")
    assert wrong == first
    assert declared == {
        "declarationTime": right["recordTime"],
        "reason": "incorrect_data",
        "correctiveEventIDs": [uuid(correction.public_id)],
    }
    assert right == {
        **first,
        "eventID": uuid(correction.public_id),
        "eventTime": "2027-06-30T05:00:00.000Z",
        "recordTime": declared["declarationTime"],
        "ilmd": {"pollen:flowersEmptied": 3, "pollen:flowerDay": 2},
    }


def test_a_second_correction_is_of_what_the_first_one_said(
    lot: Lot, donor: Grower, clock: MovableClock
) -> None:
    clock.set(NOON + timedelta(hours=1))
    lot_correct(actor=donor, lot=lot, collected_on=date(2027, 6, 29))
    clock.set(NOON + timedelta(hours=2))
    lot_correct(actor=donor, lot=lot, collected_hour=None, flower_day=None)
    told = events(lot)
    corrections = [uuid(each.public_id) for each in lot.events.filter(kind=Kind.CORRECTED).order_by("pk")]
    original = uuid(lot.events.get(kind=Kind.COLLECTED).public_id)
    assert [each["eventID"] for each in told] == [
        original,
        original,
        corrections[0],
        corrections[0],
        corrections[1],
    ]
    assert ["errorDeclaration" in each for each in told] == [False, True, False, True, False]
    days = [each["eventTime"][:13] for each in told]
    assert days[:4] == ["2027-06-30T07", "2027-06-30T07", "2027-06-29T07", "2027-06-29T07"]
    assert days[4].startswith("2027-06-29T")  # at the usual hour
    assert told[3]["errorDeclaration"]["correctiveEventIDs"] == [corrections[1]]
    assert told[4]["ilmd"] == {"pollen:flowersEmptied": 2}


# --- where and when ---


@pytest.mark.parametrize(
    ("level", "place"),
    [
        ("cell", "country/FR"),  # its centre would be coordinates
        ("subdivision", "subdivision/FR-IDF"),
        ("country", "country/FR"),
        ("climate_band", "climate-band/Europe/northern%20temperate"),
    ],
)
def test_a_place_is_a_region_without_coordinates(
    donor: Grower, clock: MovableClock, level: str, place: str
) -> None:
    clock.set(NOON)
    site = make_site(donor, region_level=level, subdivision="FR-IDF")
    told = document(lot_collect(actor=donor, plant=make_plant(donor, site=site), flowers_emptied=1))
    (event,) = told["epcisBody"]["eventList"]
    assert event["readPoint"]["id"] == f"https://pollen.example/region/{place}"
    assert "48.75" not in json.dumps(told) and "2.25" not in json.dumps(told)


def test_the_offset_is_that_of_the_plants_clock_on_the_day(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    site = make_site(donor, country="IN", latitude_deg=19.25, longitude_deg=72.75)
    made = lot_collect(
        actor=donor,
        plant=make_plant(donor, site=site),
        flowers_emptied=1,
        collected_hour=6,
        collected_on=date(2027, 1, 5),
    )
    (event,) = events(made)
    assert (event["eventTime"], event["eventTimeZoneOffset"]) == ("2027-01-05T00:30:00.000Z", "+05:30")


def test_neither_growers_nor_notes_are_in_it(donor: Grower, recipient: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    packed = make_packed(donor, recipient)
    lot_incident(actor=donor, lot=packed.lot, happened=WhatHappened(kind="thawed", note="beside the church"))
    packed.hand_over()
    packed.receive()
    told = json.dumps(document(packed.lot))
    for secret in ("church", donor.handle, recipient.handle, "example.org", "DE", "Berlin", "'Ferry'"):
        assert secret not in told
    for row in (donor, recipient, packed.agreement, packed.lot.plant):
        assert str(row.public_id) not in told


def test_the_same_history_gives_the_same_bytes_at_any_time(lot: Lot, clock: MovableClock) -> None:
    before = json.dumps(document(lot))
    clock.set(NOON + timedelta(days=90))
    assert json.dumps(document(lot)) == before


def test_every_kind_of_event_is_told(lot: Lot, donor: Grower) -> None:
    """A new kind needs words: this fails until it has some."""
    parameters: dict[str, Any] = {"incident": "thawed"}
    others = [kind for kind in Kind if kind not in (Kind.COLLECTED, Kind.CORRECTED)]
    for kind in others:
        custody_note(lot, kind, actor=donor, now=NOON, **parameters)
    loaded = Lot.objects.select_related("plant__site", "plant__grower").get(pk=lot.pk)
    events = list(custody_of(loaded.plant.grower, loaded))
    told = epcis_document(loaded, events, HOST)["epcisBody"]["eventList"]
    assert len(told) == len(others) + 1
    assert all(each["bizStep"] in BIZ_STEPS or each["bizStep"].startswith(f"{OWN}/") for each in told)
    assert {each["disposition"] for each in told if "disposition" in each} <= set(DISPOSITIONS)


# --- the rules themselves ---


def changed(lot: Lot, **members: Any) -> Any:
    told = document(lot)
    told["epcisBody"]["eventList"][0] |= members
    return told


def wrong_members() -> Iterator[dict[str, Any]]:
    yield from ({"bizStep": word} for word in ("consuming", "in_transit", "put_in_fluid"))
    yield from ({"disposition": word} for word in ("consumed", "shipping", "doubtful"))
    yield from ({"eventTimeZoneOffset": text} for text in ("+14:30", "02:00", "Z", "+15:00", "+2:00"))
    yield {"eventTime": "2027-06-30T07:00:00"}
    yield {"type": "TransformationEvent"}
    yield {"action": "CHANGE"}
    yield {"epcList": ["a lot"]}
    yield {"errorDeclaration": {"reason": "incorrect_data"}}
    yield {"note": "beside the church"}


@pytest.mark.parametrize("members", list(wrong_members()), ids=str)
def test_the_rules_reject_what_the_standard_does(lot: Lot, members: dict[str, Any]) -> None:
    assert faults(changed(lot, **members)) != []


@pytest.mark.parametrize(
    "members", [{"eventTimeZoneOffset": "+14:00"}, {"bizStep": f"{OWN}/consuming"}], ids=str
)
def test_the_rules_accept_what_the_standard_does(lot: Lot, members: dict[str, Any]) -> None:
    assert faults(changed(lot, **members)) == []
