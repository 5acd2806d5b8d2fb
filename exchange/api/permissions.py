"""What an operation needs: nobody known, a scope of a token, or a sign-in itself."""

from typing import Any

from rest_framework.exceptions import NotAuthenticated
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from exchange.api.authentication import REALM
from exchange.api.errors import ApiProblem
from exchange.models import ApiToken


class OperationPermission(BasePermission):
    """Denies by default; a row that is not the asker's to see is a 404 of its resource, not a matter here."""

    def has_permission(self, request: Request, view: Any) -> bool:
        """Whether the asker may call the operation; raises the problem that says what is missing."""
        operation = view.operation(request.method)
        if operation is None or operation.public:
            return True
        if not request.user.is_authenticated:
            raise NotAuthenticated()
        if isinstance(request.auth, ApiToken):
            _token_check(request.auth, operation.scope, operation.session_only)
        return True


def _token_check(token: ApiToken, scope: str, session_only: bool) -> None:
    if session_only:
        raise ApiProblem("sign_in_itself_needed")
    if scope not in token.scopes:
        header = f'{REALM}, error="insufficient_scope", scope="{scope}"'
        raise ApiProblem("scope_missing", headers={"WWW-Authenticate": header})
