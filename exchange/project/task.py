"""What every task does besides its work: it logs under the id of the request that started it."""

import time
from collections.abc import Mapping, Sequence
from contextvars import ContextVar
from typing import Any

import structlog
from celery import Task

BEGAN: ContextVar[float] = ContextVar("began")

log = structlog.get_logger("exchange.task")


class TracedTask(Task):  # type: ignore[type-arg]
    """One line of the log a task; whatever is logged meanwhile has the ids of the request and of the task."""

    abstract = True

    def before_start(self, task_id: str, args: Sequence[Any], kwargs: Mapping[str, Any]) -> None:
        """Take the request's id from the message; a task of beat's has none."""
        structlog.contextvars.clear_contextvars()
        request_id = self.request.get("request_id")
        known = {"request_id": request_id} if request_id else {}
        structlog.contextvars.bind_contextvars(task_id=task_id, **known)
        BEGAN.set(time.perf_counter())

    def after_return(
        self,
        status: str,
        retval: object,
        task_id: str,
        args: Sequence[Any],
        kwargs: Mapping[str, Any],
        einfo: object,
    ) -> None:
        """Say how it ended; what it was that failed, Celery has said before."""
        milliseconds = round((time.perf_counter() - BEGAN.get()) * 1000, 1)
        log.info("task", task=self.name, state=status, milliseconds=milliseconds)
        structlog.contextvars.clear_contextvars()
