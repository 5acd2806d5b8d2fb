"""A browser without JavaScript: cookies, forms with their CSRF token, redirects told and not followed."""

import json
import re
import urllib.error
import urllib.parse
import urllib.request
from dataclasses import dataclass, field
from http.client import HTTPMessage
from http.cookiejar import CookieJar
from typing import Any


@dataclass(frozen=True)
class Reply:
    """What a server answered."""

    status: int
    headers: HTTPMessage
    body: str

    @property
    def data(self) -> Any:
        """The body as JSON."""
        return json.loads(self.body)


class _Told(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *_: Any, **__: Any) -> None:
        return None


@dataclass
class WebClient:
    """One visitor of a server."""

    server: str
    cookies: CookieJar = field(default_factory=CookieJar)

    def call(self, method: str, path: str, content: bytes | None = None, **headers: str) -> Reply:
        """One request; ``headers`` in Python's spelling."""
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        request = urllib.request.Request(f"{self.server}{path}", content, sent, method=method)
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(self.cookies), _Told())
        try:
            return _reply(opener.open(request, timeout=30))
        except urllib.error.HTTPError as error:
            return _reply(error)

    def send(self, method: str, path: str, body: Any = None, **headers: str) -> Reply:
        """A request of the API with a JSON body."""
        content = None if body is None else json.dumps(body).encode()
        return self.call(method, f"/api/v1/{path}", content, content_type="application/json", **headers)

    def fill(self, path: str, **fields: str) -> Reply:
        """Open a page and send its form."""
        return self.submit(self.call("GET", path), path, **fields)

    def submit(self, page: Reply, path: str, **fields: str) -> Reply:
        """Send the form of an open page."""
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page.body)
        assert token is not None, (page.status, page.body)
        content = urllib.parse.urlencode({"csrfmiddlewaretoken": token[1], **fields}).encode()
        return self.call("POST", path, content, origin=self.server)


def _reply(response: Any) -> Reply:
    with response:
        return Reply(response.status, response.headers, response.read().decode())
