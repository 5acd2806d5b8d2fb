"""Tokens: made by signing in, listed, renamed, revoked."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.errors import ApiProblem
from exchange.api.operation import Call, change, create, page, read, remove
from exchange.api.resource import Resource
from exchange.api.strict import Choice, StrictSerializer, Text, Whole, Words
from exchange.api.throttle import sign_in_counted
from exchange.models import ApiToken
from exchange.services.account import grower_signing_in
from exchange.services.api_token import (
    LONGEST_DAYS,
    TokenMade,
    token_create,
    token_rename,
    token_revoke,
)
from growers.models import Grower

TOKEN = {
    "id": "5f0f8a43-3a4b-4a55-9d4c-1d8a4a3c7e10",
    "name": "laptop",
    "beginning": "pollen_3fa4c1d2",
    "scopes": ["read", "write"],
    "created_at": "2027-06-20T07:30:00Z",
    "expires_at": "2027-09-18T07:30:00Z",
    "last_used_at": None,
}
SHOWN_ONCE = "pollen_3fa4c1d2…"
SIGN_IN = {
    "email": "name@example.org",
    "password": "correct horse battery",
    "name": "laptop",
    "scopes": ["read", "write"],
    "lifetime_days": 90,
}


class TokenOut(serializers.Serializer[Any]):
    """A token without its secret."""

    id = serializers.UUIDField(source="public_id")
    name = serializers.CharField()
    beginning = serializers.CharField(source="token_key", help_text="To recognise it by.")
    scopes = serializers.ListField(child=serializers.ChoiceField(ApiToken.Scope.choices))
    created_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField(source="expiry")
    last_used_at = serializers.DateTimeField(allow_null=True, help_text="To a few minutes.")


class TokenMadeOut(TokenOut):
    """A new token; its secret is shown this once."""

    secret = serializers.CharField()


class TokenIn(StrictSerializer):
    """Who signs in, and what the token is to be; e-mail and password are left out in a session."""

    email = Text(max_length=254, required=False)
    password = Text(max_length=256, required=False)
    code = Text(max_length=32, required=False, help_text="Of the second factor, where one is set.")
    name = Text(max_length=80)
    scopes = Words(child=Choice(ApiToken.Scope.choices), min_length=1, max_length=3, default=["read"])
    lifetime_days = Whole(1, LONGEST_DAYS, default=90)


class TokenChangeIn(StrictSerializer):
    """A new name."""

    name = Text(max_length=80)


class TokenList(Resource):
    """The viewer's tokens."""

    tag = "tokens"

    def actor(self, call: Call) -> Grower:
        """Whoever signs in with this request, or is in a session."""
        email, password = call.data.pop("email", None), call.data.pop("password", None)
        code = call.data.pop("code", "")
        if email is None and password is None and call.request.user.is_authenticated:
            if isinstance(call.request.auth, ApiToken):
                raise ApiProblem("sign_in_itself_needed")
            return super().actor(call)
        sign_in_counted(call.request, email or "")
        grower = grower_signing_in(email=email or "", password=password or "", code=code)
        if grower is None:
            raise ApiProblem("sign_in_failed", headers={"WWW-Authenticate": 'Bearer realm="pollen exchange"'})
        return grower

    @page(
        "token_list",
        "Your tokens, newest first",
        TokenOut,
        example=TOKEN,
        order=("-created_at", "public_id"),
    )
    def get(self, call: Call) -> QuerySet[ApiToken]:
        """Also those that have expired, until they are revoked."""
        return ApiToken.objects.filter(user=call.grower)

    @create(
        "token_create",
        "Sign in and make a token",
        TokenIn,
        TokenMadeOut,
        example={**TOKEN, "secret": SHOWN_ONCE},
        body_example=SIGN_IN,
        problems=("sign_in_failed", "sign_in_itself_needed", "csrf_failed"),
        public=True,
        secret=True,
        at="token",
    )
    def post(self, call: Call) -> TokenMade:
        """By e-mail and password, or in a session of the pages; a token cannot make tokens.

        The secret is shown once and kept nowhere: a replay is answered with `secret_already_shown`.
        """
        return token_create(actor=call.grower, **call.data)

    def represent(self, row: ApiToken | TokenMade) -> Any:
        """With the secret, if it is new."""
        if isinstance(row, TokenMade):
            row.token.secret = row.secret
            return row.token
        return row


class TokenItem(Resource):
    """One of the viewer's tokens."""

    tag = "tokens"

    def rows(self, call: Call) -> QuerySet[ApiToken]:
        """The viewer's own."""
        return ApiToken.objects.filter(user=call.grower)

    @read("token_read", "One of your tokens", TokenOut, example=TOKEN, problems=("not_found",))
    def get(self, call: Call) -> ApiToken:
        """Without its secret, which is kept nowhere."""
        return call.row  # type: ignore[no-any-return]

    @change(
        "token_change",
        "Rename a token",
        TokenChangeIn,
        TokenOut,
        example=TOKEN,
        body_example={"name": "laptop"},
        problems=("not_found",),
    )
    def patch(self, call: Call) -> ApiToken:
        """Scopes and expiry stay as they were made."""
        return token_rename(actor=call.grower, token=call.row, name=call.data.get("name", call.row.name))

    @remove("token_remove", "Revoke a token", problems=("not_found",))
    def delete(self, call: Call) -> None:
        """It stops working at once; `If-Match: *` revokes it whatever it is called now."""
        token_revoke(actor=call.grower, token=call.row)
