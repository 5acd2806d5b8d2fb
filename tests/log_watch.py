"""Watches what a log writes while tests run: no token that was issued, no password, no address."""

import logging
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from knox.models import get_digest_token
from structlog.stdlib import ProcessorFormatter

from tests.api.caller import PASSWORD

LONG_HEX = re.compile(r"[0-9a-f]{40,}")
ADDRESS = "@example.org"


def our_handlers() -> list[logging.Handler]:
    """What the settings write the log with; pytest's own handlers write what was never redacted."""
    found = [
        handler
        for handler in logging.getLogger().handlers
        if isinstance(handler.formatter, ProcessorFormatter)
    ]
    assert found
    return found


@contextmanager
def watched_log(handlers: Iterable[logging.Handler]) -> Iterator[list[str]]:
    """Lines with a secret that these handlers write while it lasts, as they write them."""
    issued: list[str] = []
    told: list[str] = []

    def noted() -> tuple[str, str]:
        digest, secret = get_digest_token()
        issued.append(secret[-40:])
        return digest, secret

    def has_secret(line: str) -> bool:
        parts = LONG_HEX.findall(line)
        return PASSWORD in line or ADDRESS in line or any(end in part for part in parts for end in issued)

    def watch(handler: logging.Handler) -> None:
        form = handler.format

        def formatted(record: Any) -> str:
            line = form(record)
            if has_secret(line):
                told.append(line)
            return line

        patch.setattr(handler, "format", formatted)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("exchange.services.api_token.get_digest_token", noted)
        for handler in handlers:
            watch(handler)
        yield told
