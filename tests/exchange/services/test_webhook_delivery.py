"""Events on their way: set up once, sent by the schedule, given up after days, noted, sent again."""

import json
from datetime import datetime, timedelta
from functools import partial
from typing import Any

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from standardwebhooks import Webhook as Verifier

from exchange.models import DueTask, Notification, Webhook, WebhookDelivery
from exchange.services import due, webhook_delivery
from exchange.services.block import block_create
from exchange.services.due import run_due
from exchange.services.webhook import webhook_change, webhook_create, webhook_delete, webhook_rotate
from exchange.services.webhook_delivery import PAUSES, deliveries_make, delivery_resend
from exchange.services.webhook_sending import Outcome
from growers import clock as project_clock
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.bargain import make_bargain
from tests.exchange.receiver import Receiver, make_webhook, receiving_here, tell
from tests.exchange.society import NOON
from tests.growers.services.test_race import at_once

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def at_noon(clock: MovableClock) -> None:
    clock.set(NOON)


@pytest.fixture(autouse=True)
def nothing_else_is_due(monkeypatch: pytest.MonkeyPatch) -> None:
    kind = webhook_delivery.KIND
    monkeypatch.setattr(due, "HANDLERS", {kind: due.HANDLERS[kind]})
    monkeypatch.setattr(due, "SOURCES", [deliveries_make])


def sweep() -> tuple[int, int]:
    """What one sweep has done of webhooks, and what failed."""
    report = run_due(project_clock.now(), 500)
    return report.done, report.failed


class Answers:
    """The other side: what it answers to one attempt after the other, the last one for good."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.outcomes = [Outcome(500, "not_accepted", 0.1)]
        self.got: list[tuple[str, str]] = []
        monkeypatch.setattr(webhook_delivery, "send", self.send)

    def send(self, url: str, headers: dict[str, str], body: bytes) -> Outcome:
        assert not connection.in_atomic_block
        self.got.append((url, headers["webhook-id"]))
        return self.outcomes.pop(0) if len(self.outcomes) > 1 else self.outcomes[0]


RECEIVED = Outcome(204, "", 0.1)
GONE = Outcome(410, "not_accepted", 0.1)
FAILED = Outcome(500, "not_accepted", 0.1)
SLOW = Outcome(None, "timed_out", 10.0)


@pytest.fixture
def answers(monkeypatch: pytest.MonkeyPatch) -> Answers:
    return Answers(monkeypatch)


def the_delivery() -> WebhookDelivery:
    return WebhookDelivery.objects.get()


def the_webhook() -> Webhook:
    return Webhook.objects.get()


# --- what is sent ---


def test_a_receiver_gets_the_event_and_verifies_it(donor: Grower) -> None:
    with receiving_here() as receiver:
        made = webhook_create(actor=donor, url=receiver.url)
        told = tell(donor)
        assert sweep() == (1, 0)
    (request,) = receiver.got
    delivery = the_delivery()
    assert request.path == "/pollen?from=exchange"
    assert request.headers == {
        "host": receiver.address,
        "accept-encoding": "identity",
        "content-length": str(len(request.body)),
        "content-type": "application/json",
        "user-agent": "pollen-exchange-webhook/1",
        "webhook-id": str(delivery.public_id),
        "webhook-timestamp": request.headers["webhook-timestamp"],
        "webhook-signature": request.headers["webhook-signature"],
    }
    event = Verifier(made.secret).verify(request.body, request.headers)
    assert event == json.loads(request.body)
    assert event["type"] == "offer.still_true"
    assert event["data"]["notification_id"] == str(told.public_id)
    assert (delivery.state, DueTask.objects.filter(kind="webhook_delivery").count()) == ("delivered", 0)
    (attempt,) = delivery.attempts
    assert (attempt["number"], attempt["status"], attempt["error"]) == (1, 204, "")
    assert sweep() == (0, 0)
    assert len(receiver.got) == 1


def test_while_a_secret_is_replaced_either_verifies(donor: Grower) -> None:
    with receiving_here() as receiver:
        first = webhook_create(actor=donor, url=receiver.url)
        second = webhook_rotate(actor=donor, webhook=first.webhook)
        tell(donor)
        sweep()
        Webhook.objects.update(previous_until=project_clock.true_now())
        tell(donor)
        sweep()
    both, one = receiver.got
    for made in (first, second):
        assert Verifier(made.secret).verify(both.body, both.headers)
    assert Verifier(second.secret).verify(one.body, one.headers)
    assert len(one.headers["webhook-signature"].split(" ")) == 1


# --- what is set up ---


def test_each_active_address_of_the_grower_is_told_once_of_what_came_after_it(
    donor: Grower, recipient: Grower, answers: Answers, clock: MovableClock
) -> None:
    answers.outcomes = [RECEIVED]
    tell(donor)  # before there was any
    clock.move(minutes=1)
    urls = [f"https://hooks.example/{number}" for number in range(4)]
    hooks = [make_webhook(donor, url) for url in urls[:3]]
    make_webhook(recipient, urls[3])
    webhook_change(actor=donor, webhook=hooks[1], active=False)
    webhook_change(actor=donor, webhook=hooks[2], kinds=["recall"])
    told = tell(donor)
    deliveries_make(project_clock.now())
    deliveries_make(project_clock.now())
    assert sweep() == (1, 0)
    assert answers.got == [(urls[0], str(the_delivery().public_id))]
    assert the_delivery().notification == told


def test_what_was_told_while_it_was_off_is_not_sent(
    donor: Grower, answers: Answers, clock: MovableClock
) -> None:
    webhook = make_webhook(donor)
    webhook_change(actor=donor, webhook=webhook, active=False)
    tell(donor)
    clock.move(minutes=1)
    webhook_change(actor=donor, webhook=webhook, active=True)
    after = tell(donor)
    sweep()
    assert the_delivery().notification == after


def test_what_was_told_in_a_transaction_that_ended_late_is_sent(donor: Grower, clock: MovableClock) -> None:
    make_webhook(donor)
    early = project_clock.now()
    clock.move(hours=20)
    late = tell(donor)
    sweep()
    tell(donor, created_at=early)  # is seen only now
    sweep()
    assert WebhookDelivery.objects.count() == 2
    assert set(WebhookDelivery.objects.values_list("notification", flat=True)) > {late.pk}


def test_old_notifications_are_not_looked_through_for_ever(donor: Grower, clock: MovableClock) -> None:
    make_webhook(donor)
    clock.move(days=30)
    told = tell(donor)  # no sweep came for a month
    clock.move(days=30)
    now = project_clock.now()
    deliveries_make(now)
    assert the_delivery().notification == told
    assert the_webhook().tells_from == now - timedelta(days=1)
    with CaptureQueriesContext(connection) as queries:
        deliveries_make(now + timedelta(minutes=1))
    assert len(queries) == 2


def test_two_sweeps_at_once_set_up_and_send_once(donor: Grower) -> None:
    with receiving_here() as receiver:
        make_webhook(donor, receiver.url)
        for _ in range(5):
            tell(donor)
        now = project_clock.now()
        assert at_once(*[partial(run_due, now, 500)] * 2) == [None, None]
        sweep()
    ids = [request.headers["webhook-id"] for request in receiver.got]
    assert sorted(ids) == sorted(str(each.public_id) for each in WebhookDelivery.objects.all())
    assert len(ids) == 5


def test_a_worker_killed_while_it_sets_up_loses_nothing(
    donor: Grower, answers: Answers, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers.outcomes = [RECEIVED]
    make_webhook(donor)
    tell(donor)
    with monkeypatch.context() as patched:

        def killed(**_: Any) -> None:
            raise SystemExit

        patched.setattr(due, "due_set", killed)
        with pytest.raises(SystemExit):
            deliveries_make(project_clock.now())
    assert WebhookDelivery.objects.count() == DueTask.objects.filter(kind="webhook_delivery").count() == 0
    sweep()
    assert the_delivery().state == "delivered"


def test_a_worker_killed_after_sending_sends_again_under_the_same_id(
    donor: Grower, monkeypatch: pytest.MonkeyPatch, clock: MovableClock
) -> None:
    """At least once: the receiver knows it by its id."""
    with receiving_here() as receiver:
        make_webhook(donor, receiver.url)
        tell(donor)
        with monkeypatch.context() as patched:

            def killed(*_: Any) -> None:
                raise SystemExit

            patched.setattr(webhook_delivery, "_note", killed)
            with pytest.raises(SystemExit):
                sweep()
        assert len(receiver.got) == 1 and the_delivery().attempts == []
        assert sweep() == (0, 0)  # the claim of the dead worker holds
        clock.move(minutes=16)
        assert sweep() == (1, 0)
    first, second = receiver.got
    assert first.headers["webhook-id"] == second.headers["webhook-id"] == str(the_delivery().public_id)
    assert first.body == second.body
    assert the_delivery().state == "delivered"


def test_a_worker_killed_after_the_note_leaves_the_next_attempt(
    donor: Grower, answers: Answers, monkeypatch: pytest.MonkeyPatch, clock: MovableClock
) -> None:
    make_webhook(donor)
    tell(donor)
    with monkeypatch.context() as patched:

        def killed(*_: Any) -> None:
            raise SystemExit

        patched.setattr("exchange.services.due.finish", killed)
        with pytest.raises(SystemExit):
            sweep()
    assert len(the_delivery().attempts) == 1
    clock.move(minutes=16)
    assert sweep() == (1, 0)
    assert [attempt["number"] for attempt in the_delivery().attempts] == [1, 2]


# --- attempts over days ---


def test_it_is_tried_ten_times_over_three_days_and_then_the_address_is_switched_off(
    donor: Grower, answers: Answers, clock: MovableClock
) -> None:
    make_webhook(donor)
    tell(donor)
    assert sweep() == (1, 0)
    begun = datetime.fromisoformat(the_delivery().attempts[0]["at"])
    for number, pause in enumerate(PAUSES, start=2):
        due_at = DueTask.objects.get(kind="webhook_delivery").due_at
        last = datetime.fromisoformat(the_delivery().attempts[-1]["at"])
        assert due_at - last == pause
        clock.set(due_at - timedelta(seconds=2))
        assert sweep() == (0, 0)
        assert the_webhook().state == "active"
        clock.set(due_at)
        assert sweep() == (1, 0)
        assert len(the_delivery().attempts) == number
    delivery = the_delivery()
    assert (delivery.state, DueTask.objects.filter(kind="webhook_delivery").count()) == ("given_up", 0)
    assert [attempt["number"] for attempt in delivery.attempts] == list(range(1, 11))
    assert delivery.finished_at is not None
    assert timedelta(0) <= delivery.finished_at - begun - sum(PAUSES, timedelta()) < timedelta(minutes=2)
    assert sum(PAUSES, timedelta()) == timedelta(hours=75, minutes=35, seconds=5)
    webhook = the_webhook()
    assert (webhook.state, webhook.reason) == ("disabled", "failed_for_days")
    assert set(answers.got) == {(webhook.url, str(delivery.public_id))}
    clock.move(days=30)
    tell(donor)
    assert sweep()[1] == 0
    assert len(answers.got) == 10


def fail_to_the_last(answers: Answers, clock: MovableClock, between: Outcome) -> None:
    """One event fails for days; in between another has this outcome."""
    sweep()
    for pause in PAUSES[:-1]:
        clock.set(project_clock.now() + pause + timedelta(seconds=1))
        sweep()
    donor = the_webhook().grower
    tell(donor)
    answers.outcomes = [between, FAILED]
    sweep()
    clock.set(project_clock.now() + PAUSES[-1])
    sweep()


@pytest.mark.parametrize(("between", "state"), [(RECEIVED, "active"), (FAILED, "disabled")])
def test_an_address_that_takes_other_events_stays_on(
    donor: Grower, answers: Answers, clock: MovableClock, between: Outcome, state: str
) -> None:
    make_webhook(donor)
    first = tell(donor)
    fail_to_the_last(answers, clock, between)
    assert WebhookDelivery.objects.get(notification=first).state == "given_up"
    assert the_webhook().state == state


def test_an_answer_of_410_switches_the_address_off_at_once(
    donor: Grower, answers: Answers, clock: MovableClock
) -> None:
    answers.outcomes = [GONE]
    webhook = make_webhook(donor)
    told = [tell(donor), tell(donor)]
    sweep()
    assert len(answers.got) == 1
    assert (the_webhook().state, the_webhook().reason) == ("disabled", "gone")
    by_state = {each.notification_id: each for each in WebhookDelivery.objects.all()}
    assert [by_state[each.pk].state for each in told] == ["given_up", "given_up"]
    assert [len(by_state[each.pk].attempts) for each in told] == [1, 0]
    answers.outcomes = [RECEIVED]
    webhook_change(actor=donor, webhook=webhook, active=True)
    delivery_resend(actor=donor, delivery=by_state[told[1].pk])
    sweep()
    assert WebhookDelivery.objects.get(notification=told[1]).state == "delivered"


def test_410_of_an_address_that_was_replaced_meanwhile_does_not_count(
    donor: Grower, monkeypatch: pytest.MonkeyPatch
) -> None:
    webhook = make_webhook(donor)
    tell(donor)

    def answers_and_is_replaced(*_: Any) -> Outcome:
        webhook_change(actor=donor, webhook=webhook, url="https://hooks.example/new")
        return GONE

    monkeypatch.setattr(webhook_delivery, "send", answers_and_is_replaced)
    sweep()
    assert (the_webhook().state, the_delivery().state) == ("active", "given_up")


def test_what_is_removed_while_it_is_sent_is_gone(donor: Grower, monkeypatch: pytest.MonkeyPatch) -> None:
    webhook = make_webhook(donor)
    tell(donor)

    def answers_and_is_removed(*_: Any) -> Outcome:
        webhook_delete(actor=donor, webhook=webhook)
        return FAILED

    monkeypatch.setattr(webhook_delivery, "send", answers_and_is_removed)
    assert sweep() == (1, 0)
    assert DueTask.objects.filter(kind="webhook_delivery").count() == 0


@pytest.mark.parametrize(("slow", "left"), [(SLOW, 3), (Outcome(204, "", 10.0), 2)])
def test_an_address_that_lets_us_wait_rests_and_holds_up_nobody(
    donor: Grower, recipient: Grower, answers: Answers, clock: MovableClock, slow: Outcome, left: int
) -> None:
    answers.outcomes = [slow, RECEIVED]
    make_webhook(donor, "https://slow.example/")
    make_webhook(recipient, "https://hooks.example/")
    for grower in (donor, donor, donor, recipient):
        tell(grower)
    assert sweep() == (4, 0)
    assert [url for url, _ in answers.got] == ["https://slow.example/", "https://hooks.example/"]
    clock.move(minutes=4)
    assert sweep() == (left - 2, 0)  # the first alone is due by its schedule, and waits too
    clock.move(minutes=2)
    assert sweep() == (left, 0)
    states = WebhookDelivery.objects.values_list("state", flat=True)
    assert list(states) == ["delivered"] * 4
    assert len(answers.got) == 2 + left


def test_a_redirect_is_tried_again_and_not_followed(donor: Grower) -> None:
    with receiving_here(Receiver(307, {"Location": "http://127.0.0.1:1/"})) as receiver:
        make_webhook(donor, receiver.url)
        tell(donor)
        sweep()
    (attempt,) = the_delivery().attempts
    assert (attempt["status"], attempt["error"], the_delivery().state) == (307, "redirected", "waiting")


def test_a_name_that_leads_inside_is_noted_and_tried_again(
    donor: Grower, monkeypatch: pytest.MonkeyPatch
) -> None:
    def inside(host: str, port: int, **_: Any) -> list[Any]:
        return [(None, None, None, "", ("169.254.169.254", port))]

    monkeypatch.setattr("socket.getaddrinfo", inside)
    make_webhook(donor)
    tell(donor)
    sweep()
    (attempt,) = the_delivery().attempts
    assert (attempt["status"], attempt["error"]) == (None, "refused_not_public")
    assert the_delivery().state == "waiting"


# --- once more ---


def test_an_event_is_sent_once_more_under_the_same_id(
    donor: Grower, answers: Answers, clock: MovableClock
) -> None:
    answers.outcomes = [RECEIVED, FAILED, RECEIVED]
    make_webhook(donor)
    tell(donor)
    sweep()
    again = delivery_resend(actor=donor, delivery=the_delivery())
    assert (again.state, again.finished_at) == ("waiting", None)
    assert sweep() == (1, 0)
    assert the_delivery().state == "waiting"
    delivery_resend(actor=donor, delivery=the_delivery())  # sooner than the schedule
    assert sweep() == (1, 0)
    delivery = the_delivery()
    assert delivery.state == "delivered"
    assert [attempt["number"] for attempt in delivery.attempts] == [1, 1, 2]
    assert answers.got == [(the_webhook().url, str(delivery.public_id))] * 3


def test_of_many_attempts_the_latest_are_kept(donor: Grower, answers: Answers) -> None:
    make_webhook(donor)
    tell(donor)
    sweep()
    WebhookDelivery.objects.update(
        attempts=[{**the_delivery().attempts[0], "seconds": float(number)} for number in range(50)]
    )
    delivery_resend(actor=donor, delivery=the_delivery())
    sweep()
    attempts = the_delivery().attempts
    assert (len(attempts), attempts[0]["seconds"], attempts[-1]["number"]) == (50, 1.0, 2)


# --- what may no longer be told ---


def test_what_was_hidden_since_is_not_sent(donor: Grower, recipient: Grower, answers: Answers) -> None:
    pairing = make_bargain(donor, recipient).pairing
    make_webhook(donor)
    told = Notification.objects.create(grower=donor, kind="pairing_proposed", pairing=pairing)
    deliveries_make(project_clock.now())
    block_create(actor=donor, blocked=recipient)
    sweep()
    delivery = WebhookDelivery.objects.get(notification=told)
    assert (delivery.state, delivery.attempts, answers.got) == ("given_up", [], [])


def test_a_rolled_back_telling_is_not_sent(donor: Grower, answers: Answers) -> None:
    make_webhook(donor)
    with transaction.atomic():
        tell(donor)
        transaction.set_rollback(True)
    sweep()
    assert WebhookDelivery.objects.count() == 0
