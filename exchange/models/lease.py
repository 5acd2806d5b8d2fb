"""Work of which only one may be going on: whoever holds the row works, until it runs out."""

from django.db import models


class Lease(models.Model):
    """One lease by the name of its work; taken, kept and given back by conditional UPDATEs alone.

    These hold on SQLite and PostgreSQL alike. ``holder`` is a new UUID for every attempt, so that a worker
    that was slower than its lease finds out before it writes.
    """

    name = models.CharField(max_length=60, unique=True)
    holder = models.UUIDField(null=True, blank=True)
    held_until = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name
