"""What a grower wants to be written about, and when not."""

from django.db import models

from growers.models import Grower


class MailChoice(models.Model):
    """One row a grower, made when needed; ``declined`` are kinds of messages that they do not want.

    ``night_calls`` is the answer of a grower of night bloomers to whether urgent ones may come in the night.
    """

    grower = models.OneToOneField(Grower, on_delete=models.CASCADE, related_name="mail_choice")
    declined = models.JSONField(default=list, blank=True)
    night_asked_at = models.DateTimeField(null=True, blank=True)
    night_calls = models.BooleanField(null=True, blank=True)

    def __str__(self) -> str:
        return f"mail to {self.grower_id}"
