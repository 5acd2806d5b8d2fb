"""Pages by cursor: no page is skipped or doubled when rows come in between, and no total is counted."""

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from django.core import signing
from django.db.models import QuerySet
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request
from rest_framework.utils.urls import replace_query_param

from exchange.api.errors import ApiProblem
from exchange.api.media import json_bytes

DEFAULT_LIMIT = 50
HIGHEST_LIMIT = 100
CURSOR_PARAMETER = "cursor"


class Page(CursorPagination):
    """One page of a query; the cursor is signed for its address, so that it is of use nowhere else."""

    page_size_query_param = "limit"
    max_page_size = HIGHEST_LIMIT
    page_size = DEFAULT_LIMIT

    def __init__(self, order: Sequence[str]) -> None:
        self.order = tuple(order)

    def rows(self, query: QuerySet[Any], request: Request) -> list[Any]:
        """The rows of this page."""
        # Without a time stamp: the same page has the same links, and so the same ETag.
        self.signer = signing.Signer(salt=f"cursor {request.path}")
        return list(self.paginate_queryset(query, request) or [])

    def get_ordering(self, request: Request, queryset: QuerySet[Any], view: Any) -> tuple[str, ...]:
        """Fixed by the operation."""
        return self.order

    def decode_cursor(self, request: Request) -> Cursor | None:
        """The cursor of the request, if it is one of ours."""
        encoded = request.query_params.get(CURSOR_PARAMETER)
        if encoded is None:
            return None
        try:
            offset, is_reverse, position = self.signer.unsign_object(encoded)
        except (signing.BadSignature, ValueError, TypeError) as error:
            raise ApiProblem("cursor_unknown") from error
        return Cursor(offset=offset, reverse=is_reverse, position=position)

    def encode_cursor(self, cursor: Cursor) -> str:
        """The address of the page at a cursor."""
        token = self.signer.sign_object([cursor.offset, cursor.reverse, cursor.position])
        return replace_query_param(str(self.base_url), CURSOR_PARAMETER, token)

    def links(self) -> "Links":
        """To the pages beside this one."""
        return Links(self.get_next_link(), self.get_previous_link())


class Links(NamedTuple):
    """Addresses of the pages beside one; None where there is none."""

    next: str | None = None
    previous: str | None = None

    def header(self) -> str:
        """As a header (RFC 8288); empty if there are none."""
        named = (("next", self.next), ("prev", self.previous))
        return ", ".join(f'<{address}>; rel="{name}"' for name, address in named if address)

    def around(self, results: Iterable[bytes]) -> bytes:
        """The body of a page of rendered rows."""
        return b'{"results":[%b],%b' % (b",".join(results), json_bytes(self._asdict())[1:])
