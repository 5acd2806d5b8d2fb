"""A client without Django: sends requests at the same moment, in threads, or as a process of its own.

Run as a program it reads one line of requests, says that it is ready, waits for another line, sends them
all at once and writes what was answered.
"""

import http.client
import json
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from typing import Any
from urllib.parse import urlsplit

WAIT_SECONDS = 300


@dataclass(frozen=True)
class Sent:
    """One request of one grower; ``key`` is its Idempotency-Key."""

    address: str
    path: str
    token: str
    key: str = ""
    body: Any = None
    method: str = "POST"


@dataclass(frozen=True)
class Got:
    """What came back."""

    status: int
    body: Any
    headers: dict[str, str]


def send(sent: Sent) -> Got:
    """One request on a connection of its own."""
    parts = urlsplit(sent.address)
    connection = http.client.HTTPConnection(str(parts.hostname), parts.port, timeout=WAIT_SECONDS)
    headers = {"Authorization": f"Bearer {sent.token}", "Content-Type": "application/json"}
    if sent.key:
        headers["Idempotency-Key"] = sent.key
    content = None if sent.body is None else json.dumps(sent.body)
    try:
        connection.request(sent.method, sent.path, content, headers)
        response = connection.getresponse()
        return Got(response.status, json.loads(response.read() or b"null"), dict(response.getheaders()))
    finally:
        connection.close()


def send_all(requests: list[Sent], at_once: int) -> list[Got]:
    """So many requests at once, until all are answered."""
    with ThreadPoolExecutor(at_once) as pool:
        return list(pool.map(send, requests))


if __name__ == "__main__":
    requests = [Sent(**each) for each in json.loads(sys.stdin.readline())]
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    sys.stdin.readline()
    json.dump([asdict(got) for got in send_all(requests, len(requests))], sys.stdout)
