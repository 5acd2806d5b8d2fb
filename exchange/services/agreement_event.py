"""Notes what happens to an agreement, and who is to be told: the other side, once."""

from datetime import datetime
from typing import Any

from exchange.models import Agreement, AgreementEvent, Notification
from growers.models import Grower

Kind = AgreementEvent.Kind


def event_note(
    agreement: Agreement,
    kind: AgreementEvent.Kind,
    *,
    actor: Grower | None,
    now: datetime,
    third: Grower | None = None,
    **parameters: Any,
) -> AgreementEvent:
    """Note an event in the transaction that made it; without an actor both sides are told.

    ``third`` is told besides: the steward by whom a packet goes.
    """
    event = AgreementEvent.objects.create(
        agreement=agreement, kind=kind, actor=actor, created_at=now, parameters=parameters
    )
    all_concerned = [agreement.donor, agreement.recipient, *([third] if third else [])]
    _tell(event, [grower for grower in all_concerned if actor is None or grower.pk != actor.pk])
    return event


def event_tell_both(
    agreement: Agreement, kind: AgreementEvent.Kind, *, actor: Grower, now: datetime
) -> AgreementEvent:
    """Note what a stolen session may have done in the actor's name: the actor is told too."""
    event = AgreementEvent.objects.create(agreement=agreement, kind=kind, actor=actor, created_at=now)
    _tell(event, [agreement.donor, agreement.recipient])
    return event


def event_tell_only(
    agreement: Agreement, kind: AgreementEvent.Kind, *, told: Grower, now: datetime, **parameters: Any
) -> AgreementEvent:
    """Note an event that concerns one side alone."""
    event = AgreementEvent.objects.create(
        agreement=agreement, kind=kind, created_at=now, parameters=parameters
    )
    _tell(event, [told])
    return event


def _tell(event: AgreementEvent, growers: list[Grower]) -> None:
    Notification.objects.bulk_create(
        Notification(
            grower=grower, kind=Notification.Kind.AGREEMENT, event=event, created_at=event.created_at
        )
        for grower in growers
        if grower.is_active
    )
