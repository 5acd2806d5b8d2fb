"""Offers older than a season: the donor is asked whether it still holds; without an answer it rests.

Silence says nothing about a person: agreements about the offer stay as they are.
"""

from datetime import datetime, timedelta

from django.db import transaction

from exchange.models import Notification, Offer
from exchange.models.offer import OpenState
from exchange.services.due import due_cancel, due_set, register
from growers.models import Change
from growers.services import after_commit
from growers.services.row import row_save

KIND = "offer_still_true"

SEASON = timedelta(days=180)
"""After so long without a word an offer is asked about (judgement)."""

ANSWER_TIME = timedelta(days=14)
"""So long its donor has to answer before it rests (judgement)."""


def still_true_set(offer: Offer, now: datetime) -> None:
    """Its donor has just said that an offer holds: ask again a season later. The caller saves the row."""
    offer.confirmed_at, offer.still_true_asked_at = now, None
    due_set(kind=KIND, subject_id=offer.pk, due_at=now + SEASON)


def still_true_cancel(offer: Offer) -> None:
    """Do not ask about an offer that its donor has paused or closed. The caller saves the row."""
    offer.still_true_asked_at = None
    due_cancel(kind=KIND, subject_id=offer.pk)


@register(KIND)
def still_true_due(subject_id: int, now: datetime) -> datetime | None:
    """Ask, or let an offer rest whose donor was asked; when to look again, or None."""
    with transaction.atomic():
        rows = Offer.objects.select_for_update(of=("self",)).select_related("plant__grower")
        offer = rows.get(pk=subject_id)
        if offer.state != OpenState.OPEN:
            return None
        if offer.still_true_asked_at is None:
            return _ask(offer, now)
        if now >= offer.still_true_asked_at + ANSWER_TIME:
            _rest(offer, now)
            return None
        return offer.still_true_asked_at + ANSWER_TIME


def _ask(offer: Offer, now: datetime) -> datetime:
    if now < offer.confirmed_at + SEASON:
        return offer.confirmed_at + SEASON
    offer.still_true_asked_at = now
    offer.save(update_fields=["still_true_asked_at"])
    _tell(offer, Notification.Kind.STILL_TRUE, now)
    return now + ANSWER_TIME


def _rest(offer: Offer, now: datetime) -> None:
    offer.state = OpenState.PAUSED
    row_save(offer, kind=Change.Kind.OFFER, names=["state"])
    _tell(offer, Notification.Kind.PAUSED, now)
    after_commit.start("exchange.matching")


def _tell(offer: Offer, kind: Notification.Kind, now: datetime) -> None:
    Notification.objects.create(grower=offer.plant.grower, kind=kind, offer=offer, created_at=now)
