"""The history of an agreement: every change with who did it and when."""

from django.db import models

from exchange.models.agreement import Agreement
from growers.models import Grower
from growers.models.base import PublicModel


class AgreementEvent(PublicModel):
    """What happened to an agreement, who did it and when; never changed, never deleted.

    Without ``actor`` time itself did it. ``parameters`` are what a sentence about it needs.
    """

    class Kind(models.TextChoices):
        PROPOSED = "proposed"
        AGREED = "agreed"
        DECLINED = "declined"
        LAPSED = "lapsed"
        SENT_LESS = "sent_less"
        CAME_UP_SHORT = "came_up_short"
        COLLECTED = "collected"
        SENT = "sent"
        ENDED = "ended"
        STATEMENT_MADE = "statement_made"
        ADDRESS_STATED = "address_stated"
        ADDRESS_CHANGED = "address_changed"
        ADDRESS_REMOVED = "address_removed"
        NEXT_DONOR_SHOWN = "next_donor_shown"
        DONOR_SILENT = "donor_silent"
        NOTE_WRITTEN = "note_written"
        DISPATCHED = "dispatched"
        HELD_BACK = "held_back"
        HAS_IT_COME = "has_it_come"
        RECEIVED = "received"
        REFUSED = "refused"
        LOST = "lost"
        RETURNED = "returned"
        BUD_CALL = "bud_call"
        DETOUR_ASKED = "detour_asked"
        DETOUR_DONOR_YES = "detour_donor_yes"
        DETOUR_AGREED = "detour_agreed"
        DETOUR_DECLINED = "detour_declined"
        DETOUR_WITHDRAWN = "detour_withdrawn"

    agreement = models.ForeignKey(Agreement, on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(max_length=20, choices=Kind)
    actor = models.ForeignKey(Grower, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    parameters = models.JSONField(default=dict)
