"""What messages have told of a grower's calendar: each date once, and again only where it has moved."""

from django.db import models

from exchange.models.mail_message import MailMessage
from growers.models import Grower


class MailTold(models.Model):
    """The day that a thing called ``uid`` was last told to have, and the message that tells it."""

    grower = models.ForeignKey(Grower, on_delete=models.CASCADE, related_name="mail_told")
    uid = models.CharField(max_length=100)
    day = models.DateField()
    message = models.ForeignKey(MailMessage, on_delete=models.CASCADE, related_name="told")

    class Meta:
        constraints = [models.UniqueConstraint("grower", "uid", name="mail_told_once")]
