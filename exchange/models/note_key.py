"""The key of a grower's notes; once it is gone nobody reads them any more."""

from django.db import models

from growers.models import Grower


class NoteKey(models.Model):
    """One grower's key, itself encrypted by the exchange's; deleted with the account."""

    grower = models.OneToOneField(Grower, on_delete=models.CASCADE, related_name="note_key")
    sealed = models.BinaryField()

    def __str__(self) -> str:
        return f"key of {self.grower_id}"
