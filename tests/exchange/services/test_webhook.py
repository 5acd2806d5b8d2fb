"""Addresses that are told: made, changed, switched off and on, given another secret, removed."""

import base64
from collections.abc import Callable

import pytest

from exchange.models import Notification, Webhook, WebhookDelivery
from exchange.services.account import account_close
from exchange.services.cipher import decrypted
from exchange.services.webhook import (
    MOST_WEBHOOKS,
    webhook_change,
    webhook_create,
    webhook_delete,
    webhook_rotate,
)
from exchange.services.webhook_delivery import deliveries_make, delivery_resend
from growers import clock as project_clock
from growers.errors import Conflict, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.receiver import make_webhook, tell
from tests.exchange.refusal import problems, refused, rows
from tests.exchange.society import NOON
from tests.growers.services.test_race import at_once

pytestmark = pytest.mark.django_db

URL = "https://hooks.example/pollen"


def test_a_secret_is_random_long_and_kept_encrypted(donor: Grower) -> None:
    one, other = (webhook_create(actor=donor, url=URL) for _ in range(2))
    assert one.secret != other.secret
    key = base64.b64decode(one.secret.removeprefix("whsec_"), validate=True)
    assert one.secret.startswith("whsec_") and len(key) == 32
    assert decrypted(bytes(one.webhook.sealed_secret)).decode() == one.secret
    stored = str(rows()).encode() + bytes(one.webhook.sealed_secret)
    for part in (one.secret, one.secret.removeprefix("whsec_")):
        assert part.encode() not in stored
    assert key not in stored


def test_it_is_told_of_everything_or_of_some_kinds(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    webhook = webhook_create(actor=donor, url=URL).webhook
    assert (webhook.url, webhook.kinds, webhook.state, webhook.reason) == (URL, [], "active", "")
    chosen = webhook_create(actor=donor, url=URL, kinds=["recall", "lot_event", "recall"]).webhook
    assert chosen.kinds == ["lot_event", "recall"]
    assert 0.0 <= (chosen.tells_from - NOON).total_seconds() < 60.0


def test_a_wrong_address_or_kind_is_refused_with_what_is_allowed(donor: Grower) -> None:
    found = problems(lambda: webhook_create(actor=donor, url="https://127.0.0.1/", kinds=["rain"]))
    assert found == {
        "/url": "url is 'https://127.0.0.1/'; allowed: the name of a host, not its number.",
        "/kinds": f"kinds is 'rain'; allowed: {', '.join(Notification.Kind.values)}.",
    }
    webhook = make_webhook(donor)
    assert set(problems(lambda: webhook_change(actor=donor, webhook=webhook, url="http://x/"))) == {"/url"}
    assert set(problems(lambda: webhook_change(actor=donor, webhook=webhook, kinds=["rain"]))) == {"/kinds"}


def test_a_grower_has_five_at_most(donor: Grower, recipient: Grower) -> None:
    for _ in range(MOST_WEBHOOKS):
        make_webhook(donor)
    assert problems(lambda: webhook_create(actor=donor, url=URL)) == {
        "/url": "You have 5 addresses; remove one that is not used any more."
    }
    make_webhook(recipient)
    assert Webhook.objects.count() == 6


@pytest.mark.django_db(transaction=True)
def test_two_at_once_do_not_make_a_sixth(donor: Grower) -> None:
    for _ in range(MOST_WEBHOOKS - 1):
        make_webhook(donor)
    outcomes = at_once(*[lambda: webhook_create(actor=donor, url=URL)] * 3)
    assert outcomes.count(None) == 1
    assert Webhook.objects.count() == MOST_WEBHOOKS


def test_it_is_switched_off_and_on_with_the_reason(donor: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    webhook = make_webhook(donor)
    off = webhook_change(actor=donor, webhook=webhook, active=False)
    assert (off.state, off.reason) == ("disabled", "switched_off")
    assert off.disabled_at is not None and 0.0 <= (off.disabled_at - NOON).total_seconds() < 60.0
    Webhook.objects.update(reason="gone", rests_until=NOON)
    again = webhook_change(actor=donor, webhook=webhook, active=False, kinds=["recall"])
    assert (again.reason, again.disabled_at, again.kinds) == ("gone", off.disabled_at, ["recall"])
    clock.move(days=3)
    on = webhook_change(actor=donor, webhook=webhook, active=True)
    assert (on.state, on.reason, on.disabled_at, on.rests_until) == ("active", "", None, None)
    assert 0.0 <= (on.tells_from - project_clock.now()).total_seconds() + 60.0 <= 60.0
    told_from = on.tells_from
    assert webhook_change(actor=donor, webhook=webhook, active=True).tells_from == told_from


def test_a_new_address_does_not_rest_and_the_same_one_does(donor: Grower) -> None:
    webhook = make_webhook(donor, URL)
    Webhook.objects.update(rests_until=NOON)
    assert webhook_change(actor=donor, webhook=webhook, url=URL).rests_until == NOON
    assert webhook_change(actor=donor, webhook=webhook, url=f"{URL}/2").rests_until is None


def test_a_rotation_keeps_the_secret_before(donor: Grower) -> None:
    first = webhook_create(actor=donor, url=URL)
    second = webhook_rotate(actor=donor, webhook=first.webhook)
    stored = Webhook.objects.get()
    assert second.secret != first.secret
    assert stored.sealed_previous is not None
    assert decrypted(bytes(stored.sealed_secret)).decode() == second.secret
    assert decrypted(bytes(stored.sealed_previous)).decode() == first.secret


def test_anothers_is_not_there(donor: Grower, outsider: Grower) -> None:
    webhook = make_webhook(donor)
    tell(donor)
    deliveries_make(project_clock.now())
    delivery = WebhookDelivery.objects.get()
    calls: list[Callable[[], object]] = [
        lambda: webhook_change(actor=outsider, webhook=webhook, active=False),
        lambda: webhook_rotate(actor=outsider, webhook=webhook),
        lambda: webhook_delete(actor=outsider, webhook=webhook),
    ]
    for call in calls:
        assert refused(call, NotFound).detail == "There is no such webhook."
    resend = refused(lambda: delivery_resend(actor=outsider, delivery=delivery), NotFound)
    assert resend.detail == "There is no such delivery."


def test_with_an_address_its_log_goes(donor: Grower) -> None:
    webhook, other = make_webhook(donor), make_webhook(donor)
    tell(donor)
    deliveries_make(project_clock.now())
    delivery = webhook.deliveries.get()
    webhook_delete(actor=donor, webhook=webhook)
    assert list(WebhookDelivery.objects.values_list("webhook", flat=True)) == [other.pk]
    refused(lambda: webhook_delete(actor=donor, webhook=webhook), NotFound)
    refused(lambda: delivery_resend(actor=donor, delivery=delivery), NotFound)


def test_to_one_that_is_off_nothing_is_sent_again(donor: Grower) -> None:
    webhook = make_webhook(donor)
    tell(donor)
    deliveries_make(project_clock.now())
    webhook_change(actor=donor, webhook=webhook, active=False)
    delivery = WebhookDelivery.objects.get()
    error = refused(lambda: delivery_resend(actor=donor, delivery=delivery), Conflict)
    assert error.detail == "This address is switched off; switch it on first."


def test_a_closed_account_has_no_addresses(donor: Grower, recipient: Grower) -> None:
    make_webhook(donor)
    kept = make_webhook(recipient)
    tell(donor)
    deliveries_make(project_clock.now())
    account_close(actor=donor)
    assert list(Webhook.objects.all()) == [kept]
    assert WebhookDelivery.objects.count() == 0
    refused(lambda: webhook_create(actor=donor, url=URL), NotFound)
