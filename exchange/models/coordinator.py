"""Who runs the society's exchange; a coordinator sees rounds of proposals, never an exact site."""

from django.db import models

from growers import clock
from growers.models import Grower


class Coordinator(models.Model):
    """A grower with the role; the row goes when the role does."""

    grower = models.OneToOneField(Grower, on_delete=models.CASCADE, related_name="+")
    granted_at = models.DateTimeField(default=clock.now)

    def __str__(self) -> str:
        return str(self.grower)
