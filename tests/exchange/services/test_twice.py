"""Work that is delivered twice, at once or one after the other, comes to the same end as once."""

import os
import subprocess
import sys
from collections.abc import Callable
from datetime import date
from functools import partial

import pytest
from django.conf import settings

from exchange.models import LotOutlook, MailMessage, Webhook, WebhookDelivery
from exchange.project.celery import app
from exchange.services.coordinator import coordinator_grant
from exchange.services.due import HANDLERS, due_set
from exchange.services.lot import lot_collect
from exchange.services.mail import messages_make
from exchange.services.matching_order import matching_order
from exchange.services.offer_due import SEASON
from exchange.services.outlook import outlooks_renew_later
from exchange.services.quiet_ask import SOCIETY
from exchange.services.rescoring import rescore
from exchange.services.webhook_delivery import LAST
from growers import clock as project_clock
from growers.models import Grower
from tests.architecture.tree import PACKAGES
from tests.clock import MovableClock
from tests.exchange.bargain import agree, make_bargain, propose
from tests.exchange.difference import Story, story, unlike
from tests.exchange.gathered import make_gathered
from tests.exchange.mailing import confirmed
from tests.exchange.parcel import make_sending
from tests.exchange.quiet import make_owner, make_unoffered, make_wish
from tests.exchange.receiver import make_webhook, tell
from tests.exchange.refusal import rows
from tests.exchange.society import FRANCE, NOON, make_groups, make_pairing, make_society
from tests.factories import make_grower, make_offer, make_plant, make_site
from tests.growers.services.test_race import at_once
from tests.served.service import emptied
from tests.served.tale import ids_alike

pytestmark = pytest.mark.django_db(transaction=True)

Scene = Callable[[Grower, Grower, MovableClock], int]
SCENES: dict[tuple[str, str], Scene] = {}
"""What is due of each kind: makes it due and gives the id of its subject."""


def scene(kind: str, what: str = "") -> Callable[[Scene], Scene]:
    def keep(function: Scene) -> Scene:
        SCENES[kind, what] = function
        return function

    return keep


@scene("agreement_lapse")
def _a_yes_without_an_answer(donor: Grower, recipient: Grower, clock: MovableClock) -> int:
    agreement = propose(make_bargain(donor, recipient).pairing)
    clock.move(days=11)
    return agreement.pk


@scene("agreement_reservation")
def _doses_kept_too_long(donor: Grower, recipient: Grower, clock: MovableClock) -> int:
    agreement = agree(make_bargain(donor, recipient).pairing)
    clock.move(days=200)
    return agreement.pk


@scene("agreement_next_donor")
def _another_could_send_pollen(donor: Grower, recipient: Grower, clock: MovableClock) -> int:
    bargain, other = make_bargain(donor, recipient), make_grower("other")
    offer = make_offer(make_plant(other, site=make_site(other, **FRANCE)), countries=["DE"])
    pairing = make_pairing(offer, bargain.pairing.wanted_cross, not_later_than=date(2027, 8, 30))
    agreement = propose(pairing)
    clock.move(days=6)
    return agreement.pk


@scene("agreement_silence")
def _nothing_heard_on_the_posting_day(donor: Grower, recipient: Grower, clock: MovableClock) -> int:
    agreement = agree(make_bargain(donor, recipient).pairing)
    clock.move(days=1)
    return agreement.pk


@scene("offer_still_true", "asks")
def _an_offer_of_last_season(donor: Grower, recipient: Grower, clock: MovableClock) -> int:
    offer = make_bargain(donor, recipient).offer
    clock.move(days=SEASON.days + 1)
    return offer.pk


@scene("offer_still_true", "lets it rest")
def _an_offer_that_nobody_confirmed(donor: Grower, recipient: Grower, clock: MovableClock) -> int:
    offer = make_bargain(donor, recipient).offer
    clock.move(days=SEASON.days + 1)
    HANDLERS["offer_still_true"](offer.pk, project_clock.now())
    clock.move(days=15)
    return offer.pk


@scene("matching")
def _facts_that_no_run_has_taken_in(donor: Grower, recipient: Grower, clock: MovableClock) -> int:
    make_society(donor, recipient)
    return 1


@scene("matching_order")
def _a_run_that_a_coordinator_ordered(donor: Grower, recipient: Grower, clock: MovableClock) -> int:
    make_society(donor, recipient)
    coordinator = coordinator_grant(handle=make_grower("weir").handle)
    return matching_order(actor=coordinator, now=project_clock.now()).pk


@scene("quiet_ask")
def _pollen_that_nobody_offers(donor: Grower, recipient: Grower, clock: MovableClock) -> int:
    make_groups()
    make_unoffered(make_owner(donor))
    make_wish(recipient)
    rescore(now=project_clock.now())
    return SOCIETY


@scene("lot_outlook")
def _a_lot_that_was_not_reckoned(donor: Grower, recipient: Grower, clock: MovableClock) -> int:
    lot = lot_collect(actor=donor, plant=make_plant(donor), flowers_emptied=2)
    LotOutlook.objects.all().delete()
    outlooks_renew_later([lot], project_clock.now())
    return lot.pk


@scene("webhook_delivery")
def _an_event_that_was_never_accepted(donor: Grower, recipient: Grower, clock: MovableClock) -> int:
    webhook = make_webhook(donor)
    Webhook.objects.update(url="https://127.0.0.1/")
    attempt = {"at": NOON.isoformat(), "status": None, "error": "no_answer", "seconds": 0.1}
    attempts = [{**attempt, "number": number} for number in range(1, LAST)]
    made = WebhookDelivery.objects.create(webhook=webhook, notification=tell(donor), attempts=attempts)
    due_set(kind="webhook_delivery", subject_id=made.pk, due_at=project_clock.now())
    return made.pk


@scene("mail")
def _a_day_of_which_there_is_something_to_tell(donor: Grower, recipient: Grower, clock: MovableClock) -> int:
    agree(make_bargain(confirmed(donor), recipient).pairing)
    clock.move(hours=5)
    messages_make(project_clock.now())
    return MailMessage.objects.get(grower=donor).pk


@scene("detour_plan")
def _a_detour_of_yesterday(donor: Grower, recipient: Grower, clock: MovableClock) -> int:
    gathered = make_gathered(donor, recipient, make_grower("keeper"))
    ids_alike()  # its chances hang on the ids of both plants
    detour = gathered.agree()
    clock.move(days=1)
    return detour.pk


@scene("shipment_overdue")
def _a_parcel_of_which_nothing_was_heard(donor: Grower, recipient: Grower, clock: MovableClock) -> int:
    shipment = make_sending(donor, recipient).dispatch()
    clock.move(days=12)
    return shipment.pk


def made(scene: Scene, clock: MovableClock) -> int:
    """The scene as if for the first time."""
    clock.set(NOON)
    subject_id = scene(make_grower("donor"), make_grower("recipient"), clock)
    ids_alike()
    return subject_id


def once(scene: Scene, clock: MovableClock, deliver: Callable[[int], object]) -> Story:
    """What one delivery makes of a scene; never nothing."""
    with emptied():
        subject_id = made(scene, clock)
        before = story(rows())
        deliver(subject_id)
        assert unlike(story(rows()), before) != {}
        return story(rows())


def assert_twice_is_once(scene: Scene, clock: MovableClock, deliver: Callable[[int], object]) -> None:
    expected = once(scene, clock, deliver)
    subject_id = made(scene, clock)
    assert at_once(*[partial(deliver, subject_id)] * 2) == [None, None]
    assert unlike(story(rows()), expected) == {}
    deliver(subject_id)
    assert unlike(story(rows()), expected) == {}


@pytest.mark.parametrize(("kind", "what"), list(SCENES), ids=[" ".join(each).strip() for each in SCENES])
def test_what_is_due_may_be_done_twice(kind: str, what: str, clock: MovableClock) -> None:
    assert_twice_is_once(
        SCENES[kind, what], clock, lambda subject_id: HANDLERS[kind](subject_id, project_clock.now())
    )


@pytest.mark.parametrize("name", ["exchange.due.sweep", "exchange.matching"])
def test_a_task_may_be_delivered_twice(name: str, clock: MovableClock) -> None:
    def an_old_yes_and_new_facts(donor: Grower, recipient: Grower, clock: MovableClock) -> int:
        society = make_society(donor, recipient)
        propose(make_pairing(society.offer, society.wanted), doses=1)
        clock.move(days=11)
        return 0

    assert_twice_is_once(an_old_yes_and_new_facts, clock, lambda _: app.tasks[name]())


def test_every_kind_and_every_task_is_tried() -> None:
    """As a worker knows them, which loads no more than the tasks."""
    program = "import django; django.setup(); from exchange.services.due import HANDLERS; print(*HANDLERS)"
    command = [sys.executable, "-c", program]
    found = subprocess.run(
        command, cwd=settings.BASE_DIR, env=os.environ, check=True, capture_output=True, text=True
    )
    assert sorted(found.stdout.split()) == sorted({kind for kind, _ in SCENES})
    ours = {name for name, task in app.tasks.items() if type(task).__module__.startswith(PACKAGES)}
    assert ours == {"exchange.due.sweep", "exchange.matching"}
