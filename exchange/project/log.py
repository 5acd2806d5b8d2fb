"""The log: one line an event, as text or JSON, with the request's id and without personal data."""

import re
from typing import Any

import structlog
from structlog.typing import EventDict, WrappedLogger

FORMATS = ("line", "json")
EMAIL = re.compile(r"[\w.+%-]+@[\w-]+(?:\.[\w-]+)+")
TOKEN = re.compile(r"pollen_[0-9a-f]+|whsec_[\w+/=]+|(?i:bearer)\s+\S+")
# Addresses of the account pages end in a key that confirms or resets, that of a calendar feed in its secret.
KEY = re.compile(
    r"(?<=/account/confirm-email/)[^/\s]+|(?<=/account/password/reset/key/)[^/\s]+|(?<=/calendar/)[^/\s]+"
)
# PostgreSQL tells which values did not fit, and where in a statement.
VALUES = re.compile(r"^(DETAIL|CONTEXT|LINE \d+): (?:.|\n(?!\n))*", re.MULTILINE)


def without_personal_data(_logger: WrappedLogger, _name: str, event: EventDict) -> EventDict:
    """Replace addresses, tokens and keys, and what a database's error text quotes."""
    return {key: redacted(value) for key, value in event.items()}


def redacted(value: Any) -> Any:
    """The value with every address, token, key and quoted value in its text replaced."""
    if isinstance(value, str):
        told = VALUES.sub(r"\1: [values]", value)
        return TOKEN.sub("[token]", KEY.sub("[key]", EMAIL.sub("[address]", told)))
    if isinstance(value, dict):
        return {key: redacted(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [redacted(part) for part in value]
    return value


def shared_processors() -> list[Any]:
    """What every event goes through, ours and those of libraries."""
    return [
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.add_log_level,
        structlog.stdlib.add_logger_name,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
    ]


def log_settings(level: str, style: str) -> dict[str, Any]:
    """Settings of Python's logging: everything to standard error in one form."""
    last: Any = structlog.processors.JSONRenderer(default=str)
    if style == "line":
        last = structlog.dev.ConsoleRenderer(colors=False, exception_formatter=structlog.dev.plain_traceback)
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {
            "event": {
                "()": structlog.stdlib.ProcessorFormatter,
                "foreign_pre_chain": shared_processors(),
                "processors": [
                    structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                    structlog.processors.format_exc_info,
                    without_personal_data,
                    last,
                ],
            }
        },
        "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "event"}},
        "root": {"handlers": ["stderr"], "level": level},
        "loggers": {
            "exchange.request": {"level": "INFO"} if level != "ERROR" else {},
            "exchange.task": {"level": "INFO"} if level != "ERROR" else {},
            # Django's own handler would write a second line past the form above.
            "django": {"handlers": [], "level": level, "propagate": True},
            # Written after the request is over, without its id; our own line has the status.
            "django.request": {"level": "ERROR"},
            "django.server": {"handlers": [], "level": level, "propagate": True},
            # In more detail it tells all that a page is made of.
            "django.template": {"level": "INFO"},
        },
    }


def configure_structlog() -> None:
    """Have structlog's loggers write through Python's logging."""
    structlog.configure(
        processors=[
            structlog.stdlib.filter_by_level,
            *shared_processors(),
            structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
        ],
        wrapper_class=structlog.stdlib.BoundLogger,
        logger_factory=structlog.stdlib.LoggerFactory(),
        cache_logger_on_first_use=True,
    )
