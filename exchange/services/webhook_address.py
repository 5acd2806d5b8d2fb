"""Which addresses may be sent to: what may stand in a URL, and where its name may lead.

A grower names an address that this server then talks to from inside its network. So the URL is taken
apart by few and strict rules of our own, and every address that its name resolves to must be a public one.
"""

import ipaddress
import re
import socket
import threading
from dataclasses import dataclass

from django.conf import settings

IpAddress = ipaddress.IPv4Address | ipaddress.IPv6Address

LONGEST_URL = 500
HTTPS_PORT = 443
PORTS = (HTTPS_PORT, 8443)
SIGNS = re.compile(r"[!#-;=?-\[\]_a-z~]+")
"""Of RFC 3986, without quotes, brackets of angle or curly form, backslash, circumflex, grave and bar."""

LABEL = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")
NUMBER = re.compile(r"[0-9]+|0x[0-9a-f]*")
LONGEST_NAME = 253
INNER_NAMES = ("localhost", "local", "internal", "onion", "alt", "arpa", "invalid")
"""Last labels that stand for no public host (RFC 6761, 6762, 7686, 9476; ``internal``: ICANN 2024)."""

NOT_PUBLIC = tuple(
    ipaddress.ip_network(text)
    for text in (
        "0.0.0.0/8",
        "10.0.0.0/8",
        "100.64.0.0/10",
        "127.0.0.0/8",
        "168.63.129.16/32",  # a public address by which a large host of machines serves their metadata
        "169.254.0.0/16",
        "172.16.0.0/12",
        "192.0.0.0/24",
        "192.0.2.0/24",
        "192.31.196.0/24",
        "192.52.193.0/24",
        "192.88.99.0/24",
        "192.168.0.0/16",
        "192.175.48.0/24",
        "198.18.0.0/15",
        "198.51.100.0/24",
        "203.0.113.0/24",
        "224.0.0.0/3",
        "2001::/23",  # Teredo among others
        "2001:db8::/32",
        "2002::/16",  # 6to4
        "3fff::/20",
    )
)
"""The registries of special addresses of IANA (RFC 6890); ``ipaddress`` knows most of them too."""

PUBLIC_V6 = ipaddress.ip_network("2000::/3")
"""All that is given out; IPv4 in IPv6 (mapped, compatible, NAT64), local and multicast lie outside."""


class AddressRefused(Exception):
    """An address that is not sent to; ``code`` is stable, ``detail`` says what is allowed."""

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code
        self.detail = REASONS[code]


REASONS = {
    "length": f"at most {LONGEST_URL} characters",
    "signs": "plain ASCII without blanks; an international name in its form that begins with xn--",
    "scheme": "https:// and a host",
    "user": "an address without user or password",
    "fragment": "an address without #",
    "port": f"port {PORTS[0]} or {PORTS[1]}",
    "number": "the name of a host, not its number",
    "name": "the full name of a public host, as hooks.example.org",
    "not_public": "a host all of whose addresses are public",
    "unknown": "a host that can be found",
}
"""What is allowed, by the code of what was refused."""


@dataclass(frozen=True)
class Target:
    """A URL taken apart; ``path`` has its query too. ``is_test`` is the one address of the setting."""

    host: str
    port: int
    path: str
    is_test: bool = False


def target_of(url: str) -> Target:
    """A URL taken apart; ``AddressRefused`` with the first reason against it. Nothing is looked up."""
    _check(len(url) <= LONGEST_URL, "length")
    _check(SIGNS.fullmatch(url) is not None, "signs")
    _check("#" not in url, "fragment")
    scheme, _, rest = url.partition("://")
    authority, path = _parted(rest)
    _check("@" not in authority, "user")
    test = settings.WEBHOOK_TEST_ADDRESS
    if test and (scheme, authority) == ("http", test):
        return Target(*_test_host(test), path, is_test=True)
    _check(scheme.lower() == "https" and bool(authority), "scheme")
    _check("[" not in authority, "number")
    host, colon, port = authority.partition(":")
    _check(not colon or port in map(str, PORTS), "port")
    _name_check(host.lower())
    return Target(host.lower(), int(port or HTTPS_PORT), path)


def _check(fits: bool, code: str) -> None:
    if not fits:
        raise AddressRefused(code)


def _parted(rest: str) -> tuple[str, str]:
    """Host with port, and path with query."""
    end = next((at for at, sign in enumerate(rest) if sign in "/?"), len(rest))
    path = rest[end:]
    return rest[:end], path if path.startswith("/") else f"/{path}"


def _test_host(address: str) -> tuple[str, int]:
    host, _, port = address.rpartition(":")
    return host, int(port)


def _name_check(host: str) -> None:
    labels = host.split(".")
    # A name that ends in a number is read as one: 127.1, 0x7f.1, 2130706433, 0177.0.0.1.
    _check(NUMBER.fullmatch(labels[-1]) is None, "number")
    full = len(labels) > 1 and len(host) <= LONGEST_NAME and labels[-1] not in INNER_NAMES
    _check(full and all(LABEL.fullmatch(label) for label in labels), "name")


def is_public(address: IpAddress) -> bool:
    """Whether anybody on the internet may be meant by it, and nobody nearer."""
    if not address.is_global or address.is_multicast or address.is_reserved:
        return False
    if address.version == 6 and address not in PUBLIC_V6:
        return False
    return not any(address in network for network in NOT_PUBLIC if network.version == address.version)


def addresses_of(target: Target, seconds: float) -> list[IpAddress]:
    """Where a name leads now, in the order of the resolver; ``AddressRefused`` if any of it is not public.

    Asked once: whoever connects must use what was checked here.
    """
    found = _looked_up(target, seconds)
    _check(bool(found), "unknown")
    _check(target.is_test or all(map(is_public, found)), "not_public")
    return found


def _looked_up(target: Target, seconds: float) -> list[IpAddress]:
    """What the resolver says within so many seconds; it knows no time limit itself."""
    found: list[IpAddress] = []

    def look() -> None:
        try:
            answers = socket.getaddrinfo(target.host, target.port, type=socket.SOCK_STREAM)
            found.extend(dict.fromkeys(_address(str(answer[4][0])) for answer in answers))
        except (OSError, ValueError):  # also what cannot be read as an address: then nothing is used
            found.clear()

    asked = threading.Thread(target=look, daemon=True)
    asked.start()
    asked.join(max(seconds, 0.0))
    return [] if asked.is_alive() else found


def _address(text: str) -> IpAddress:
    return ipaddress.ip_address(text)
