"""The only way a task is started: by name, once the facts are committed, never raising."""

import logging

import structlog
from celery import current_app
from django.conf import settings
from django.db import transaction

log = logging.getLogger(__name__)


def start(name: str, *ids: int) -> None:
    """Start the task ``name`` with these ids when the open transaction commits, at once if none is open.

    A broker that is away costs speed only: the sweep of what is due does the work later.
    """
    headers = _headers()
    transaction.on_commit(lambda: _send(name, ids, headers))


def _headers() -> dict[str, str]:
    """The id of the request that starts the task, if one does: the task logs it too."""
    request_id = structlog.contextvars.get_contextvars().get("request_id")
    return {"request_id": request_id} if request_id else {}


def _send(name: str, ids: tuple[int, ...], headers: dict[str, str]) -> None:
    if not settings.TASKS_BY_BROKER:
        log.debug("No broker: %s%r is left to the sweep of what is due.", name, ids)
        return
    try:
        # retry=False: the default publisher would hold the request while a dead broker is tried again.
        current_app.send_task(name, args=list(ids), headers=headers, retry=False)
    except Exception as error:  # whatever the broker's library raises
        log.warning("Could not start %s%r (%s); the sweep of what is due will.", name, ids, error)
