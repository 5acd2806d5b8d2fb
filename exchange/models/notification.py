"""What a grower is to be told: one row for one event; how and when it is delivered is another matter."""

from django.db import models

from exchange.models.agreement_event import AgreementEvent
from exchange.models.custody_event import CustodyEvent
from exchange.models.mail_message import MailMessage
from exchange.models.offer import Offer
from exchange.models.pairing import Pairing
from exchange.models.recall import Recall
from growers.models import Grower
from growers.models.base import PublicModel


class Notification(PublicModel):
    """Something happened that concerns a grower; the sentence is made for its reader.

    Its subject is one of a pairing, an event of an agreement or of a lot, an offer, or a recall.
    """

    class Kind(models.TextChoices):
        PROPOSED = "pairing_proposed"
        CHANGED = "pairing_changed"
        WITHDRAWN = "pairing_withdrawn"
        AGREEMENT = "agreement_event"
        STILL_TRUE = "offer_still_true"
        PAUSED = "offer_paused"
        LOT = "lot_event"
        RECALL = "recall"

    grower = models.ForeignKey(Grower, on_delete=models.CASCADE, related_name="notifications")
    kind = models.CharField(max_length=30, choices=Kind)
    pairing = models.ForeignKey(
        Pairing, on_delete=models.CASCADE, null=True, blank=True, related_name="notifications"
    )
    event = models.ForeignKey(
        AgreementEvent, on_delete=models.CASCADE, null=True, blank=True, related_name="notifications"
    )
    offer = models.ForeignKey(
        Offer, on_delete=models.CASCADE, null=True, blank=True, related_name="notifications"
    )
    custody_event = models.ForeignKey(
        CustodyEvent, on_delete=models.CASCADE, null=True, blank=True, related_name="notifications"
    )
    recall = models.ForeignKey(
        Recall, on_delete=models.CASCADE, null=True, blank=True, related_name="notifications"
    )
    read_at = models.DateTimeField(null=True, blank=True)
    mailed_in = models.ForeignKey(
        MailMessage, on_delete=models.SET_NULL, null=True, blank=True, related_name="notifications"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint("grower", "kind", "pairing", name="notification_once"),
            models.UniqueConstraint("grower", "event", name="notification_of_event_once"),
            models.UniqueConstraint("grower", "custody_event", name="notification_of_custody_event_once"),
            models.UniqueConstraint("grower", "recall", name="notification_of_recall_once"),
        ]
        indexes = [
            models.Index(fields=["grower", "created_at"], name="notification_of_grower"),
            models.Index(fields=["mailed_in", "created_at"], name="notification_in_no_message"),
        ]
