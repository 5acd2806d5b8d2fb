"""One POST to an address of a grower's: to the address that was checked, once, and not for long.

No redirect is followed, no proxy of the environment used, no body read: only the status counts.
"""

import socket
import ssl
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from http.client import HTTPException

from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.exceptions import HTTPError

from exchange.services.webhook_address import AddressRefused, IpAddress, Target, addresses_of, target_of

SECONDS = 10.0
"""For all of it: name, connection, handshake, answer (the specification says 15 to 30; judgement)."""

MOST_ADDRESSES = 3
"""Of one name that are tried, if the first does not answer (judgement)."""


@dataclass(frozen=True)
class Outcome:
    """What an attempt came to: a status, or none and an error; ``seconds`` that it took."""

    status: int | None
    error: str
    seconds: float

    @property
    def is_received(self) -> bool:
        """Whether the receiver has it."""
        return self.status is not None and 200 <= self.status < 300

    @property
    def is_gone(self) -> bool:
        """Whether the receiver wants nothing more."""
        return self.status == 410


class NotInTime(Exception):
    """The whole time was used up."""


class _Time:
    """What is left of the time for one attempt."""

    def __init__(self) -> None:
        self.started = time.monotonic()

    def spent(self) -> float:
        return time.monotonic() - self.started

    def is_up(self) -> bool:
        return self.spent() >= SECONDS

    def left(self) -> float:
        if self.is_up():
            raise NotInTime
        return SECONDS - self.spent()


class _Pinned(HTTPConnection):
    """A connection over a socket that is already open; the host is for the header ``Host`` only."""

    opened: socket.socket

    def _new_conn(self) -> socket.socket:
        return self.opened


class _PinnedTls(HTTPSConnection):
    """The same with TLS: the name is sent along (SNI), and the certificate must be for it."""

    opened: socket.socket

    def _new_conn(self) -> socket.socket:
        return self.opened


def send(url: str, headers: Mapping[str, str], body: bytes) -> Outcome:
    """Send a body by one POST; never raises for what the other side does."""
    left = _Time()
    status = None
    try:
        status = _sent(target_of(url), headers, body, left)
        error = _unless_received(status)
    except AddressRefused as refused:
        error = f"refused_{refused.code}"
    except (NotInTime, OSError, HTTPError, HTTPException, ValueError) as failure:
        # Whoever is cut off at the end of the time fails in one way or another.
        error = "timed_out" if left.is_up() else _named(failure)
    return Outcome(status, error, round(left.spent(), 3))


def _unless_received(status: int) -> str:
    if 200 <= status < 300:
        return ""
    return "redirected" if 300 <= status < 400 else "not_accepted"


def _named(failure: Exception) -> str:
    if isinstance(failure, NotInTime | TimeoutError):
        return "timed_out"
    return "not_secure" if isinstance(failure, ssl.SSLError) else "no_answer"


def _sent(target: Target, headers: Mapping[str, str], body: bytes, left: _Time) -> int:
    addresses = addresses_of(target, left.left())
    opened = _opened(addresses, target.port, left)
    with opened, _cut_off(opened, left.left()):
        with closing(_connection(target, opened, left.left())) as connection:
            connection.request("POST", target.path, body=body, headers=headers, preload_content=False)
            status = int(connection.getresponse().status)
        left.left()  # a head that was cut off reads like one that ended
        return status


def _connection(target: Target, opened: socket.socket, seconds: float) -> _Pinned | _PinnedTls:
    connection: _Pinned | _PinnedTls
    if target.is_test:
        connection = _Pinned(target.host, target.port, timeout=seconds)
    else:
        connection = _PinnedTls(target.host, target.port, timeout=seconds, ssl_context=tls_context())
    connection.opened = opened
    return connection


def tls_context() -> ssl.SSLContext:
    """Certificates are checked against what the machine trusts."""
    return ssl.create_default_context()


def _opened(addresses: list[IpAddress], port: int, left: _Time) -> socket.socket:
    """A connection to the first of the checked addresses that answers."""
    failed: OSError = ConnectionError("no address")
    for address in addresses[:MOST_ADDRESSES]:
        try:
            return connect(address, port, left.left())
        except OSError as error:
            failed = error
    raise failed


def connect(address: IpAddress, port: int, seconds: float) -> socket.socket:
    """An open connection to an address, as a number: nothing is looked up again."""
    family = socket.AF_INET6 if address.version == 6 else socket.AF_INET
    opened = socket.socket(family, socket.SOCK_STREAM)
    try:
        opened.settimeout(seconds)
        opened.connect((str(address), port))
    except BaseException:
        opened.close()
        raise
    return opened


@contextmanager
def _cut_off(opened: socket.socket, seconds: float) -> Iterator[None]:
    """End a connection after so many seconds, however slowly and steadily the other side talks.

    The time limit of a socket counts for each read anew. A twin outlives the handshake, which takes the
    socket over.
    """
    twin = opened.dup()
    timer = threading.Timer(seconds, _shut, [twin])
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
        timer.join()
        twin.close()


def _shut(twin: socket.socket) -> None:
    try:
        twin.shutdown(socket.SHUT_RDWR)
    except OSError:
        return  # the other side was faster
