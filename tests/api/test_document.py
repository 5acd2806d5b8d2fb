"""The OpenAPI document: complete, valid, with true examples, and the one in the repository."""

import io
from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest
import yaml
from django.core.management import call_command
from django.urls import URLPattern, URLResolver, get_resolver
from drf_spectacular.validation import validate_schema
from jsonschema import Draft202012Validator, FormatChecker

from exchange.api.page import document
from exchange.models import Notification
from tests.api.caller import Caller
from tests.architecture.tree import ROOT

COMMITTED = ROOT / "docs" / "openapi.yaml"
NOT_DESCRIBED = {"api/v1/openapi.json", "api/v1/docs"}
METHODS = ("get", "post", "put", "patch", "delete")


@cache
def generated() -> dict[str, Any]:
    return document()


def operations() -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, item in generated()["paths"].items():
        for method in METHODS:
            if method in item:
                yield path, method, item[method]


def routes(patterns: Any = None, prefix: str = "") -> Iterator[tuple[str, URLPattern]]:
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        path = prefix + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from routes(pattern.url_patterns, path)
        else:
            yield path, pattern


def test_it_is_made_without_a_warning_and_is_valid_openapi_3_1() -> None:
    call_command("spectacular", validate=True, fail_on_warn=True, file="/dev/null")
    assert generated()["openapi"].startswith("3.1")
    validate_schema(generated())  # type: ignore[no-untyped-call]


def test_the_one_in_the_repository_is_the_same() -> None:
    """After a change: ``manage.py spectacular --file docs/openapi.yaml``."""
    stream = io.StringIO()
    call_command("spectacular", stdout=stream)
    assert yaml.safe_load(COMMITTED.read_text(encoding="utf-8")) == yaml.safe_load(stream.getvalue())


def test_every_route_under_api_is_described() -> None:
    described = {(path, method) for path, method, _ in operations()}
    found = set()
    for route, pattern in routes():
        if not route.startswith("api/") or route in NOT_DESCRIBED:
            continue
        view: Any = pattern.callback
        path = "/" + route.replace("<uuid:id>", "{id}")
        found |= {(path, method) for method in METHODS if hasattr(view.view_class, method)}
    assert found == described and len(found) >= 20


def test_every_operation_has_a_name_of_its_own_and_words() -> None:
    names = [operation["operationId"] for _, _, operation in operations()]
    assert len(set(names)) == len(names)
    for path, _, operation in operations():
        assert operation["summary"] and operation["description"] and operation["tags"] != [""], path


def examples() -> Iterator[tuple[str, Any, dict[str, Any]]]:
    """Name, example and schema of every body that is shown."""
    for _, _, operation in operations():
        name = operation["operationId"]
        bodies = [(f"{name} request", operation.get("requestBody", {}).get("content", {}))]
        bodies += [
            (f"{name} {status}", response.get("content", {}))
            for status, response in operation["responses"].items()
        ]
        for what, content in bodies:
            for kind in content.values():
                shown = kind.get("examples", {})
                assert shown, f"{what} has no example"
                yield from ((what, each["value"], kind["schema"]) for each in shown.values())


def test_every_example_fits_its_schema() -> None:
    components = generated()["components"]
    checked = 0
    for what, value, schema in examples():
        whole = {**schema, "components": components}
        validator = Draft202012Validator(whole, format_checker=FormatChecker())
        errors = [error.message for error in validator.iter_errors(value)]
        assert errors == [], (what, errors)
        checked += 1
    assert checked > 100


KEYED_ACTS = {
    f"agreement_{act}"
    for act in (
        "accept",
        "address_read",
        "decline",
        "end",
        "postpone",
        "send",
        "send_less",
        "statement",
        "withdraw",
    )
} | {
    "detour_accept",
    "detour_address_read",
    "detour_ask",
    "detour_decline",
    "detour_withdraw",
    "detour_yes",
    "gathering_call_off",
    "gathering_close",
    "lot_discard",
    "lot_dried",
    "lot_incident",
    "lot_move",
    "lot_put_in_fluid",
    "lot_use_up",
    "offer_came_up_short",
    "offer_collect",
    "packet_hand_over",
    "packet_receive",
    "quiet_ask_answer",
    "shipment_call_off",
    "shipment_dispatch",
    "shipment_hold",
    "shipment_lost",
    "shipment_pack",
    "shipment_receive",
    "shipment_refused",
    "shipment_returned",
    "store_incident",
    "webhook_delivery_resend",
    "webhook_rotate",
}
"""They answer 200 and must not happen twice."""


def test_every_operation_declares_its_problems() -> None:
    for path, method, operation in operations():
        declared = set(operation["responses"])
        assert {"400", "401", "429", "503"} <= declared, path
        assert ("403" in declared) == bool(
            {} not in operation["security"] or operation["operationId"] in {"token_create", "try_out"}
        )
        if "{id}" in path:
            assert "404" in declared, path
        if method in ("patch", "delete"):
            assert {"412", "428"} <= declared, path
        headers = {each["name"] for each in operation.get("parameters", ()) if each["in"] == "header"}
        assert ("If-Match" in headers) == (method in ("patch", "delete")), path
        imported = path.endswith("/import")
        keyed = "201" in declared or imported or operation["operationId"] in KEYED_ACTS
        assert ("Idempotency-Key" in headers) == keyed, path


def test_bodies_are_closed() -> None:
    for _, _, operation in operations():
        for content in operation.get("requestBody", {}).get("content", {}).values():
            name = content["schema"]["$ref"].rpartition("/")[2]
            assert generated()["components"]["schemas"][name]["additionalProperties"] is False


def test_no_integer_id_is_in_any_answer() -> None:
    for name, schema in generated()["components"]["schemas"].items():
        for field, kind in schema.get("properties", {}).items():
            if field == "id" or field.endswith("_id"):
                assert kind["type"] in ("string", ["string", "null"]), (name, field)


def test_webhooks_are_the_notifications_that_there_are() -> None:
    webhooks = generated()["webhooks"]
    assert set(webhooks) == {kind.replace("_", ".", 1) for kind in Notification.Kind.values}
    components = generated()["components"]
    for name, item in webhooks.items():
        operation = item["post"]
        assert operation["operationId"] == f"event_{name.replace('.', '_')}"
        assert operation["summary"]
        assert "`POST /webhooks`" in operation["description"]
        assert set(operation["responses"]) == {"2XX", "410"}
        headers = {each["name"]: each for each in operation["parameters"]}
        assert list(headers) == ["webhook-id", "webhook-timestamp", "webhook-signature"]
        assert all(each["in"] == "header" and each["required"] for each in headers.values())
        (content,) = operation["requestBody"]["content"].values()
        (example,) = content["examples"].values()
        schema = {**content["schema"], "components": components}
        checked = Draft202012Validator(schema, format_checker=FormatChecker())
        assert [error.message for error in checked.iter_errors(example["value"])] == []
        assert example["value"]["type"] == name


@pytest.mark.django_db
def test_it_is_served_to_everybody(nobody: Caller) -> None:
    answer = nobody.get("openapi.json")
    assert answer.body["paths"].keys() == generated()["paths"].keys()
    assert nobody.get("openapi.json", if_none_match=answer["ETag"]).status == 304
