"""The address that belongs to an agreement, as long as the agreement lives."""

from django.db import models

from exchange.models.agreement import Agreement


class AgreementAddress(models.Model):
    """The recipient's address as an agreement holds it, encrypted; the row goes when the agreement ends.

    After a change it cannot be read before ``readable_from``: a stolen session must not divert a parcel.
    """

    agreement = models.OneToOneField(Agreement, on_delete=models.CASCADE, related_name="address")
    sealed = models.BinaryField()
    readable_from = models.DateTimeField()

    def __str__(self) -> str:
        return f"address of agreement {self.agreement_id}"
