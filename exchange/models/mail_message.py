"""A message to a grower: composed when it is sent, sent by a due row, one for one event."""

from django.db import models
from django.db.models import Q

from growers.models import Grower
from growers.models.base import PublicModel


class MailMessage(PublicModel):
    """One message of one kind; ``key`` is what it is about (a day, an event, a date), so that there is one.

    Its text is not kept. What an unsent one was to tell is free for another.
    """

    class Kind(models.TextChoices):
        DAILY = "daily"
        POSTING = "posting"
        WARNING = "warning"

    class State(models.TextChoices):
        WAITING = "waiting"
        SENT = "sent"
        NOTHING_TO_SAY = "nothing_to_say"
        DECLINED = "declined"
        GIVEN_UP = "given_up"

    UNSENT = (State.DECLINED, State.GIVEN_UP)

    grower = models.ForeignKey(Grower, on_delete=models.CASCADE, related_name="mail_messages")
    kind = models.CharField(max_length=10, choices=Kind)
    key = models.CharField(max_length=100)
    state = models.CharField(max_length=20, choices=State, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    last_error = models.CharField(max_length=200, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint("grower", "kind", "key", name="mail_message_once"),
            models.CheckConstraint(
                condition=Q(state="waiting", finished_at=None)
                | (~Q(state="waiting") & Q(finished_at__isnull=False)),
                name="mail_message_finished_has_time",
            ),
        ]
