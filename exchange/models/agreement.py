"""A deal between two growers: doses of an offer for a wanted cross, on terms that both have read."""

from django.db import models
from django.db.models import F, Q

from exchange.models.offer import Offer
from exchange.models.pairing import Pairing
from exchange.models.wanted_cross import WantedCross
from growers import clock
from growers.models import Grower
from growers.models.base import PublicModel


class PostFrom(models.TextChoices):
    """Whose name and address stand on the parcel and its customs papers."""

    HOME = "home"
    CLUB = "club"
    STEWARD = "steward"


class Agreement(PublicModel):
    """One yes is *proposed* and reserves nothing; with the second it is *agreed* and doses are reserved.

    ``pairing`` is the proposal that the first yes was said to; its dates live on in the pairing that stands
    now. ``terms`` are kept as they were worded for the recipient when the first of the two agreed to them
    (``terms_worded_at``); nothing rewords them. ``lapses_at`` is when a single yes ends by itself.
    """

    class State(models.TextChoices):
        PROPOSED = "proposed"
        AGREED = "agreed"
        DECLINED = "declined"
        LAPSED = "lapsed"
        ENDED = "ended"

    class EndReason(models.TextChoices):
        NOT_THIS_YEAR = "not_this_year"
        NOT_ENOUGH_POLLEN = "not_enough_pollen"
        NOT_IN_BLOOM = "not_in_bloom"
        FOUND_ELSEWHERE = "found_elsewhere"
        WITHDRAWN = "withdrawn"
        POSTPONED = "postponed"
        CAME_UP_SHORT = "came_up_short"
        ACCOUNT_CLOSED = "account_closed"
        NO_ANSWER = "no_answer"
        TIME_RAN_OUT = "time_ran_out"
        DONE = "done"
        OTHER = "other"

    pairing = models.ForeignKey(Pairing, on_delete=models.PROTECT, related_name="agreements")
    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="agreements")
    wanted_cross = models.ForeignKey(WantedCross, on_delete=models.PROTECT, related_name="agreements")
    donor = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="agreements_as_donor")
    recipient = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="agreements_as_recipient")
    proposed_by = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=10, choices=State, default=State.PROPOSED)
    doses = models.PositiveSmallIntegerField()
    terms = models.JSONField(default=list)
    terms_language = models.CharField(max_length=10, default="en")
    terms_worded_at = models.DateTimeField(null=True, blank=True)
    post_from = models.CharField(max_length=10, choices=PostFrom, blank=True)
    lapses_at = models.DateTimeField()
    agreed_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    end_reason = models.CharField(max_length=20, choices=EndReason, blank=True)
    changed_at = models.DateTimeField(default=clock.now)

    class Meta:
        indexes = [models.Index(fields=["changed_at"], name="agreement_changed_at")]
        constraints = [
            models.UniqueConstraint(
                "offer",
                "wanted_cross",
                condition=Q(state__in=["proposed", "agreed"]),
                name="agreement_alive_once",
            ),
            models.CheckConstraint(condition=Q(doses__gte=1, doses__lte=999), name="agreement_doses_range"),
            models.CheckConstraint(condition=~Q(donor=F("recipient")), name="agreement_between_two"),
        ]
