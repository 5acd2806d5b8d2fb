"""Kept answers are forgotten by the sweep, by the true clock."""

import uuid
from datetime import timedelta

import pytest

from exchange.models import IdempotentAnswer
from exchange.tasks.due import due_sweep
from growers import clock as project_clock
from growers.models import Grower
from tests.clock import MovableClock

pytestmark = pytest.mark.django_db


def kept(grower: Grower, key: str, left: timedelta) -> None:
    now = project_clock.true_now()
    IdempotentAnswer.objects.create(
        grower=grower, operation="x", key=key, claim=uuid.uuid4(), claimed_until=now, expires_at=now + left
    )


def test_the_sweep_forgets_what_has_expired_and_nothing_else(donor: Grower, clock: MovableClock) -> None:
    clock.move(days=2)  # has no say in it
    kept(donor, "expired", timedelta(seconds=-1))
    kept(donor, "alive", timedelta(hours=1))
    due_sweep()
    assert list(IdempotentAnswer.objects.values_list("key", flat=True)) == ["alive"]
