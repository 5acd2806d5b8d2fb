"""Words of EPCIS 2.0 and its Core Business Vocabulary (GS1, 2022) for what happens to a lot.

What has no word in the standard's lists has an address of the exchange for a name; ``consuming`` and
``in_transit`` are no steps, the latter is a disposition.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from exchange.models import CustodyEvent, Incident
from growers.selectors.site import Region

Kind = CustodyEvent.Kind

OWN = "own:"
"""Before a step of ours; the exchange's address takes its place."""


@dataclass(frozen=True, slots=True)
class Deed:
    """How one kind of event is told: what it does to the thing, the step, and how the thing is after it."""

    action: str
    step: str
    disposition: str = ""


DEEDS: Mapping[str, Deed] = {
    Kind.COLLECTED: Deed("ADD", "commissioning", "active"),
    Kind.DRIED: Deed("OBSERVE", "storing", "in_progress"),
    Kind.MOVED: Deed("OBSERVE", "storing", "in_progress"),
    Kind.PUT_IN_FLUID: Deed("OBSERVE", f"{OWN}put_in_fluid", "unavailable"),
    Kind.PACKET_FILLED: Deed("", "packing", "container_closed"),
    Kind.TESTED: Deed("OBSERVE", "inspecting"),
    Kind.TEMPERATURE_READ: Deed("OBSERVE", "sensor_reporting"),
    Kind.HANDED_OVER: Deed("OBSERVE", "shipping", "in_transit"),
    Kind.RECEIVED: Deed("OBSERVE", "receiving", "in_progress"),
    Kind.USED_UP: Deed("DELETE", "decommissioning", "inactive"),
    Kind.DISCARDED: Deed("DELETE", "destroying", "destroyed"),
}
"""All but incidents, of which each has a step of its own, and corrections, which are no deed."""

INCIDENT_DISPOSITIONS: Mapping[str, str] = {
    Incident.Kind.SWITCHED_OFF: "non_conformant",
    Incident.Kind.LEFT_OUT: "non_conformant",
    Incident.Kind.THAWED: "damaged",
    Incident.Kind.GOT_DAMP: "damaged",
}


def deed_of(event: CustodyEvent) -> Deed:
    """How an event that is no correction is told."""
    if event.kind == Kind.INCIDENT:
        incident = event.parameters["incident"]
        return Deed("OBSERVE", f"{OWN}{incident}", INCIDENT_DISPOSITIONS[incident])
    return DEEDS[event.kind]


def step_uri(step: str, exchange: str) -> str:
    """A step of the standard as it is, one of ours as an address of the exchange."""
    return f"{exchange}/epcis/step/{step.removeprefix(OWN)}" if step.startswith(OWN) else step


def region_uri(where: Region, exchange: str) -> str:
    """A region as an address of the exchange, never finer than a part of a country: no coordinates."""
    if where.subdivision:
        parts = ["subdivision", where.subdivision]
    elif where.country:
        parts = ["country", where.country]
    else:
        parts = ["climate-band", where.part_of_the_world, where.climate_band or ""]
    return "/".join([exchange, "region", *(quote(part, safe="") for part in parts)])


def instant(at: datetime) -> str:
    """An instant, UTC, to the millisecond."""
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def offset(at: datetime, zone: str) -> str:
    """Offset of a zone's clock at an instant, such as +02:00."""
    return at.astimezone(ZoneInfo(zone)).isoformat()[-6:]


def sensor_element(parameters: Mapping[str, Any], exchange: str) -> dict[str, Any] | None:
    """What a logger told in sum, °C (CEL), from the ``summary`` of an event; None where there is none."""
    summary = parameters.get("summary")
    if summary is None:
        return None
    ends = {"minValue": summary["minimum_c"], "maxValue": summary["maximum_c"]}
    kinetic = f"{exchange}/epcis/measurement/mean_kinetic_temperature"
    return {
        "sensorReport": [
            {"type": "Temperature", **ends, "uom": "CEL"},
            {"type": kinetic, "value": summary["mean_kinetic_c"], "uom": "CEL"},
        ]
    }
