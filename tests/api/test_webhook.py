"""Addresses that are told: made with a secret that is shown once, changed, rotated, with what was sent."""

from typing import Any

import pytest

from exchange.models import IdempotentAnswer, Webhook, WebhookDelivery
from exchange.services.webhook_delivery import deliveries_make
from growers import clock as project_clock
from growers.models import Grower
from tests.api.caller import Answer, Caller
from tests.exchange.receiver import make_webhook, tell

pytestmark = pytest.mark.django_db

BODY = {"url": "https://hooks.example/pollen", "kinds": ["recall", "agreement_event"]}
KEY = "5f0f8a43-3a4b-4a55-9d4c-1d8a4a3c7e10"


def instant(value: Any) -> str:
    return str(value.isoformat().replace("+00:00", "Z"))


def made(api: Caller, **stated: Any) -> Answer:
    answer = api.post("webhooks", {**BODY, **stated})
    assert answer.status == 201, answer.body
    return answer


def test_an_address_is_made_with_a_secret_that_is_shown_once(donor_api: Caller) -> None:
    answer = donor_api.post("webhooks", BODY, idempotency_key=KEY)
    webhook = Webhook.objects.get()
    shown = {
        "id": str(webhook.public_id),
        "url": "https://hooks.example/pollen",
        "kinds": ["agreement_event", "recall"],
        "state": "active",
        "reason": None,
        "disabled_at": None,
        "previous_secret_until": None,
        "created_at": instant(webhook.created_at),
    }
    secret = answer.body["secret"]
    assert (answer.status, answer.body) == (201, {**shown, "secret": secret})
    assert secret.startswith("whsec_") and len(secret) == 50
    assert answer["Location"] == f"/api/v1/webhooks/{webhook.public_id}"
    assert answer["Cache-Control"] == "no-store"
    again = donor_api.post("webhooks", BODY, idempotency_key=KEY)
    assert (again.status, again.code) == (409, "secret_already_shown")
    assert donor_api.get("webhooks").body == {"results": [shown], "next": None, "previous": None}
    assert donor_api.get(f"webhooks/{webhook.public_id}").body == shown
    assert secret not in str([*Webhook.objects.values(), *IdempotentAnswer.objects.values()])


@pytest.mark.parametrize(
    ("body", "status", "faults"),
    [
        ({}, 400, {"/url": "required"}),
        ({**BODY, "url": 7}, 400, {"/url": "invalid"}),
        ({**BODY, "url": "x" * 501}, 400, {"/url": "max_length"}),
        ({**BODY, "secret": "whsec_x"}, 400, {"/secret": "unknown_field"}),
        ({**BODY, "kinds": ["rain"]}, 400, {"/kinds/0": "invalid_choice"}),
        ({**BODY, "url": "http://hooks.example/"}, 422, {"/url": "url_scheme"}),
        ({**BODY, "url": "https://127.0.0.1/"}, 422, {"/url": "url_number"}),
        ({**BODY, "url": "https://localhost/"}, 422, {"/url": "url_name"}),
        ({**BODY, "url": "https://hooks.example:22/"}, 422, {"/url": "url_port"}),
        ({**BODY, "url": "https://a:b@hooks.example/"}, 422, {"/url": "url_user"}),
        ({**BODY, "url": "https://hooks.example/\r\n"}, 422, {"/url": "url_signs"}),
    ],
)
def test_what_is_wrong_is_told_with_its_place(
    donor_api: Caller, body: Any, status: int, faults: dict[str, str]
) -> None:
    refused = donor_api.post("webhooks", body)
    assert (refused.status, refused.faults) == (status, faults)
    assert Webhook.objects.count() == 0


def test_it_is_changed_switched_off_and_on_and_removed(donor_api: Caller) -> None:
    path = f"webhooks/{made(donor_api).body['id']}"
    changed = donor_api.patch(path, {"url": "https://hooks.example:8443/", "kinds": []}).body
    assert (changed["url"], changed["kinds"]) == ("https://hooks.example:8443/", [])
    off = donor_api.patch(path, {"active": False}).body
    assert (off["state"], off["reason"]) == ("disabled", "switched_off")
    assert off["disabled_at"] == instant(Webhook.objects.get().disabled_at)
    on = donor_api.patch(path, {"active": True}).body
    assert (on["state"], on["reason"], on["disabled_at"]) == ("active", None, None)
    assert donor_api.call("PATCH", path, {"active": False}).status == 428
    assert donor_api.call("PATCH", path, {"active": False}, if_match='"old"').status == 412
    refused = donor_api.patch(path, {"url": "https://10.0.0.1/"})
    assert (refused.status, refused.faults) == (422, {"/url": "url_number"})
    assert donor_api.get(path).body == on
    assert donor_api.delete(path).status == 204
    assert donor_api.get(path).status == 404


def test_a_new_secret_is_shown_once_and_the_old_one_signs_on(donor_api: Caller) -> None:
    first = made(donor_api).body
    path = f"webhooks/{first['id']}/rotate"
    second = donor_api.post(path, idempotency_key=KEY)
    until = Webhook.objects.get().previous_until
    assert second.status == 200 and second.body["secret"] != first["secret"]
    assert second.body == {
        **first,
        "secret": second.body["secret"],
        "previous_secret_until": instant(until),
    }
    assert second["Cache-Control"] == "no-store"
    again = donor_api.post(path, idempotency_key=KEY)
    assert (again.status, again.code) == (409, "secret_already_shown")
    assert Webhook.objects.get().previous_until == until


@pytest.fixture
def delivery(donor: Grower) -> WebhookDelivery:
    make_webhook(donor)
    tell(donor)
    deliveries_make(project_clock.now())
    attempt = {"number": 1, "at": "2027-07-01T12:01:03Z", "status": 503, "error": "not_accepted"}
    WebhookDelivery.objects.update(attempts=[{**attempt, "seconds": 0.12}])
    return WebhookDelivery.objects.get()


def test_what_was_sent_is_listed_with_every_attempt(donor_api: Caller, delivery: WebhookDelivery) -> None:
    listed = donor_api.get(f"webhooks/{delivery.webhook.public_id}/deliveries").body["results"]
    attempt = {"number": 1, "at": "2027-07-01T12:01:03Z", "status": 503, "error": "not_accepted"}
    assert listed == [
        {
            "id": str(delivery.public_id),
            "notification_id": str(delivery.notification.public_id),
            "type": "offer.still_true",
            "state": "waiting",
            "attempts": [{**attempt, "seconds": 0.12}],
            "created_at": instant(delivery.created_at),
            "finished_at": None,
        }
    ]


def test_one_is_sent_once_more(donor_api: Caller, delivery: WebhookDelivery) -> None:
    path = f"webhook-deliveries/{delivery.public_id}/resend"
    WebhookDelivery.objects.update(state="given_up", finished_at=project_clock.now())
    again = donor_api.post(path)
    assert (again.status, again.body["state"], again.body["finished_at"]) == (200, "waiting", None)
    assert again.body["id"] == str(delivery.public_id)
    donor_api.patch(f"webhooks/{delivery.webhook.public_id}", {"active": False})
    refused = donor_api.post(path)
    assert (refused.status, refused.code) == (409, "conflict")


def test_anothers_is_not_there(
    outsider_api: Caller, nobody: Caller, delivery: WebhookDelivery, donor: Grower
) -> None:
    path = f"webhooks/{delivery.webhook.public_id}"
    before = Webhook.objects.values().get()
    for answer in (
        outsider_api.get(path),
        outsider_api.get(f"{path}/deliveries"),
        outsider_api.post(f"{path}/rotate"),
        outsider_api.call("PATCH", path, {"active": False}, if_match="*"),
        outsider_api.call("DELETE", path, if_match="*"),
        outsider_api.post(f"webhook-deliveries/{delivery.public_id}/resend"),
    ):
        assert (answer.status, answer.code) == (404, "not_found")
    assert outsider_api.get("webhooks").body["results"] == []
    assert nobody.get("webhooks").status == 401
    assert Webhook.objects.values().get() == before


def test_five_at_most(donor_api: Caller) -> None:
    for _ in range(5):
        made(donor_api)
    refused = donor_api.post("webhooks", BODY)
    assert (refused.status, refused.faults) == (422, {"/url": "too_many"})
    assert Webhook.objects.count() == 5
