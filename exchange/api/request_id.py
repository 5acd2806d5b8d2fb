"""Every request has an id: in the answer, in problems and in every line of the log."""

import re
import time
import uuid
from collections.abc import Callable

import structlog
from django.http import HttpRequest, HttpResponse

HEADER = "X-Request-Id"
GIVEN = re.compile(r"[A-Za-z0-9._-]{8,64}", re.ASCII)

log = structlog.get_logger("exchange.request")


class RequestIdMiddleware:
    """Takes a client's id if it is a plain word, else makes one; logs one line without personal data."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request."""
        given = request.headers.get(HEADER, "")
        request_id = given if GIVEN.fullmatch(given) else uuid.uuid4().hex
        request.request_id = request_id  # type: ignore[attr-defined]
        started = time.perf_counter()
        with structlog.contextvars.bound_contextvars(request_id=request_id):
            response = self.get_response(request)
            response[HEADER] = request_id
            # The route and not the path: a path may hold what only its owner knows.
            route = request.resolver_match.route if request.resolver_match else ""
            milliseconds = round((time.perf_counter() - started) * 1000, 1)
            log.info(
                "request",
                method=request.method,
                route=route,
                status=response.status_code,
                milliseconds=milliseconds,
            )
        return response
