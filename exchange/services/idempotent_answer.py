"""Answers kept for requests that may be sent again: forgotten when their time is over."""

from datetime import datetime

from exchange.models import IdempotentAnswer
from exchange.services.due import source
from growers import clock


@source
def answers_forget(_now: datetime) -> None:
    """Delete what has expired, by the true clock: what is kept is encrypted, and no longer of use."""
    IdempotentAnswer.objects.filter(expires_at__lte=clock.true_now()).delete()
