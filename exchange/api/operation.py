"""What an operation is: declared once beside its handler, read by the view and by the document.

Each decorator turns a handler ``(self, call) -> result`` into one operation of a
:class:`exchange.api.resource.Resource`. The result is a row (a model or a selector's dataclass, passed
through the resource's ``represent``), a query for a page, or nothing where something is removed.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from django.http import HttpResponse
from rest_framework.request import Request
from rest_framework.serializers import Serializer

from exchange.api.document import declared
from exchange.api.strict import StrictSerializer
from growers.models import Grower

Kind = Literal["read", "page", "table", "document", "create", "act", "change", "remove"]
Out = type[Serializer[Any]]
In = type[StrictSerializer]
Example = dict[str, Any] | str


@dataclass
class Call:
    """One call of an operation, everything checked: who asks, the row of the address, body and query."""

    request: Request
    grower: Grower
    row: Any = None
    data: dict[str, Any] = field(default_factory=dict)
    query: dict[str, Any] = field(default_factory=dict)


Handler = Callable[[Any, Call], Any]
Method = Callable[..., HttpResponse]
Decorator = Callable[[Handler], Method]


@dataclass(frozen=True)
class Operation:
    """One operation; ``name`` is its operationId and never changes.

    Attributes
    ----------
    scope : str
        What a token must have; ``session_only`` refuses tokens altogether; ``public`` asks for nobody.
    keyed : bool
        Needs an Idempotency-Key.
    secret : bool
        The answer is for its receiver alone: no cache keeps it, and it is not kept for a replay.
    problems : tuple of str
        Codes of the catalogue besides those that every operation of the kind has.
    at : str
        Name of the route of what is created, for the header Location.
    order : tuple of str
        Order of a page's rows; the last field must be unique.
    media_type : str
        Of a document.
    """

    kind: Kind
    name: str
    summary: str
    out: Out | None = None
    body: In | None = None
    query: In | None = None
    example: Example | None = None
    body_example: Example | None = None
    problems: tuple[str, ...] = ()
    scope: str = "read"
    public: bool = False
    session_only: bool = False
    keyed: bool = False
    secret: bool = False
    at: str = ""
    order: tuple[str, ...] = ()
    media_type: str = ""
    status: int = 200
    handler: Handler = field(default=lambda _self, _call: None)


def read(name: str, summary: str, out: Out, *, example: Example, **options: Any) -> Decorator:
    """GET of one thing, with its ETag."""
    return _operation("read", name, summary, out=out, example=example, **options)


def page(
    name: str, summary: str, out: Out, *, example: Example, order: Sequence[str], **options: Any
) -> Decorator:
    """GET of a list by cursor; the handler gives a query, or a list that is one page."""
    return _operation("page", name, summary, out=out, example=example, order=tuple(order), **options)


def table(name: str, summary: str, *, example: str, **options: Any) -> Decorator:
    """GET of a CSV table, all of it; the handler gives its text."""
    return _operation("table", name, summary, example=example, **options)


def document(name: str, summary: str, *, media_type: str, example: Example, **options: Any) -> Decorator:
    """GET of a file; the handler gives a :class:`exchange.api.file.File`.

    With ``out`` the answer is JSON of this shape, without it bytes that only their media type describes.
    """
    return _operation("document", name, summary, media_type=media_type, example=example, **options)


def create(name: str, summary: str, body: In, out: Out, **options: Any) -> Decorator:
    """POST that makes something; needs an Idempotency-Key, answers 201."""
    stated = {"scope": "write", "keyed": True, "status": 201, **options}
    return _operation("create", name, summary, body=body, out=out, **stated)


def act(name: str, summary: str, out: Out, *, example: Example, **options: Any) -> Decorator:
    """POST that changes a state; calling it twice is the same as once unless ``keyed``."""
    return _operation("act", name, summary, out=out, example=example, **{"scope": "write", **options})


def change(name: str, summary: str, body: In, out: Out, **options: Any) -> Decorator:
    """PATCH with If-Match; what is not stated stays."""
    return _operation("change", name, summary, body=body, out=out, **{"scope": "write", **options})


def remove(name: str, summary: str, **options: Any) -> Decorator:
    """DELETE with If-Match."""
    return _operation("remove", name, summary, **{"scope": "write", "status": 204, **options})


def _operation(kind: Kind, name: str, summary: str, **options: Any) -> Decorator:
    def decorate(handler: Handler) -> Method:
        operation = Operation(kind=kind, name=name, summary=summary, handler=handler, **options)

        def method(view: Any, request: Request, **path: Any) -> HttpResponse:
            return view.perform(operation, request, path)  # type: ignore[no-any-return]

        method.__doc__, method.__name__, method.__module__ = (
            handler.__doc__,
            handler.__name__,
            handler.__module__,
        )
        method.operation = operation  # type: ignore[attr-defined]
        described: Method = declared(operation)(method)
        return described

    return decorate
