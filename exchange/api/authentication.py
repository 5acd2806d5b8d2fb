"""Who asks: a client with a bearer token, or a page with a session."""

from datetime import timedelta
from hmac import compare_digest

from knox.crypto import hash_token
from knox.settings import CONSTANTS
from rest_framework.authentication import BaseAuthentication, SessionAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from exchange.models import ApiToken
from exchange.services.api_token import token_used
from growers import clock
from growers.models import Grower

SCHEME = "Bearer"
REALM = 'Bearer realm="pollen exchange"'
USE_NOTED_EACH = timedelta(minutes=5)


class BearerAuthentication(BaseAuthentication):
    """Finds the token by its beginning and compares hashes; one query."""

    def authenticate(self, request: Request) -> tuple[Grower, ApiToken] | None:
        """The grower and the token; None without a bearer token."""
        words = get_authorization_header(request).split()
        if not words or words[0].lower() != SCHEME.lower().encode():
            return None
        token = words[1].decode("ascii", "replace") if len(words) == 2 else ""
        found = _token(token)
        if found is None:
            raise AuthenticationFailed()
        if found.last_used_at is None or clock.true_now() - found.last_used_at > USE_NOTED_EACH:
            token_used(found)
        return found.user, found

    def authenticate_header(self, request: Request) -> str:
        """What a client without a good token is told."""
        sent = get_authorization_header(request).lower().startswith(SCHEME.lower().encode())
        return f'{REALM}, error="invalid_token"' if sent else REALM


def _token(token: str) -> ApiToken | None:
    beginning = token[: CONSTANTS.TOKEN_KEY_LENGTH]
    digest = hash_token(token)
    for found in ApiToken.objects.filter(token_key=beginning).select_related("user"):
        alive = found.expiry is None or found.expiry > clock.true_now()
        if compare_digest(digest, found.digest) and alive and found.user.is_active:
            return found
    return None


class PageSessionAuthentication(SessionAuthentication):
    """The session of our own pages, with CSRF."""
