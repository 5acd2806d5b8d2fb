"""The calendar feed: what a grower's calendar program reads at a secret address, without signing in."""

import hashlib

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_safe

from exchange.services.calendar_feed import feed_read

MEDIA_TYPE = "text/calendar; charset=utf-8"
HEADERS = {
    "Cache-Control": "private, no-cache",
    "Referrer-Policy": "no-referrer",
    "X-Robots-Tag": "noindex",
}


@csrf_exempt  # Other methods are answered that they are not allowed, and not that a cookie is missing.
@require_safe
def calendar_read(_request: HttpRequest, secret: str) -> HttpResponse:
    """The file; an address that never was one and one that was revoked are not found, like any other."""
    body = feed_read(secret=secret)
    if body is None:
        raise Http404
    return HttpResponse(body, content_type=MEDIA_TYPE, headers={**HEADERS, "ETag": _tag(body)})


def _tag(body: bytes) -> str:
    """For HEAD too, which Django tags nothing of."""
    return f'"{hashlib.sha256(body).hexdigest()[:32]}"'
