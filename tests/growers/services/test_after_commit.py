"""Tasks are started by name, once the facts are committed, and a broker that is away hurts nobody."""

import logging
from collections.abc import Callable
from typing import Any

import pytest
import structlog
from celery import Celery, current_app
from django.db import transaction

from growers.services import after_commit

pytestmark = pytest.mark.django_db(transaction=True)

Sent = list[tuple[str, dict[str, Any]]]


@pytest.fixture
def sent(monkeypatch: pytest.MonkeyPatch, settings: Any) -> Sent:
    """What is handed to the broker."""
    calls: Sent = []
    settings.TASKS_BY_BROKER = True
    monkeypatch.setattr(current_app, "send_task", lambda name, **options: calls.append((name, options)))
    return calls


def test_a_task_is_started_when_the_transaction_commits(sent: Sent) -> None:
    with transaction.atomic():
        after_commit.start("exchange.forecast", 3, 4)
        assert sent == []
    assert sent == [("exchange.forecast", {"args": [3, 4], "headers": {}, "retry": False})]


def test_a_task_is_not_started_for_what_was_rolled_back(sent: Sent) -> None:
    with transaction.atomic():
        after_commit.start("exchange.kept", 1)
        with transaction.atomic():
            after_commit.start("exchange.lost", 1)
            transaction.set_rollback(True)
    assert [name for name, _ in sent] == ["exchange.kept"]


def test_a_task_is_started_at_once_outside_a_transaction(sent: Sent) -> None:
    after_commit.start("exchange.forecast", 3)
    assert [name for name, _ in sent] == ["exchange.forecast"]


def test_a_task_takes_the_id_of_the_request_that_started_it(sent: Sent) -> None:
    with transaction.atomic():
        with structlog.contextvars.bound_contextvars(request_id="the-request"):
            after_commit.start("exchange.forecast", 3)
        after_commit.start("exchange.forecast", 4)
    assert [options["headers"] for _, options in sent] == [{"request_id": "the-request"}, {}]


def test_without_a_broker_nothing_is_sent(sent: Sent, settings: Any) -> None:
    settings.TASKS_BY_BROKER = False
    after_commit.start("exchange.forecast", 3)
    assert sent == []


def fails(*_: object, **__: object) -> None:
    raise ConnectionError("nobody listens")


def dead_broker(monkeypatch: pytest.MonkeyPatch) -> None:
    """A closed port, asked through the real client with the project's own settings."""
    app = Celery("dead", set_as_current=False)
    app.config_from_object("django.conf:settings", namespace="CELERY")
    app.conf.update(broker_url="redis://127.0.0.1:1/0")
    monkeypatch.setattr(after_commit, "current_app", app)


def broken_sender(monkeypatch: pytest.MonkeyPatch) -> None:
    """An error that no library announced."""
    monkeypatch.setattr(current_app, "send_task", fails)


@pytest.mark.parametrize("away", [broken_sender, dead_broker])
def test_a_broker_that_is_away_is_a_warning(
    away: Callable[[pytest.MonkeyPatch], None],
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    settings: Any,
) -> None:
    settings.TASKS_BY_BROKER = True
    away(monkeypatch)
    with caplog.at_level(logging.WARNING, after_commit.__name__):
        after_commit.start("exchange.forecast", 3)
    (record,) = [record for record in caplog.records if record.name == after_commit.__name__]
    assert record.getMessage().startswith("Could not start exchange.forecast(3,)")
    assert record.getMessage().endswith("the sweep of what is due will.")


def test_a_broker_that_is_away_is_not_waited_for(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, settings: Any
) -> None:
    waited: list[float] = []
    settings.TASKS_BY_BROKER = True
    dead_broker(monkeypatch)
    monkeypatch.setattr("kombu.utils.functional.sleep", waited.append)
    with caplog.at_level(logging.WARNING, after_commit.__name__):
        after_commit.start("exchange.forecast", 3)
    assert "Could not start" in caplog.text
    assert waited == []
