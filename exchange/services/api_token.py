"""Tokens of clients: made, renamed, revoked, and noted when used."""

from dataclasses import dataclass
from datetime import timedelta

from knox.models import get_digest_token
from knox.settings import CONSTANTS

from exchange.models import ApiToken
from growers import clock
from growers.errors import NotFound
from growers.models import Grower
from growers.services.problem import Problems
from growers.services.row import columns_check, fields_set

LONGEST_DAYS = 366
MOST_TOKENS = 50


@dataclass(frozen=True)
class TokenMade:
    """A new token with its secret, which is shown this once and kept nowhere."""

    token: ApiToken
    secret: str


def token_create(*, actor: Grower, name: str, scopes: list[str], lifetime_days: int) -> TokenMade:
    """Make a token; at most so many at a time, so that old ones are revoked and not forgotten."""
    digest, secret = get_digest_token()
    now = clock.true_now()
    token = ApiToken(
        user=actor,
        digest=digest,
        token_key=secret[: CONSTANTS.TOKEN_KEY_LENGTH],
        scopes=[scope for scope in ApiToken.ALL_SCOPES if scope in scopes],
        expiry=now + timedelta(days=lifetime_days),
    )
    fields_set(token, {"name": name}, ("name",))
    _token_check(token, scopes, lifetime_days)
    token.save(force_insert=True)
    return TokenMade(token, secret)


def token_rename(*, actor: Grower, token: ApiToken, name: str) -> ApiToken:
    """Give one's own token another name."""
    own = ApiToken.objects.filter(digest=token.digest, user=actor).first()
    if own is None:
        raise NotFound("There is no such token.")
    fields_set(own, {"name": name}, ("name",))
    problems = Problems()
    columns_check(own, problems, ranges={}, names=("name",))
    problems.refuse_if_any()
    own.save(update_fields=["name"])
    return own


def token_revoke(*, actor: Grower, token: ApiToken) -> None:
    """End one's own token at once."""
    deleted, _ = ApiToken.objects.filter(digest=token.digest, user=actor).delete()
    if not deleted:
        raise NotFound("There is no such token.")


def tokens_revoke_all(*, actor: Grower) -> int:
    """End all tokens of a grower at once; how many there were."""
    deleted, _ = ApiToken.objects.filter(user=actor).delete()
    return deleted


def token_used(token: ApiToken) -> None:
    """Note that a token was used; callers do so every few minutes, not at each request."""
    ApiToken.objects.filter(digest=token.digest).update(last_used_at=clock.true_now())


def _token_check(token: ApiToken, scopes: list[str], lifetime_days: int) -> None:
    problems = Problems()
    columns_check(token, problems, ranges={}, names=("name",))
    if not scopes or not set(scopes) <= set(ApiToken.ALL_SCOPES):
        problems.add("scopes", scopes, f"one or more of {', '.join(ApiToken.ALL_SCOPES)}")
    if not 1 <= lifetime_days <= LONGEST_DAYS:
        problems.add("lifetime_days", lifetime_days, f"1 to {LONGEST_DAYS}")
    if ApiToken.objects.filter(user=token.user, expiry__gt=clock.true_now()).count() >= MOST_TOKENS:
        problems.add_sentence(
            "name", "too_many", f"You have {MOST_TOKENS} tokens; revoke one that is not used any more."
        )
    problems.refuse_if_any()
