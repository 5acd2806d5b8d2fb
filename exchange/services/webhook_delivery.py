"""Events on their way to addresses of growers: set up by the sweep, tried by a schedule, given up after days.

An event is sent at least once: a worker that dies after sending and before noting it leaves a claim that
runs out, and the event goes out again under the same ``webhook-id``. Nothing is sent in a transaction.
"""

from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Exists, F, FilteredRelation, OuterRef, Q

from exchange.models import Webhook, WebhookDelivery
from exchange.services.due import due_make, due_set, register, source
from exchange.services.webhook_event import event_of, headers_of
from exchange.services.webhook_sending import Outcome, send
from growers import clock
from growers.errors import Conflict, NotFound
from growers.models import Grower

KIND = "webhook_delivery"
State = WebhookDelivery.State

PAUSES = (
    timedelta(seconds=5),
    timedelta(minutes=5),
    timedelta(minutes=30),
    *(timedelta(hours=hours) for hours in (2, 5, 10, 14, 20, 24)),
)
"""Before the second attempt and each one after it (Standard Webhooks 1.0.0); the sweep comes each minute."""

LAST = len(PAUSES) + 1
SLOW_SECONDS = 1.0
REST = 30
"""An address that let us wait so long rests so many times as long: others are due too (judgement)."""

MOST_KEPT = 50
AT_A_TIME = 200
SETTLED_AFTER = timedelta(days=1)
"""No transaction that tells somebody something takes as long."""


@source
def deliveries_make(now: datetime) -> None:
    """Set up what was told since a webhook tells and is not on its way to it yet.

    Looked for by what is missing, so that nothing told in a transaction that ended late is left out.
    """
    wanted = [(hook, told) for hook, told, kind, kinds in _untold() if not kinds or kind in kinds]
    for first in range(0, len(wanted), AT_A_TIME):
        pairs = wanted[first : first + AT_A_TIME]
        rows = [WebhookDelivery(webhook_id=hook, notification_id=told) for hook, told in pairs]
        due_make(rows, kind=KIND, due_at=now)
    old = Webhook.objects.filter(state=Webhook.State.ACTIVE, tells_from__lt=now - 2 * SETTLED_AFTER)
    old.update(tells_from=now - SETTLED_AFTER)


def _untold() -> list[tuple[int, int, str, list[str]]]:
    """Webhook, notification and its kind, and the kinds that the webhook asks for."""
    since = Q(grower__notifications__created_at__gte=F("tells_from"))
    made = WebhookDelivery.objects.filter(webhook=OuterRef("pk"), notification=OuterRef("told__pk"))
    rows = Webhook.objects.filter(state=Webhook.State.ACTIVE).annotate(
        told=FilteredRelation("grower__notifications", condition=since)
    )
    missing = rows.filter(~Exists(made), told__isnull=False).order_by("told__pk", "pk")
    return list(missing.values_list("pk", "told__pk", "told__kind", "kinds"))


def delivery_resend(*, actor: Grower, delivery: WebhookDelivery) -> WebhookDelivery:
    """Send an event once more, with the same ``webhook-id``, whatever became of it; it is tried as a new one.

    ``Conflict`` while its address is switched off.
    """
    with transaction.atomic():
        rows = WebhookDelivery.objects.select_for_update(of=("self",)).select_related(
            "webhook", "notification"
        )
        own = rows.filter(pk=delivery.pk, webhook__grower=actor).first()
        if own is None:
            raise NotFound("There is no such delivery.")
        if own.webhook.state != Webhook.State.ACTIVE:
            raise Conflict("This address is switched off; switch it on first.")
        own.state, own.finished_at = State.WAITING, None
        own.save(update_fields=["state", "finished_at"])
        due_set(kind=KIND, subject_id=own.pk, due_at=clock.now())
    return own


@register(KIND)
def delivery_due(subject_id: int, now: datetime) -> datetime | None:
    """Try once; the next time, if any, is set with the note of the attempt."""
    rows = WebhookDelivery.objects.filter(pk=subject_id, state=State.WAITING)
    delivery = rows.select_related("webhook__grower").first()
    if delivery is None:
        return None
    webhook = delivery.webhook
    if webhook.rests_until is not None and webhook.rests_until > now:
        return webhook.rests_until
    body = event_of(delivery) if webhook.state == Webhook.State.ACTIVE else None
    if body is None:
        rows.update(state=State.GIVEN_UP, finished_at=clock.now())
        return None
    _note(delivery, send(webhook.url, headers_of(delivery, body, clock.true_now()), body))
    return None


def _note(sent: WebhookDelivery, outcome: Outcome) -> None:
    """Note an attempt and what follows from it, all or nothing; the address is locked before the event."""
    now = clock.now()
    with transaction.atomic():
        webhook = Webhook.objects.select_for_update(no_key=True).filter(pk=sent.webhook_id).first()
        rows = WebhookDelivery.objects.select_for_update().filter(pk=sent.pk, state=State.WAITING)
        delivery = rows.first()
        if webhook is None or delivery is None:
            return
        number = next_number(delivery.attempts)
        delivery.attempts = [*delivery.attempts, _record(number, outcome, now)][-MOST_KEPT:]
        delivery.state = _state_after(number, outcome)
        if delivery.state == State.WAITING:
            due_set(kind=KIND, subject_id=delivery.pk, due_at=now + PAUSES[number - 1])
        else:
            delivery.finished_at = now
        delivery.save(update_fields=["attempts", "state", "finished_at"])
        if (webhook.url, webhook.state) == (sent.webhook.url, Webhook.State.ACTIVE):
            _note_of_address(webhook, delivery, outcome, now)


def next_number(attempts: list[dict[str, Any]]) -> int:
    """Which attempt of the schedule comes next; after one that ended it, the first again."""
    if not attempts:
        return 1
    last = attempts[-1]
    ended = last["number"] == LAST or last["error"] == ""
    return 1 if ended else int(last["number"]) + 1


def _record(number: int, outcome: Outcome, at: datetime) -> dict[str, Any]:
    stated = {"status": outcome.status, "error": outcome.error, "seconds": outcome.seconds}
    return {"number": number, "at": at.isoformat().replace("+00:00", "Z"), **stated}


def _state_after(number: int, outcome: Outcome) -> State:
    if outcome.is_received:
        return State.DELIVERED
    return State.GIVEN_UP if outcome.is_gone or number == LAST else State.WAITING


def _note_of_address(webhook: Webhook, delivery: WebhookDelivery, outcome: Outcome, now: datetime) -> None:
    """Let an address rest or switch it off; not asked if its grower has named another meanwhile."""
    if outcome.is_gone:
        _disable(webhook, Webhook.Reason.GONE, now)
    elif delivery.state == State.GIVEN_UP and not _delivered_since(delivery):
        _disable(webhook, Webhook.Reason.FAILED_FOR_DAYS, now)
    elif outcome.seconds >= SLOW_SECONDS:
        webhook.rests_until = now + REST * timedelta(seconds=outcome.seconds)
        webhook.save(update_fields=["rests_until"])


def _delivered_since(delivery: WebhookDelivery) -> bool:
    """Whether anything was delivered to its address since this event was first tried."""
    first = datetime.fromisoformat(delivery.attempts[-LAST:][0]["at"])
    others = WebhookDelivery.objects.filter(webhook=delivery.webhook_id, state=State.DELIVERED)
    return others.filter(finished_at__gte=first).exists()


def _disable(webhook: Webhook, reason: Webhook.Reason, now: datetime) -> None:
    webhook.state, webhook.reason, webhook.disabled_at = Webhook.State.DISABLED, reason, now
    webhook.save(update_fields=["state", "reason", "disabled_at"])
