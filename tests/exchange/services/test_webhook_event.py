"""What is sent: the published vector of Standard Webhooks, the event, and both signatures of a rotation."""

import base64
import hashlib
import hmac
import json
from datetime import UTC, datetime, timedelta

import pytest

from exchange.api.v1.webhook import TYPES, EventOut
from exchange.models import Notification, Webhook, WebhookDelivery
from exchange.services.webhook import webhook_create, webhook_rotate
from exchange.services.webhook_event import event_of, event_type, headers_of, signature
from growers import clock as project_clock
from growers.models import Grower
from tests.exchange.receiver import tell

VECTOR = ("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_p5jXN8AQM9LWM0D4loKWxJek")
SENT_AT = datetime.fromtimestamp(1614265330, UTC)
SIGNED = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
"""Standard Webhooks 1.0.0, test suites of its libraries."""


def by_hand(secret: str, name: str, sent_at: datetime, body: bytes) -> str:
    """The signature by the words of the specification."""
    key = base64.b64decode(secret.removeprefix("whsec_"))
    signed = f"{name}.{int(sent_at.timestamp())}.".encode() + body
    return "v1," + base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()


def test_the_published_signature() -> None:
    body = b'{"test": 2432232314}'
    assert signature(*VECTOR, SENT_AT, body) == by_hand(*VECTOR, SENT_AT, body) == SIGNED


def test_one_space_fewer_is_another_signature() -> None:
    assert signature(*VECTOR, SENT_AT, b'{"test":2432232314}') != SIGNED


@pytest.mark.parametrize(
    ("name", "sent_at", "secret"),
    [
        ("msg_other", SENT_AT, VECTOR[0]),
        (VECTOR[1], SENT_AT + timedelta(seconds=1), VECTOR[0]),
        (VECTOR[1], SENT_AT, "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSx"),
    ],
)
def test_id_time_and_secret_are_signed(name: str, sent_at: datetime, secret: str) -> None:
    assert signature(secret, name, sent_at, b'{"test": 2432232314}') != SIGNED


def test_a_part_of_a_second_is_not_signed() -> None:
    late = SENT_AT + timedelta(milliseconds=999)
    assert signature(*VECTOR, late, b'{"test": 2432232314}') == SIGNED


@pytest.fixture
def delivery(donor: Grower) -> WebhookDelivery:
    webhook = webhook_create(actor=donor, url="https://hooks.example/").webhook
    return WebhookDelivery.objects.create(webhook=webhook, notification=tell(donor))


def test_the_event_is_thin_and_of_the_form_described(delivery: WebhookDelivery) -> None:
    told = delivery.notification
    assert told.offer is not None
    body = event_of(delivery)
    assert body is not None and body == event_of(delivery)
    about = {"kind": "offer", "id": str(told.offer.public_id)}
    assert json.loads(body) == {
        "type": "offer.still_true",
        "timestamp": told.created_at.isoformat().replace("+00:00", "Z"),
        "data": {
            "notification_id": str(told.public_id),
            "about": {**about, "path": f"/api/v1/offers/{told.offer.public_id}"},
        },
    }
    assert set(json.loads(body)) == set(EventOut().fields)


def test_every_notification_has_a_type() -> None:
    assert {kind.value: name for kind, name in TYPES.items()} == {
        kind: event_type(kind) for kind in Notification.Kind.values
    }
    assert event_type("pairing_proposed") == "pairing.proposed"
    assert event_type("offer_still_true") == "offer.still_true"
    assert event_type("recall") == "recall"


def test_what_its_grower_may_not_read_is_not_sent(delivery: WebhookDelivery, outsider: Grower) -> None:
    Notification.objects.update(grower=outsider)
    assert event_of(delivery) is None


def test_both_secrets_sign_for_a_day_after_a_rotation(donor: Grower) -> None:
    first = webhook_create(actor=donor, url="https://hooks.example/")
    second = webhook_rotate(actor=donor, webhook=first.webhook)
    delivery = WebhookDelivery.objects.create(webhook=second.webhook, notification=tell(donor))
    until = second.webhook.previous_until
    assert until is not None
    assert timedelta(hours=23, minutes=59) < until - project_clock.true_now() <= timedelta(hours=24)

    def signed(sent_at: datetime) -> list[str]:
        return headers_of(delivery, b"{}", sent_at)["webhook-signature"].split(" ")

    name, last = str(delivery.public_id), until - timedelta(seconds=1)
    assert signed(last) == [by_hand(made.secret, name, last, b"{}") for made in (second, first)]
    assert signed(until) == [by_hand(second.secret, name, until, b"{}")]

    third = webhook_rotate(actor=donor, webhook=first.webhook)
    delivery.webhook = Webhook.objects.get()
    assert signed(last) == [by_hand(made.secret, name, last, b"{}") for made in (third, second)]


def test_the_headers(delivery: WebhookDelivery) -> None:
    headers = headers_of(delivery, b"{}", SENT_AT)
    assert headers.pop("webhook-signature").startswith("v1,")
    assert headers == {
        "content-type": "application/json",
        "user-agent": "pollen-exchange-webhook/1",
        "webhook-id": str(delivery.public_id),
        "webhook-timestamp": "1614265330",
    }
