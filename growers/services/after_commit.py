"""The only way a task is started: by name, once the facts are committed, never raising."""

import logging

from celery import current_app
from django.conf import settings
from django.db import transaction

log = logging.getLogger(__name__)


def start(name: str, *ids: int) -> None:
    """Start the task ``name`` with these ids when the open transaction commits, at once if none is open.

    A broker that is away costs speed only: the sweep of what is due does the work later.
    """
    transaction.on_commit(lambda: _send(name, ids))


def _send(name: str, ids: tuple[int, ...]) -> None:
    if not settings.TASKS_BY_BROKER:
        log.debug("No broker: %s%r is left to the sweep of what is due.", name, ids)
        return
    try:
        # retry=False: the default publisher would hold the request while a dead broker is tried again.
        current_app.send_task(name, args=list(ids), retry=False)
    except Exception as error:  # whatever the broker's library raises
        log.warning("Could not start %s%r (%s); the sweep of what is due will.", name, ids, error)
