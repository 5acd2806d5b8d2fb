"""The one row that counts the doses of a lot, or of an offer whose pollen is still to be collected."""

from django.db import models
from django.db.models import F, Q

from exchange.models.lot import Lot
from exchange.models.offer import Offer


class Supply(models.Model):
    """How many doses there are and where they are; ``reserved`` and ``sent`` are sums of reservations.

    The counters stand here, in one row, so that the database itself refuses a dose that is promised twice.
    Only ``exchange.services.supply`` writes them.
    """

    offer = models.OneToOneField(
        Offer, on_delete=models.PROTECT, null=True, blank=True, related_name="supply"
    )
    lot = models.OneToOneField(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="supply")
    total = models.PositiveIntegerField()
    kept_back = models.PositiveIntegerField(default=0)
    reserved = models.PositiveIntegerField(default=0)
    sent = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(total__gte=F("kept_back") + F("reserved") + F("sent")),
                name="supply_never_promised_twice",
            ),
            models.CheckConstraint(
                condition=Q(offer__isnull=True) ^ Q(lot__isnull=True), name="supply_of_offer_or_lot"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.left} of {self.total}"

    @property
    def left(self) -> int:
        """Doses that are nobody's yet, as counted; reservations past their time are not swept here."""
        return self.total - self.kept_back - self.reserved - self.sent
