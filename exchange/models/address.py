"""Where a grower has parcels sent to: encrypted, one a grower."""

from django.db import models

from growers import clock
from growers.models import Grower
from growers.models.base import PublicModel


class Address(PublicModel):
    """Where a grower has parcels sent to, encrypted; only its grower reads it here."""

    grower = models.OneToOneField(Grower, on_delete=models.CASCADE, related_name="address")
    sealed = models.BinaryField()
    changed_at = models.DateTimeField(default=clock.now)
