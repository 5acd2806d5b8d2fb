"""What the OpenAPI document says of an operation: answers, headers, examples, every declared problem."""

from collections import defaultdict
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Literal

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import (
    OpenApiExample,
    OpenApiParameter,
    OpenApiResponse,
    extend_schema,
    inline_serializer,
)
from rest_framework import serializers

from exchange.api.catalogue import BY_CODE, ProblemKind
from exchange.api.pagination import DEFAULT_LIMIT, HIGHEST_LIMIT

if TYPE_CHECKING:
    from exchange.api.operation import Operation

PROBLEM_MEDIA_TYPE = "application/problem+json"
TABLE_MEDIA_TYPE = "text/csv"
ALWAYS = ("does_not_fit", "token_invalid", "too_many_requests", "unavailable")
OF_KIND: dict[str, tuple[str, ...]] = {
    "page": ("cursor_unknown",),
    "create": ("invalid_input",),
    "change": ("invalid_input", "if_match_missing", "stale"),
    "remove": ("if_match_missing", "stale"),
}
HEADER: Literal["header"] = "header"
QUERY: Literal["query"] = "query"


class FaultOut(serializers.Serializer[Any]):
    """One thing wrong, and where."""

    code = serializers.CharField()
    detail = serializers.CharField()
    pointer = serializers.CharField(required=False, help_text="JSON pointer (RFC 6901) into the body.")
    parameter = serializers.CharField(required=False, help_text="Name of a query parameter or header.")
    row = serializers.IntegerField(required=False, help_text="Row of a table; its heading is row 1.")
    column = serializers.CharField(required=False)
    allowed = serializers.CharField(required=False, help_text="What is allowed, in words.")


class ProblemOut(serializers.Serializer[Any]):
    """Problem details (RFC 9457); ``code`` never changes its meaning."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    instance = serializers.CharField()
    code = serializers.CharField()
    request_id = serializers.CharField()
    errors = FaultOut(many=True)  # type: ignore[assignment]


def declared(operation: "Operation") -> Callable[[Any], Any]:
    """The decorator that carries an operation into the document."""
    decorate: Callable[[Any], Any] = extend_schema(
        operation_id=operation.name,
        summary=operation.summary,
        request=operation.body,
        parameters=[*_sent(operation), *_answered(operation)],
        responses={_status(operation): _success(operation), **_failures(operation)},
        examples=_body_examples(operation),
    )
    return decorate


def _status(operation: "Operation") -> int | tuple[int, str]:
    media_type = TABLE_MEDIA_TYPE if operation.kind == "table" else operation.media_type
    return (operation.status, media_type) if media_type else operation.status


def codes(operation: "Operation") -> tuple[str, ...]:
    """Every code that an operation may answer with."""
    found = [*ALWAYS, *OF_KIND.get(operation.kind, ()), *operation.problems]
    if not operation.public:
        found += ["sign_in_needed", "sign_in_itself_needed" if operation.session_only else "scope_missing"]
        found += ["csrf_failed"] if operation.scope == "write" else []
    if operation.body is not None:
        found += ["malformed", "media_type", "too_large"]
    if operation.keyed:
        found += ["idempotency_key_missing", "request_running", "key_reused"]
        found += ["secret_already_shown"] if operation.secret else []
    return tuple(dict.fromkeys(found))


def _failures(operation: "Operation") -> dict[tuple[int, str], OpenApiResponse]:
    by_status: dict[int, list[ProblemKind]] = defaultdict(list)
    for code in codes(operation):
        by_status[BY_CODE[code].status].append(BY_CODE[code])
    return {
        (status, PROBLEM_MEDIA_TYPE): OpenApiResponse(
            ProblemOut,
            description=", ".join(kind.code for kind in kinds),
            examples=[_problem_example(kind) for kind in kinds],
        )
        for status, kinds in sorted(by_status.items())
    }


def _problem_example(kind: ProblemKind) -> OpenApiExample:
    value = {
        "type": f"/api/v1/problems#{kind.code}",
        "title": str(kind.title),
        "status": kind.status,
        "detail": str(kind.meaning),
        "instance": "/api/v1/…",
        "code": kind.code,
        "request_id": "0b1e6a2f7c5d4e0f9a8b7c6d5e4f3a2b",
        "errors": [],
    }
    return OpenApiExample(kind.code, value=value, response_only=True, status_codes=[str(kind.status)])


def _success(operation: "Operation") -> OpenApiResponse:
    if operation.kind == "table":
        return _with_example(OpenApiTypes.STR, operation.status, operation.example)
    if operation.kind == "document":
        return _with_example(operation.out or OpenApiTypes.BINARY, operation.status, operation.example)
    if operation.out is None:
        return OpenApiResponse(description="Done.")
    example, out = operation.example, operation.out
    if operation.kind != "page":
        return _with_example(out, operation.status, example)
    envelope = inline_serializer(
        f"{out.__name__.removesuffix('Out')}Page",
        {
            "results": out(many=True),
            "next": serializers.URLField(allow_null=True),
            "previous": serializers.URLField(allow_null=True),
        },
    )
    return _with_example(envelope, 200, {"results": [example], "next": None, "previous": None})


def _with_example(out: Any, status: int, example: Any) -> OpenApiResponse:
    shown = OpenApiExample("answer", value=example, response_only=True, status_codes=[str(status)])
    return OpenApiResponse(out, description="", examples=[shown])


def _body_examples(operation: "Operation") -> list[OpenApiExample]:
    body, example = operation.body, operation.body_example
    if body is None or example is None:
        return []
    return [OpenApiExample("request", value=example, request_only=True, media_type=body.media_type)]


def _sent(operation: "Operation") -> list[Any]:
    """Parameters and headers of the request."""
    found: list[Any] = [] if operation.query is None else [operation.query]
    if operation.kind == "page":
        found += [
            OpenApiParameter(
                "limit",
                {"type": "integer", "minimum": 1, "maximum": HIGHEST_LIMIT, "default": DEFAULT_LIMIT},
                QUERY,
                description="Rows of a page.",
            ),
            OpenApiParameter("cursor", str, QUERY, description="From a link of the list; opaque."),
        ]
    if operation.keyed:
        key = {"type": "string", "minLength": 8, "maxLength": 64, "pattern": "^[A-Za-z0-9_-]{8,64}$"}
        text = "A UUID of your own. Kept 24 hours: the same key and body get the same answer."
        found.append(OpenApiParameter("Idempotency-Key", key, HEADER, required=True, description=text))
    if operation.kind in ("change", "remove"):
        text = "The ETag of what you read, or * for whatever it is now."
        found.append(OpenApiParameter("If-Match", str, HEADER, required=True, description=text))
    return found


def _answered(operation: "Operation") -> list[OpenApiParameter]:
    """Headers of the answers."""
    found = [_answer_header("Retry-After", OpenApiTypes.INT, [429, 503], "Seconds to wait.")]
    found.append(_answer_header("WWW-Authenticate", OpenApiTypes.STR, [401], "How to sign in."))
    if operation.out is not None or operation.kind in ("table", "document"):
        found.append(_answer_header("ETag", OpenApiTypes.STR, [operation.status], "Hash of the answer."))
    if operation.kind == "page":
        found.append(
            _answer_header("Link", OpenApiTypes.STR, [200], "next and prev (RFC 8288).", needed=False)
        )
    if operation.at:
        found.append(_answer_header("Location", OpenApiTypes.STR, [operation.status], "Where it is."))
    return found


def _answer_header(
    name: str, kind: Any, statuses: list[int], text: str, *, needed: bool = True
) -> OpenApiParameter:
    return OpenApiParameter(
        name, kind, HEADER, required=needed, description=text, response=[str(status) for status in statuses]
    )
