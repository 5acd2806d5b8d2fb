"""Addresses of a grower's clients: made, changed, switched off and on, given another secret, removed."""

import base64
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TypedDict, Unpack

from django.db import transaction

from exchange.models import Notification, Webhook
from exchange.services.cipher import encrypted
from exchange.services.webhook_address import AddressRefused, target_of
from growers import clock
from growers.errors import NotFound
from growers.models import Grower
from growers.services.grower import open_grower
from growers.services.problem import Problems
from growers.services.row import as_list, words_check

MOST_WEBHOOKS = 5
SECRET_BYTES = 32
"""Of 24 to 64 that Standard Webhooks allows."""

BOTH_SIGN = timedelta(hours=24)
"""So long after a rotation the secret before signs too (judgement)."""


class WebhookFields(TypedDict, total=False):
    """What a grower says of an address."""

    url: str
    kinds: Sequence[str]
    active: bool


@dataclass(frozen=True)
class WebhookMade:
    """A webhook with a new secret, which is shown this once."""

    webhook: Webhook
    secret: str


def webhook_create(*, actor: Grower, url: str, kinds: Sequence[str] = ()) -> WebhookMade:
    """Have an address told of what happens from now on; nothing is sent to it before."""
    secret = _new_secret()
    with transaction.atomic():
        webhook = Webhook(grower=open_grower(actor), sealed_secret=encrypted(secret.encode()))
        problems = Problems()
        _stated(webhook, {"url": url, "kinds": kinds}, problems)
        if Webhook.objects.filter(grower=actor).count() >= MOST_WEBHOOKS:
            sentence = f"You have {MOST_WEBHOOKS} addresses; remove one that is not used any more."
            problems.add_sentence("url", "too_many", sentence)
        problems.refuse_if_any()
        webhook.save()
    return WebhookMade(webhook, secret)


def webhook_change(*, actor: Grower, webhook: Webhook, **fields: Unpack[WebhookFields]) -> Webhook:
    """Change where and what is sent, or switch it off or on; what was told while it was off is not sent."""
    with transaction.atomic():
        own = _own(actor, webhook)
        problems = Problems()
        _stated(own, fields, problems)
        problems.refuse_if_any()
        _switch(own, fields.get("active", own.state == Webhook.State.ACTIVE))
        own.save()
    return own


def webhook_rotate(*, actor: Grower, webhook: Webhook) -> WebhookMade:
    """Give an address a new secret; the one before signs too for a day."""
    secret = _new_secret()
    with transaction.atomic():
        own = _own(actor, webhook)
        own.sealed_previous, own.previous_until = own.sealed_secret, clock.true_now() + BOTH_SIGN
        own.sealed_secret = encrypted(secret.encode())
        own.save()
    return WebhookMade(own, secret)


def webhook_delete(*, actor: Grower, webhook: Webhook) -> None:
    """Remove an address with its secrets and all that was noted of what was sent to it."""
    with transaction.atomic():
        _own(actor, webhook).delete()


def webhooks_delete_all(*, actor: Grower) -> None:
    """Remove all addresses of a grower who leaves."""
    with transaction.atomic():
        for webhook in Webhook.objects.select_for_update().filter(grower=actor).order_by("pk"):
            webhook.delete()


def _own(actor: Grower, webhook: Webhook) -> Webhook:
    """The locked row of the actor's own; nothing is noted of it meanwhile."""
    own = Webhook.objects.select_for_update().filter(pk=webhook.pk, grower=actor).first()
    if own is None:
        raise NotFound("There is no such webhook.")
    return own


def _new_secret() -> str:
    return f"whsec_{base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode()}"


def _stated(webhook: Webhook, fields: WebhookFields, problems: Problems) -> None:
    if "url" in fields and fields["url"] != webhook.url:
        _url_check(fields["url"], problems)
        webhook.url, webhook.rests_until = fields["url"], None
    if "kinds" in fields:
        words_check(problems, "kinds", fields["kinds"], Notification.Kind.values)
        webhook.kinds = sorted(set(as_list(fields["kinds"]))) if not problems.has("kinds") else []


def _url_check(url: str, problems: Problems) -> None:
    try:
        target_of(url)
    except AddressRefused as refused:
        problems.add("url", url, refused.detail, code=f"url_{refused.code}")


def _switch(webhook: Webhook, active: bool) -> None:
    """Switch it on or off; one that is so already stays as it is, with its reason."""
    if active == (webhook.state == Webhook.State.ACTIVE):
        return
    now = clock.now()
    if active:
        webhook.state, webhook.reason, webhook.disabled_at = Webhook.State.ACTIVE, "", None
        webhook.tells_from, webhook.rests_until = now, None
    else:
        webhook.state, webhook.reason = Webhook.State.DISABLED, Webhook.Reason.SWITCHED_OFF
        webhook.disabled_at = now
