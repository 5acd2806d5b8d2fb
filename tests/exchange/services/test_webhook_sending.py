"""One POST: to the address that was checked and no other, by name and certificate, never for long."""

import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from exchange.services import webhook_sending
from exchange.services.webhook_address import IpAddress
from exchange.services.webhook_sending import Outcome, send
from tests.exchange.receiver import Receiver, free_port, receiving, receiving_here
from tests.exchange.tls import Authority, make_authority

PUBLIC = "93.184.216.34"
NAME = "hooks.example"
URL = f"https://{NAME}/pollen?from=exchange"
HEADERS = {"content-type": "application/json", "webhook-id": "one"}
BODY = b'{"a":1}'


def sent(url: str = URL) -> tuple[int | None, str]:
    """Status and error of one attempt."""
    outcome = send(url, HEADERS, BODY)
    assert outcome.seconds >= 0.0
    return outcome.status, outcome.error


class World:
    """A resolver that gives one answer after the other, and a net in which every address is a receiver's."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.answers: list[list[str]] = [[PUBLIC]]
        self.asked = 0
        self.connected: list[tuple[str, int]] = []
        self.receiver: Receiver | None = None
        self.silent: set[str] = set()
        monkeypatch.setattr(socket, "getaddrinfo", self.resolve)
        monkeypatch.setattr(webhook_sending, "connect", self.connect)

    def resolve(self, host: str, port: int, **_: Any) -> list[Any]:
        assert host == NAME
        self.asked += 1
        answer = self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]
        return [(None, None, None, "", (number, port)) for number in answer]

    def connect(self, address: IpAddress, port: int, seconds: float) -> socket.socket:
        self.connected.append((str(address), port))
        assert self.receiver is not None and 0.0 < seconds <= webhook_sending.SECONDS
        if str(address) in self.silent:
            raise ConnectionRefusedError
        opened = socket.socket()
        opened.settimeout(seconds)
        opened.connect(("127.0.0.1", self.receiver.port))
        return opened


@pytest.fixture
def world(monkeypatch: pytest.MonkeyPatch) -> World:
    return World(monkeypatch)


@pytest.fixture
def authority(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Authority:
    """One that this machine trusts while the test runs."""
    made = make_authority(tmp_path)
    monkeypatch.setattr(webhook_sending, "tls_context", made.trusted)
    return made


def test_it_goes_to_the_checked_address_with_the_name_in_handshake_host_and_certificate(
    world: World, authority: Authority
) -> None:
    asked_for: list[str] = []
    context = authority.server(NAME)
    context.sni_callback = lambda _socket, name, _context: asked_for.append(name)
    with receiving(tls=context) as world.receiver:
        assert sent() == (204, "")
    assert world.connected == [(PUBLIC, 443)]
    assert asked_for == [NAME]
    (request,) = world.receiver.got
    assert (request.path, request.body) == ("/pollen?from=exchange", BODY)
    assert request.headers == {
        "host": NAME,
        "accept-encoding": "identity",
        "content-length": "7",
        "user-agent": request.headers["user-agent"],
        **HEADERS,
    }


def test_a_name_that_leads_elsewhere_after_the_check_is_not_followed(
    world: World, authority: Authority
) -> None:
    """Rebinding: the resolver would say loopback from the second question on."""
    world.answers = [[PUBLIC], ["127.0.0.1"]]
    with receiving(tls=authority.server(NAME)) as world.receiver:
        assert sent() == (204, "")
        assert (world.asked, world.connected) == (1, [(PUBLIC, 443)])
        assert sent() == (None, "refused_not_public")
        assert (world.asked, world.connected) == (2, [(PUBLIC, 443)])


@pytest.mark.parametrize("answer", [[PUBLIC, "127.0.0.1"], ["10.0.0.1", PUBLIC], ["::ffff:127.0.0.1"]])
def test_a_name_that_also_leads_inside_is_not_connected_to(world: World, answer: list[str]) -> None:
    world.answers = [answer]
    assert sent() == (None, "refused_not_public")
    assert world.connected == []


def test_the_next_checked_address_is_tried(world: World, authority: Authority) -> None:
    world.answers, world.silent = [[PUBLIC, "1.1.1.1"]], {PUBLIC}
    with receiving(tls=authority.server(NAME)) as world.receiver:
        assert sent() == (204, "")
        assert world.connected == [(PUBLIC, 443), ("1.1.1.1", 443)]
        world.silent = {PUBLIC, "1.1.1.1"}
        assert sent() == (None, "no_answer")


def test_a_certificate_must_be_for_the_name_and_from_somebody_trusted(
    world: World, authority: Authority, monkeypatch: pytest.MonkeyPatch
) -> None:
    with receiving(tls=authority.server("other.example")) as world.receiver:
        assert sent() == (None, "not_secure")
    monkeypatch.setattr(webhook_sending, "tls_context", ssl.create_default_context)
    with receiving(tls=authority.server(NAME)) as strangers:
        world.receiver = strangers
        assert sent() == (None, "not_secure")
    with receiving() as plain:
        world.receiver = plain
        assert sent() == (None, "not_secure")
    assert strangers.got == plain.got == []


def test_proxies_of_the_environment_are_not_used(
    world: World, authority: Authority, monkeypatch: pytest.MonkeyPatch
) -> None:
    with receiving() as proxy:
        for name in ("HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY"):
            monkeypatch.setenv(name, f"http://{proxy.address}")
            monkeypatch.setenv(name.lower(), f"http://{proxy.address}")
        with receiving(tls=authority.server(NAME)) as world.receiver:
            assert sent() == (204, "")
    assert proxy.got == []


# --- what the other side may do ---


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_redirect_is_a_failure_and_not_followed(status: int) -> None:
    with receiving() as inside, receiving_here(Receiver(status, {"Location": inside.url})) as outside:
        assert sent(outside.url) == (status, "redirected")
        assert len(outside.got) == 1
    assert inside.got == []


@pytest.mark.parametrize(
    ("status", "error"),
    [
        (200, ""),
        (202, ""),
        (299, ""),
        (400, "not_accepted"),
        (404, "not_accepted"),
        (410, "not_accepted"),
        (429, "not_accepted"),
        (500, "not_accepted"),
        (503, "not_accepted"),
    ],
)
def test_only_the_status_counts(status: int, error: str) -> None:
    with receiving_here(Receiver(status)) as outside:
        assert sent(outside.url) == (status, error)


def test_received_is_any_2xx_and_gone_is_410() -> None:
    states = {status: Outcome(status, "", 0.1) for status in (199, 200, 299, 300, 410)}
    assert [status for status, outcome in states.items() if outcome.is_received] == [200, 299]
    assert [status for status, outcome in states.items() if outcome.is_gone] == [410]
    assert not Outcome(None, "timed_out", 0.1).is_received


def test_nobody_there() -> None:
    with receiving_here() as outside:
        url = outside.url
        outside_gone = f"http://127.0.0.1:{free_port()}/"
        assert sent(outside_gone) == (None, "refused_scheme")
        assert sent(url) == (204, "")
        port = outside.port
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("django.conf.settings.WEBHOOK_TEST_ADDRESS", f"127.0.0.1:{port}")
        assert sent(url) == (None, "no_answer")


HUGE = 200_000_000


def huge(out: Any, is_over: threading.Event) -> None:
    """A body without end, until nobody listens."""
    out.write(b"HTTP/1.1 200 OK\r\nContent-Length: %d\r\n\r\n" % HUGE)
    while not is_over.is_set():
        out.write(b"x" * 65_536)


def test_of_a_huge_body_nothing_is_read() -> None:
    with receiving_here(Receiver(speaks=huge)) as outside:
        assert sent(outside.url) == (200, "")


def slow_head(out: Any, is_over: threading.Event) -> None:
    """A byte now and then, each well before any limit for one read."""
    for byte in b"HTTP/1.1 200 OK\r\nX: " + b"x" * 10_000:
        if is_over.wait(0.01):
            return
        out.write(bytes([byte]))
        out.flush()


def silent(out: Any, is_over: threading.Event) -> None:
    is_over.wait(30)


def more_to_come(out: Any, is_over: threading.Event) -> None:
    """Always another answer that is not the last."""
    while not is_over.wait(0.001):
        out.write(b"HTTP/1.1 100 Continue\r\n\r\n")
        out.flush()


@pytest.mark.parametrize("speaks", [slow_head, silent, more_to_come])
def test_whoever_lets_us_wait_is_cut_off(
    speaks: Callable[[Any, threading.Event], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(webhook_sending, "SECONDS", 0.3)
    with receiving_here(Receiver(speaks=speaks)) as outside:
        outcome = send(outside.url, HEADERS, BODY)
    assert (outcome.status, outcome.error) == (None, "timed_out")
    assert 0.3 <= outcome.seconds < 20.0  # each would go on for longer


def test_a_handshake_that_does_not_end_is_cut_off(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(webhook_sending, "SECONDS", 0.3)
    listening = socket.create_server(("127.0.0.1", 0))
    world.receiver = Receiver(port=listening.getsockname()[1])
    with listening:
        assert sent() == (None, "timed_out")


@pytest.fixture
def _no_timer_left() -> Iterator[None]:
    yield
    assert [each for each in threading.enumerate() if isinstance(each, threading.Timer)] == []


@pytest.mark.parametrize(
    "said", [b"", b"HTTP/1.1\r\n\r\n", b"SSH-2.0-x\r\n", b"HTTP/1.1 99999 x\r\n\r\n", b"x" * 70_000]
)
@pytest.mark.usefixtures("_no_timer_left")
def test_what_is_no_answer_is_none(said: bytes) -> None:
    def speaks(out: Any, _: threading.Event) -> None:
        out.write(said)

    with receiving_here(Receiver(speaks=speaks)) as outside:
        assert sent(outside.url) == (None, "no_answer")


def test_a_head_without_end_is_not_read_to_the_end() -> None:
    def speaks(out: Any, is_over: threading.Event) -> None:
        out.write(b"HTTP/1.1 200 OK\r\n")
        while not is_over.is_set():
            out.write(b"X: " + b"x" * 1_000 + b"\r\n")

    with receiving_here(Receiver(speaks=speaks)) as outside:
        assert sent(outside.url) == (None, "no_answer")
