"""Work that somebody dies at, and what must have come of it: a society that changes, events to be told."""

import json
import threading
from collections import Counter
from collections.abc import Callable
from typing import Any

from django.db.models import F, QuerySet

from exchange.models import DueTask, Notification, WebhookDelivery
from growers import clock as project_clock
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.bargain import propose
from tests.exchange.difference import Story, story
from tests.exchange.receiver import Receiver, make_webhook, tell
from tests.exchange.refusal import rows
from tests.exchange.society import NOON, make_pairing, make_society
from tests.factories import make_grower
from tests.served.tale import all_done, ids_alike

ANSWER = b"HTTP/1.1 204 No Content\r\n\r\n"


def prepare(clock: MovableClock) -> None:
    """A yes that nobody answered for eleven days, and facts that no run has taken in."""
    clock.set(NOON)
    scene = make_society(make_grower("donor"), make_grower("recipient"))
    ids_alike()
    for row in (scene.offer, scene.wanted):
        row.refresh_from_db()
    propose(make_pairing(scene.offer, scene.wanted), doses=1)
    clock.move(days=11)


def three_events(url: str) -> None:
    """The donor is told of the first and the third, the recipient of the second, each at an address."""
    growers = make_grower("donor"), make_grower("recipient")
    webhooks_make(url, *growers)
    for grower in (*growers, growers[0]):
        tell(grower)


def webhooks_make(url: str, *growers: Grower) -> None:
    for grower in growers:
        make_webhook(grower, url)


def silent_at(number: int) -> Receiver:
    """A receiver that answers, but not the request of this number."""

    def speaks(out: Any, is_over: threading.Event) -> None:
        if len(made.got) == number:
            is_over.wait()
        else:
            out.write(ANSWER)

    made = Receiver(speaks=speaks)
    return made


# --- what came of it ---


def ids_of(receiver: Receiver) -> list[str]:
    """By which a receiver knows what it was sent, in order."""
    return [request.headers["webhook-id"] for request in list(receiver.got)]


def to_be_told() -> QuerySet[Notification]:
    """What was told to growers since they have an address."""
    return Notification.objects.filter(created_at__gte=F("grower__webhooks__tells_from"))


def delivered() -> list[str]:
    """The ids of what has arrived as far as we know, in the order in which it was set up."""
    rows = WebhookDelivery.objects.filter(state="delivered").order_by("pk")
    return [str(key) for key in rows.values_list("public_id", flat=True)]


def all_delivered() -> bool:
    """Nothing is left to do, and whatever is to be told was sent with success."""
    return all_done() and len(delivered()) == to_be_told().count()


def end() -> Story:
    """What all tables say, apart from addresses: they hold the port of the receiver."""
    return story(rows(), without=("exchange_webhook",))


def is_claimed(place: int) -> bool:
    """Whether a worker, dead or alive, is at the delivery that was set up in this place."""
    subject = WebhookDelivery.objects.order_by("pk")[place - 1].pk
    task = DueTask.objects.filter(kind="webhook_delivery", subject_id=subject)
    return task.filter(claimed_until__gt=project_clock.now()).exists()


def assert_only_the_second_waits(receiver: Receiver) -> None:
    """Three came, and nobody but the dead worker has been at the second."""
    first, second, third = ids_of(receiver)
    assert delivered() == [first, third]
    assert is_claimed(2)
    assert WebhookDelivery.objects.get(public_id=second).attempts == []


def assert_told_once(receiver: Receiver, *, sent_again: str = "") -> None:
    """Each event has one id and went out once; only one may have gone out twice, in the same words."""
    known = delivered()
    assert known
    expected = {name: 1 + (name == sent_again) for name in known}
    assert Counter(ids_of(receiver)) == expected
    assert WebhookDelivery.objects.count() == len(known) == to_be_told().count()
    bodies = {(request.headers["webhook-id"], request.body) for request in receiver.got}
    events = {json.loads(body)["data"]["notification_id"] for _, body in bodies}
    assert len(bodies) == len(known)
    assert events == {str(told.public_id) for told in to_be_told()}
    assert not DueTask.objects.filter(kind="webhook_delivery").exists()


def told_by(receiver: Receiver, count: int) -> Callable[[], bool]:
    """Whether so many requests have come."""
    return lambda: len(receiver.got) >= count
