"""What a grower's feed last told of one thing, so that a changed entry is known for a changed one."""

from django.db import models

from growers.models import Grower


class CalendarEntry(models.Model):
    """One entry by its stable ``uid``; ``sequence`` grows when ``digest``, that of its content, changes.

    An entry that no longer holds is told as cancelled for a while.
    """

    grower = models.ForeignKey(Grower, on_delete=models.CASCADE, related_name="calendar_entries")
    uid = models.CharField(max_length=120)
    sequence = models.PositiveIntegerField(default=0)
    digest = models.CharField(max_length=64)
    content = models.JSONField(default=dict)
    changed_at = models.DateTimeField()
    cancelled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint("grower", "uid", name="calendar_entry_once")]

    def __str__(self) -> str:
        return f"{self.uid} {self.sequence}"
