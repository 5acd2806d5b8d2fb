"""Answers kept for a day, so that a client may send a creating request again without fear."""

from django.db import models

from growers import clock
from growers.models import Grower


class IdempotentAnswer(models.Model):
    """One key of one grower and operation; ``answer`` is encrypted and empty while the work is going on.

    ``fingerprint`` is a keyed hash of the request. ``claim`` names the attempt that is at work: an attempt
    that was taken over cannot finish. Instants are of the true clock.
    """

    class State(models.TextChoices):
        RUNNING = "running"
        DONE = "done"
        SECRET = "secret"  # noqa: S105 - a state

    grower = models.ForeignKey(Grower, on_delete=models.CASCADE, related_name="+")
    operation = models.CharField(max_length=200)
    key = models.CharField(max_length=100)
    fingerprint = models.CharField(max_length=64)
    state = models.CharField(max_length=10, choices=State, default=State.RUNNING)
    claim = models.UUIDField()
    claimed_until = models.DateTimeField()
    answer = models.BinaryField(default=bytes)
    created_at = models.DateTimeField(default=clock.true_now)
    expires_at = models.DateTimeField(db_index=True)

    class Meta:
        constraints = [
            models.UniqueConstraint("grower", "operation", "key", name="idempotent_answer_once"),
        ]
