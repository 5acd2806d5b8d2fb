"""Rules of EPCIS 2.0 that our documents keep, as a JSON Schema written for these tests.

Members, words and patterns are facts of GS1 EPCIS 2.0 and the Core Business Vocabulary 2.0 (2022).
"""

from typing import Any

STEP_WORDS = """
accepting arriving assembling collecting commissioning consigning creating_class_instance cycle_counting
decommissioning departing destroying disassembling dispensing encoding entering_exiting holding inspecting
installing killing loading other packing picking receiving removing repackaging repairing replacing reserving
retail_selling sampling sensor_reporting shipping staging_outbound stock_taking stocking storing transporting
unloading unpacking void_shipping
"""
DISPOSITION_WORDS = """
active available completeness_inferred completeness_verified conformant container_closed container_open
damaged destroyed dispensed disposed encoded expired in_progress in_transit inactive mismatch_class
mismatch_instance mismatch_quantity needs_replacement no_pedigree_match non_conformant non_sellable_other
partially_dispensed recalled reserved retail_sold returned sellable_accessible sellable_not_accessible stolen
unavailable unknown
"""

BIZ_STEPS, DISPOSITIONS = STEP_WORDS.split(), DISPOSITION_WORDS.split()

OFFSET = r"^[+-](0[0-9]|1[0-3]):[0-5][0-9]$|^[+-]14:00$"
INSTANT = r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?(Z|[+-]\d{2}:\d{2})$"
URI: dict[str, Any] = {"type": "string", "pattern": r"^(https?://[^\s/]+/\S+|urn:[a-z0-9][a-z0-9-]+:\S+)$"}
URIS: dict[str, Any] = {"type": "array", "items": URI, "minItems": 1}
INSTANTS: dict[str, Any] = {"type": "string", "pattern": INSTANT}


def word_of(words: list[str]) -> dict[str, Any]:
    """A bare word of a list of the standard, or a full URI of one's own."""
    return {"anyOf": [{"enum": words}, URI]}


REPORT: dict[str, Any] = {
    "type": "object",
    "required": ["type"],
    "properties": {
        "type": word_of(["Temperature"]),
        "minValue": {"type": "number"},
        "maxValue": {"type": "number"},
        "value": {"type": "number"},
        "uom": {"const": "CEL"},
    },
    "additionalProperties": False,
}
EVENT: dict[str, Any] = {
    "type": "object",
    "required": ["type", "eventID", "eventTime", "eventTimeZoneOffset"],
    "properties": {
        "type": {"enum": ["ObjectEvent", "TransformationEvent"]},
        "eventID": URI,
        "eventTime": INSTANTS,
        "recordTime": INSTANTS,
        "eventTimeZoneOffset": {"type": "string", "pattern": OFFSET},
        "action": {"enum": ["OBSERVE", "ADD", "DELETE"]},
        "epcList": URIS,
        "inputEPCList": URIS,
        "outputEPCList": URIS,
        "bizStep": word_of(BIZ_STEPS),
        "disposition": word_of(DISPOSITIONS),
        "readPoint": {
            "type": "object",
            "required": ["id"],
            "properties": {"id": URI},
            "additionalProperties": False,
        },
        "ilmd": {"type": "object", "propertyNames": {"pattern": "^pollen:"}, "minProperties": 1},
        "sensorElementList": {
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "object",
                "required": ["sensorReport"],
                "properties": {
                    "sensorReport": {"type": "array", "minItems": 1, "items": REPORT},
                },
                "additionalProperties": False,
            },
        },
        "errorDeclaration": {
            "type": "object",
            "required": ["declarationTime"],
            "properties": {
                "declarationTime": INSTANTS,
                "reason": word_of(["did_not_occur", "incorrect_data"]),
                "correctiveEventIDs": URIS,
            },
            "additionalProperties": False,
        },
    },
    "additionalProperties": False,
    "oneOf": [
        {
            "properties": {"type": {"const": "ObjectEvent"}, "inputEPCList": False, "outputEPCList": False},
            "required": ["action", "epcList"],
        },
        {
            "properties": {"type": {"const": "TransformationEvent"}, "action": False, "epcList": False},
            "required": ["inputEPCList", "outputEPCList"],
        },
    ],
}
DOCUMENT: dict[str, Any] = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "type": "object",
    "required": ["@context", "type", "schemaVersion", "creationDate", "epcisBody"],
    "properties": {
        "@context": {
            "type": "array",
            "contains": {"const": "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"},
        },
        "type": {"const": "EPCISDocument"},
        "schemaVersion": {"const": "2.0"},
        "creationDate": INSTANTS,
        "epcisBody": {
            "type": "object",
            "required": ["eventList"],
            "properties": {"eventList": {"type": "array", "items": EVENT}},
            "additionalProperties": False,
        },
    },
    "additionalProperties": False,
}
