"""One POST of every operation on webhooks, prepared so that it succeeds; see :mod:`tests.api.every_post`."""

from exchange.models import WebhookDelivery
from exchange.services.webhook_delivery import deliveries_make
from growers import clock
from tests.api.caller import caller
from tests.api.every_post import Post, Stage, prepares
from tests.exchange.receiver import make_webhook, tell


@prepares
def webhook_create(stage: Stage) -> Post:
    body = {"url": "https://hooks.example/pollen"}
    return Post(caller(stage.donor), "webhooks", body, {**body, "kinds": ["recall"]})


@prepares
def webhook_rotate(stage: Stage) -> Post:
    return Post(caller(stage.donor), f"webhooks/{make_webhook(stage.donor).public_id}/rotate")


@prepares
def webhook_delivery_resend(stage: Stage) -> Post:
    make_webhook(stage.donor)
    tell(stage.donor)
    deliveries_make(clock.now())
    WebhookDelivery.objects.update(state=WebhookDelivery.State.GIVEN_UP, finished_at=clock.now())
    delivery = WebhookDelivery.objects.get()
    return Post(caller(stage.donor), f"webhook-deliveries/{delivery.public_id}/resend")
