"""A receiver of webhooks on this machine: what it was sent, and answers of any kind."""

import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from django.conf import settings

from exchange.models import Notification, Webhook
from exchange.services.webhook import webhook_create
from growers.models import Grower
from tests.factories import make_offer, make_plant


@dataclass
class Request:
    """One request as it came."""

    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Receiver:
    """A server that answers with ``status`` and ``extra`` headers; ``speaks`` takes the answer over."""

    status: int = 204
    extra: dict[str, str] = field(default_factory=dict)
    speaks: Callable[[Any, threading.Event], None] | None = None
    got: list[Request] = field(default_factory=list)
    port: int = 0
    is_over: threading.Event = field(default_factory=threading.Event)

    @property
    def address(self) -> str:
        return f"127.0.0.1:{self.port}"

    @property
    def url(self) -> str:
        return f"http://{self.address}/pollen?from=exchange"


def _handler(receiver: Receiver) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["content-length"]))
            headers = {name.lower(): value for name, value in self.headers.items()}
            receiver.got.append(Request(self.path, headers, body))
            if receiver.speaks is not None:
                receiver.speaks(self.wfile, receiver.is_over)
                self.close_connection = True
                return
            self.send_response(receiver.status)
            for name, value in {"Content-Length": "0", **receiver.extra}.items():
                self.send_header(name, value)
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            return

    return Handler


class _Server(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, *_: Any) -> None:
        """Whoever hangs up is expected here."""


@contextmanager
def receiving(receiver: Receiver | None = None, tls: ssl.SSLContext | None = None) -> Iterator[Receiver]:
    """A receiver on a free port, gone when the block ends."""
    made = receiver or Receiver()
    server = _Server(("127.0.0.1", 0), _handler(made))
    if tls is not None:
        server.socket = tls.wrap_socket(server.socket, server_side=True, do_handshake_on_connect=False)
    made.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
    thread.start()
    try:
        yield made
    finally:
        made.is_over.set()
        server.shutdown()
        server.server_close()
        thread.join()


@contextmanager
def receiving_here(receiver: Receiver | None = None) -> Iterator[Receiver]:
    """A receiver at the address that may be contacted in tests."""
    before = settings.WEBHOOK_TEST_ADDRESS
    with receiving(receiver) as made:
        settings.WEBHOOK_TEST_ADDRESS = made.address
        try:
            yield made
        finally:
            settings.WEBHOOK_TEST_ADDRESS = before


def free_port() -> int:
    """A port at which nobody listens."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


def make_webhook(grower: Grower, url: str = "https://hooks.example/pollen", **stated: Any) -> Webhook:
    """An address of a grower's."""
    return webhook_create(actor=grower, url=url, **stated).webhook


def tell(grower: Grower, **stated: Any) -> Notification:
    """A grower is asked whether an offer still holds."""
    offer = make_offer(make_plant(grower))
    kind = Notification.Kind.STILL_TRUE
    return Notification.objects.create(**{"grower": grower, "kind": kind, "offer": offer, **stated})
