"""The document itself and the page that shows it, both without inline script."""

from functools import cache

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from drf_spectacular.generators import SchemaGenerator

from exchange.api.etag import etag_of
from exchange.api.media import json_bytes


def document() -> dict[str, object]:
    """The OpenAPI document of what this code answers."""
    return dict(SchemaGenerator().get_schema(request=None, public=True))  # type: ignore[no-untyped-call]


@cache
def document_json() -> bytes:
    """The document as sent; it does not change while the process lives."""
    return json_bytes(document())


@require_safe
def openapi_json(request: HttpRequest) -> HttpResponse:
    """The document."""
    body = document_json()
    headers = {"ETag": etag_of(body), "Cache-Control": "public, max-age=300"}
    return HttpResponse(body, content_type="application/json", headers=headers)


@require_safe
def docs(request: HttpRequest) -> HttpResponse:
    """The document to read and try."""
    return render(request, "api/docs.html")
