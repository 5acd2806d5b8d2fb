"""The limit of requests from a network, for pages that everybody may read."""

from collections.abc import Callable
from functools import wraps

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from rest_framework.throttling import BaseThrottle

from exchange.api.failure import too_many_requests
from exchange.api.throttle import count, seconds_left

Page = Callable[..., HttpResponse]


def within_limit(page: Page) -> Page:
    """The page, counted together with what the network asks of the API without a token."""

    @wraps(page)
    def limited(request: HttpRequest, **path: str) -> HttpResponse:
        network = BaseThrottle().get_ident(request)  # type: ignore[arg-type]
        if count(f"network {network}") > settings.GUEST_REQUESTS_PER_MINUTE:
            return too_many_requests(request, seconds_left())
        return page(request, **path)

    return limited
