"""The OpenAPI document: how operations are read from resources, and what is said once for all."""

from typing import Any, cast

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.openapi import AutoSchema

from exchange.api.catalogue import KINDS

SESSION_SCHEME = "session"
BEARER_SCHEME = "token"
WEBHOOK_HEADERS = (
    (
        "webhook-id",
        {"type": "string", "examples": ["1d2e3f40-5b6c-4d7e-8f90-91a2b3c4d5e6"]},
        "Of the event: the same each time it is sent.",
    ),
    (
        "webhook-timestamp",
        {"type": "integer", "examples": [1814443203]},
        "When it was sent this time: whole seconds since 1970, UTC. Refuse what is minutes off.",
    ),
    (
        "webhook-signature",
        {"type": "string", "examples": ["v1,K5oZfzN95Z9UVu1EsfQmfVNQhnkZ2pj9o9NDN/H/pI4="]},
        "`v1,` and base64 of the HMAC-SHA256 of `{webhook-id}.{webhook-timestamp}.{body}` under the secret of"
        " the address; several, separated by blanks, while a secret is being replaced.",
    ),
)
"""After Standard Webhooks, specification 1.0.0 (standardwebhooks.com)."""


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """Tokens of clients."""

    target_class = "exchange.api.authentication.BearerAuthentication"
    name = BEARER_SCHEME

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        """The scheme."""
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "Shown once by `POST /api/v1/tokens`; scopes: read, write, feed.",
        }


class SessionScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """Sessions of our own pages."""

    target_class = "exchange.api.authentication.PageSessionAuthentication"
    name = SESSION_SCHEME

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        """The scheme."""
        return {
            "type": "apiKey",
            "in": "cookie",
            "name": "sessionid",
            "description": "For our own pages; whatever writes also needs X-CSRFToken.",
        }


class OperationSchema(AutoSchema):
    """Reads tags and security from the declared operation."""

    def get_tags(self) -> list[str]:
        """The resource's tag."""
        return [cast(Any, self.view).tag]

    def get_auth(self) -> list[dict[str, Any]]:
        """Nobody where that is enough; no token where a sign-in itself is asked for."""
        found = super().get_auth()
        operation = cast(Any, self.view).operation(self.method)
        if operation.session_only:
            found = [each for each in found if BEARER_SCHEME not in each]
        return [{}, *found] if operation.public else found


def finish_document(result: dict[str, Any], generator: SchemaGenerator, **_: Any) -> dict[str, Any]:
    """What holds for all operations: strict bodies, the catalogue, no servers of anybody."""
    for name, component in result["components"]["schemas"].items():
        if name.endswith("Request") and component.get("type") == "object":
            component["additionalProperties"] = False
    for item in result.get("webhooks", {}).values():
        item["post"]["parameters"] = [_webhook_header(*header) for header in WEBHOOK_HEADERS]
    result["info"]["description"] = description()
    finished: dict[str, Any] = _without_blank_choices(result)
    return finished


def _webhook_header(name: str, schema: dict[str, Any], text: str) -> dict[str, Any]:
    return {"in": "header", "name": name, "required": True, "schema": schema, "description": text}


def _without_blank_choices(part: Any) -> Any:
    """The document with text that may be blank as one schema.

    The library offers "matching this pattern, or blank" as two; where the pattern matches blank text too,
    blank text fits both and so, by the meaning of ``oneOf``, neither.
    """
    if isinstance(part, dict):
        choices = part.get("oneOf")
        if (
            isinstance(choices, list)
            and len(choices) == 2
            and choices[1] == {"type": "string", "maxLength": 0}
        ):
            part = {**choices[0], **{name: value for name, value in part.items() if name != "oneOf"}}
        return {name: _without_blank_choices(value) for name, value in part.items()}
    return [_without_blank_choices(each) for each in part] if isinstance(part, list) else part


def description() -> str:
    """The text at the head of the document."""
    rows = "\n".join(f"| `{kind.code}` | {kind.status} | {kind.title}. {kind.meaning} |" for kind in KINDS)
    return f"{HEAD}\n\n| code | status | meaning |\n|---|---|---|\n{rows}\n"


HEAD = """\
Growers of water lilies enter plants, bloom records, what pollen they offer and which crosses they want; the \
exchange forecasts, pairs and dates.

**Tokens**: `POST /api/v1/tokens`, then `Authorization: Bearer pollen_…`. **Creating** needs an \
`Idempotency-Key`; **changing** needs `If-Match`. **Lists** come in pages with `next`, `previous` and \
`Link`. Unknown fields and parameters are refused. **Days** are civil dates at the plant's place, \
**instants** are UTC. Units are in the names. Another's thing is 404. **Problems** are \
`application/problem+json`:"""
