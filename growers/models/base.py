"""What every row that the outside sees has: a random public id and the instant it was written."""

import uuid

from django.db import models

from growers import clock


class PublicModel(models.Model):
    """A bigint key that never leaves the server and a random ``public_id`` that does."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    created_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta:
        abstract = True
