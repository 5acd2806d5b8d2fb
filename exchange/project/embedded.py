"""The embedded server: one process that answers requests and, in a thread of its own, does what is due.

Service mode has workers and beat for that. The thread is no more than a caller: what it does is claimed in
the database, so it does no harm beside ``manage.py due`` and loses nothing when it is killed.
"""

import logging
import threading
from collections.abc import Callable
from typing import Any

from django.db import close_old_connections
from gunicorn.app.base import BaseApplication

from exchange.project.wsgi import application
from exchange.tasks.due import due_sweep

PAUSE_SECONDS = 20.0
"""Between two looks at what is due (judgement)."""

log = logging.getLogger(__name__)


class EmbeddedServer(BaseApplication):  # type: ignore[misc]
    """gunicorn with one worker of a few threads, and the thread that does what is due beside them."""

    def __init__(self, address: str, threads: int) -> None:
        self.stated = {
            "bind": address,
            "threads": threads,
            "timeout": 120,
            "control_socket_disable": True,
            "post_worker_init": lambda _worker: sweeper_start(),
        }
        super().__init__()

    def load_config(self) -> None:
        """Take what was stated."""
        for name, value in self.stated.items():
            self.cfg.set(name, value)

    def load(self) -> Callable[..., Any]:
        """The application itself."""
        return application


def sweeper_start(stop: threading.Event | None = None) -> threading.Thread:
    """Begin to do what is due, now and every few seconds, until the process ends or ``stop`` is set."""
    ended = stop or threading.Event()
    thread = threading.Thread(target=_sweep_until, args=(ended,), name="due", daemon=True)
    thread.start()
    return thread


def _sweep_until(ended: threading.Event) -> None:
    while not ended.is_set():
        try:
            due_sweep()
        except Exception:  # the next look may find the database again
            log.exception("could not do what is due")
        finally:
            close_old_connections()
        ended.wait(PAUSE_SECONDS)
