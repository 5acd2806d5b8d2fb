"""JSON out, whatever a client says it would accept: there is nothing else to choose."""

import json
from collections.abc import Iterable
from typing import Any

from django.http import HttpRequest
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.utils.encoders import JSONEncoder


def json_bytes(content: Any) -> bytes:
    """One form of the same content, always: ETags are hashes of it."""
    text = json.dumps(content, cls=JSONEncoder, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    # Half of a surrogate pair, echoed from a request, has no UTF-8.
    return text.encode("utf-8", "replace")


class JsonRenderer(JSONRenderer):
    """Names the media type in the document; answers are rendered by :func:`json_bytes`."""

    def render(
        self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None
    ) -> bytes:
        """The content as JSON, never indented."""
        return json_bytes(data)


class JsonOnly(BaseContentNegotiation):
    """Chooses the parser by the request's media type and the renderer not at all."""

    def select_parser(self, request: Any, parsers: Iterable[BaseParser]) -> BaseParser | None:
        """The parser of the declared media type, if there is one."""
        return next(
            (
                parser
                for parser in parsers
                if request.content_type.partition(";")[0].strip().lower() == parser.media_type
            ),
            None,
        )

    def select_renderer(
        self, request: HttpRequest, renderers: Iterable[BaseRenderer], format_suffix: str | None = None
    ) -> tuple[BaseRenderer, str]:
        """The first renderer."""
        renderer = next(iter(renderers))
        return renderer, str(renderer.media_type)
