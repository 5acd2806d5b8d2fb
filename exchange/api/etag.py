"""ETags from the content itself: equal answers have equal tags, and a tag tells nothing more than it."""

import hashlib
import re
from typing import Any

from django.http import HttpResponse
from rest_framework.request import Request

from exchange.api.errors import ApiProblem
from exchange.api.media import json_bytes

MEDIA_TYPE = "application/json"
TAG = re.compile(r'(?:W/)?"[^"]*"')


def etag_of(content: bytes) -> str:
    """The strong tag of a rendered answer."""
    return f'"{hashlib.sha256(content).hexdigest()[:32]}"'


def tagged(content: Any, status: int = 200) -> HttpResponse:
    """The content as JSON with its tag."""
    return tagged_bytes(json_bytes(content), status)


def tagged_bytes(body: bytes, status: int = 200) -> HttpResponse:
    """Rendered content with its tag."""
    return HttpResponse(body, status=status, content_type=MEDIA_TYPE, headers={"ETag": etag_of(body)})


def required_match(request: Request) -> str:
    """The header If-Match; missing, it is asked for."""
    header = str(request.headers.get("If-Match", "")).strip()
    if not header:
        raise ApiProblem("if_match_missing")
    return header


def match_check(header: str, content: Any) -> None:
    """Refuse a change to something that is not what its sender read (RFC 9110, 13.1.1)."""
    # Weak tags never match: the comparison of If-Match is the strong one.
    if header != "*" and etag_of(json_bytes(content)) not in TAG.findall(header):
        raise ApiProblem("stale")
