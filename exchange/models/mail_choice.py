"""What a grower wants to be written about, and when not."""

from django.db import models
from django.db.models import Q

from growers.models import Grower


class MailChoice(models.Model):
    """One row a grower, made when needed; ``declined`` are kinds of messages that they do not want.

    ``night_calls`` is the answer of a grower of night bloomers to whether urgent ones may come in their quiet
    hours. A mail server that knows no such address as ``refused_email`` is not tried before ``rests_until``.
    """

    grower = models.OneToOneField(Grower, on_delete=models.CASCADE, related_name="mail_choice")
    declined = models.JSONField(default=list, blank=True)
    night_asked_at = models.DateTimeField(null=True, blank=True)
    night_calls = models.BooleanField(null=True, blank=True)
    refused_email = models.CharField(max_length=254, blank=True)
    rests_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(refused_email="", rests_until=None)
                | (~Q(refused_email="") & Q(rests_until__isnull=False)),
                name="mail_choice_refused_rests",
            )
        ]

    def __str__(self) -> str:
        return f"mail to {self.grower_id}"
