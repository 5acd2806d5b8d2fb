"""Limits that keep the server usable; what is scarce is protected by the database, not by these."""

import hashlib
from typing import TYPE_CHECKING

from django.conf import settings
from django.core.cache import cache
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from exchange.api.errors import ApiProblem
from growers import clock

if TYPE_CHECKING:  # its class body imports this module
    from rest_framework.views import APIView

WINDOW_SECONDS = 60
NETWORK_FACTOR = 3
"""A network may try this many times as often as one address: several people may share it."""


def seconds_left() -> int:
    """Until the present window ends."""
    return WINDOW_SECONDS - int(clock.true_now().timestamp()) % WINDOW_SECONDS


def count(what: str) -> int:
    """How often this has happened in the present window, this time included."""
    window = int(clock.true_now().timestamp()) // WINDOW_SECONDS
    key = f"limit:{hashlib.sha256(what.encode()).hexdigest()}:{window}"
    if cache.add(key, 1, timeout=2 * WINDOW_SECONDS):
        return 1
    try:
        return int(cache.incr(key))
    except ValueError:  # lost from the cache between the two calls
        return 1


class RequestThrottle(BaseThrottle):
    """So many requests a minute for a grower, fewer for a network without one."""

    def allow_request(self, request: Request, view: "APIView") -> bool:
        """Whether this request is within the limit."""
        if request.user.is_authenticated:
            return count(f"grower {request.user.pk}") <= settings.REQUESTS_PER_MINUTE
        return count(f"network {self.get_ident(request)}") <= settings.GUEST_REQUESTS_PER_MINUTE

    def wait(self) -> float:
        """Seconds until it is allowed again."""
        return seconds_left()


def network_counted(request: Request, what: str, limit: int) -> None:
    """Count one use of something costly from a network; refuse it when there were too many."""
    if count(f"{what} from {BaseThrottle().get_ident(request)}") > limit:
        raise ApiProblem("too_many_requests", headers={"Retry-After": str(seconds_left())})


def sign_in_counted(request: Request, email: str) -> None:
    """Count one attempt to sign in; refuse it when there were too many, whether or not the address exists."""
    network = BaseThrottle().get_ident(request)
    tried = count(f"sign-in {email.casefold()}")
    tried_from_here = count(f"sign-in from {network}")
    limit = settings.SIGN_INS_PER_MINUTE
    if tried > limit or tried_from_here > limit * NETWORK_FACTOR:
        raise ApiProblem("too_many_requests", headers={"Retry-After": str(seconds_left())})
