"""Work that waits for its time: one row a piece, taken by a claim that runs out."""

from django.db import models


class DueTask(models.Model):
    """Something of one ``kind`` to be done for one subject at ``due_at`` or as soon after as may be.

    ``revision`` grows each time the row is set anew, so that a run which began before does not end the
    newer wish. ``claimed_until`` is set by a conditional UPDATE of the worker that takes the row.
    """

    kind = models.CharField(max_length=60)
    subject_id = models.BigIntegerField()
    due_at = models.DateTimeField()
    revision = models.PositiveIntegerField(default=1)
    claimed_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveIntegerField(default=0)
    last_error = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint("kind", "subject_id", name="due_task_once_per_subject")]
        indexes = [models.Index(fields=["due_at"], name="due_task_due_at")]

    def __str__(self) -> str:
        return f"{self.kind} {self.subject_id}"
