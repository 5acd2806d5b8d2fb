"""Matching as a service: what changed is taken in once, by one worker, whoever dies on the way."""

import os
import subprocess
import sys
import threading
from datetime import date, time, timedelta
from typing import Any

import pytest
from django.conf import settings
from django.db import connection, connections

from exchange.models import DueTask, Lease, MatchingRun, Notification, Pairing
from exchange.services import rescoring
from exchange.services.carrier_service import carrier_service_create, carrier_service_update
from exchange.services.coordinator import coordinator_grant
from exchange.services.due import run_due
from exchange.services.lease import LEASE_LASTS, LeaseLost, leased
from exchange.services.matching import matching_reckon, matching_store
from exchange.services.offer import offer_pause
from exchange.services.offer_change import offer_update
from exchange.services.pairing import pairing_dismiss
from exchange.services.rescoring import CLAIM_LASTS, matching_preview, rescore
from exchange.tasks.matching import matching
from growers.errors import Conflict, NotFound
from growers.models import Change, Grower
from growers.services.bloom import bloom_said_set
from tests.clock import MovableClock
from tests.exchange.refusal import refused, rows
from tests.exchange.society import GERMANY, NOON, SUMMER, TODAY, Society, make_society
from tests.factories import make_grower, make_offer_in_hand, make_plant, make_site, make_wanted_cross

pytestmark = pytest.mark.django_db
SECOND = timedelta(seconds=1)


@pytest.fixture
def society(donor: Grower, recipient: Grower, clock: MovableClock) -> Society:
    clock.set(NOON)
    return make_society(donor, recipient)


def told() -> list[tuple[str, str]]:
    return sorted(Notification.objects.values_list("grower__handle", "kind"))


PROPOSED = [("donor", "pairing_proposed"), ("recipient", "pairing_proposed")]


# --- what is done ---


def test_changes_become_pairings_and_news_through_the_sweep(society: Society, outsider: Grower) -> None:
    assert Change.objects.exists()
    report = run_due(NOON, 10)
    assert (report.done, report.failed) == (1, 0)
    assert not Change.objects.exists()
    assert not DueTask.objects.filter(kind="matching").exists()
    pairing = Pairing.objects.get()
    assert (pairing.state, pairing.run.today) == ("suggested", TODAY)
    assert told() == PROPOSED
    before = rows()
    assert run_due(NOON + timedelta(minutes=1), 10).done == 0
    assert rows() == before


def test_what_a_change_does_not_touch_is_not_told_again(society: Society, outsider: Grower) -> None:
    rescore(now=NOON)
    before = list(Pairing.objects.values())
    make_plant(outsider)
    assert rescore(now=NOON + SECOND) == MatchingRun.objects.get()
    assert not Change.objects.exists()
    assert list(Pairing.objects.values()) == before
    assert told() == PROPOSED


def test_an_edit_reckons_only_what_it_touches(
    society: Society, outsider: Grower, monkeypatch: pytest.MonkeyPatch
) -> None:
    seed = make_plant(outsider, site=make_site(outsider, **GERMANY))
    bloom_said_set(actor=outsider, plant=seed, **SUMMER)
    make_wanted_cross(seed)
    rescore(now=NOON)
    reckoned: list[str] = []
    plan_pair = sys.modules["exchange.services.pair_outcome"].plan_pair

    def noted(offer: Any, wanted: Any, *rest: Any) -> Any:
        reckoned.append(wanted.key)
        return plan_pair(offer, wanted, *rest)

    monkeypatch.setattr("exchange.services.pair_outcome.plan_pair", noted)
    bloom_said_set(actor=outsider, plant=seed, **SUMMER | {"first_month": 7})
    rescore(now=NOON + SECOND)
    assert reckoned == [str(seed.wanted_crosses.get().public_id)]


@pytest.mark.parametrize(
    ("said", "follows"),
    [
        ({"closed_days": [date(2027, 7, 1), date(2027, 7, 2)]}, True),
        ({"promised_days_abroad": 15}, True),
        ({"delivers_on_saturday": True}, True),
        ({"cut_off": time(16)}, False),
    ],
)
def test_what_a_carrier_service_does_reaches_the_pairings(
    society: Society, said: dict[str, Any], follows: bool
) -> None:
    donor = society.offer.plant.grower
    service = carrier_service_create(actor=donor, name="counter", country="FR")
    offer_update(actor=donor, offer=society.offer, carrier_service=service)
    rescore(now=NOON)
    before = Pairing.objects.get().input_digest
    carrier_service_update(actor=donor, service=service, **said)
    rescore(now=NOON + SECOND)
    assert (Pairing.objects.latest("pk").input_digest != before) is follows


def test_the_task_follows_the_clock(society: Society) -> None:
    matching()
    assert MatchingRun.objects.get().today == TODAY
    assert "exchange.matching" in sys.modules["exchange.project.celery"].app.tasks


def test_a_new_day_is_a_reason_to_reckon_and_no_news(society: Society) -> None:
    rescore(now=NOON)
    assert run_due(NOON + timedelta(hours=11), 10).done == 0
    assert run_due(NOON + timedelta(hours=12), 10).done == 1
    assert MatchingRun.objects.latest("pk").today == TODAY + timedelta(days=1)
    assert run_due(NOON + timedelta(hours=13), 10).done == 0
    assert told() == PROPOSED


def test_without_changes_and_runs_there_is_nothing_to_do(db: None) -> None:
    assert rescore(now=NOON) is None
    assert run_due(NOON, 10).done == 0
    assert not MatchingRun.objects.exists()


def test_what_is_withdrawn_is_told_to_the_other(society: Society) -> None:
    rescore(now=NOON)
    offer_pause(actor=society.given.grower, offer=society.offer)
    rescore(now=NOON + SECOND)
    assert told() == [*PROPOSED, ("recipient", "pairing_withdrawn")]


def test_what_was_dismissed_is_not_proposed_again_and_its_doses_are_free(
    society: Society, outsider: Grower
) -> None:
    rescore(now=NOON)
    pairing_dismiss(actor=society.seed.grower, pairing=Pairing.objects.get())
    assert Change.objects.get().kind == "offer"
    make_offer_in_hand(society.given, date(2027, 6, 29), countries=["DE"])
    rescore(now=NOON + SECOND)
    run_due(NOON + timedelta(days=1), 10)
    states = Pairing.objects.order_by("pk").values_list("offer_id", "state")
    assert [state for offer, state in states if offer == society.offer.pk] == ["dismissed"]
    assert Pairing.objects.filter(state="suggested").count() == 1


def test_what_is_dismissed_while_a_run_reckons_is_left_out(society: Society) -> None:
    rescore(now=NOON)
    bloom_said_set(actor=society.seed.grower, plant=society.seed, **SUMMER | {"first_month": 7})
    reckoned = matching_reckon(today=TODAY, rule=MatchingRun.Rule.EACH_GROWER_FIRST)
    pairing_dismiss(actor=society.given.grower, pairing=Pairing.objects.get())
    matching_store(reckoned)
    assert list(Pairing.objects.values_list("state", flat=True)) == ["dismissed"]


# --- one at a time ---


def test_a_second_worker_leaves_at_once(society: Society) -> None:
    before = rows()
    with leased("matching", NOON):
        held = rows()
        assert rescore(now=NOON) is None
        assert rows() == held
    assert rows()["growers_change"] == before["growers_change"]


def test_a_worker_that_was_overtaken_stores_nothing(
    society: Society, monkeypatch: pytest.MonkeyPatch
) -> None:
    def slow(**asked: Any) -> Any:
        result = matching_reckon(**asked)
        Lease.objects.update(holder="0b1e6a2f-7c5d-4e0f-9a8b-7c6d5e4f3a2b")
        return result

    monkeypatch.setattr(rescoring, "matching_reckon", slow)
    changes = Change.objects.count()
    with pytest.raises(LeaseLost):
        rescore(now=NOON)
    assert not MatchingRun.objects.exists()
    assert not Pairing.objects.exists()
    assert Change.objects.filter(claimed_until=None).count() == changes


def test_a_failed_run_loses_nothing_and_is_tried_later_each_time(
    society: Society, monkeypatch: pytest.MonkeyPatch
) -> None:
    changes = Change.objects.count()

    def broken(**_: Any) -> Any:
        raise LookupError("no climate")

    with monkeypatch.context() as patched:
        patched.setattr(rescoring, "matching_reckon", broken)
        assert run_due(NOON, 10).failed == 1
        assert run_due(NOON + timedelta(seconds=59), 10).failed == 0
        assert run_due(NOON + timedelta(minutes=1), 10).failed == 1
    task = DueTask.objects.get(kind="matching")
    assert (task.attempts, task.last_error) == (2, "LookupError: no climate")
    assert Change.objects.filter(claimed_until=None).count() == changes
    assert run_due(NOON + timedelta(minutes=3), 10).done == 1
    assert told() == PROPOSED


@pytest.mark.django_db(transaction=True)
def test_workers_at_the_same_time_make_one_run(society: Society) -> None:
    gate = threading.Barrier(3)
    ended: list[MatchingRun | None] = []

    def work() -> None:
        gate.wait(30)
        try:
            ended.append(rescore(now=NOON))
        finally:
            connections.close_all()

    workers = [threading.Thread(target=work) for _ in range(3)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(120)
    assert len(ended) == 3
    assert {run for run in ended if run is not None} == {MatchingRun.objects.get()}
    assert Pairing.objects.count() == 1
    assert told() == PROPOSED
    assert not Change.objects.exists()


# --- a worker that is killed ---

KILLED_WORKER = """
import os, signal, sys
from datetime import datetime
from django.conf import settings
settings.DATABASES["default"]["NAME"] = sys.argv[1]
import django
django.setup()
from exchange.services import due, matching, rescoring

def killed(*args, **kwargs):
    os.kill(os.getpid(), signal.SIGKILL)

def killed_after(reckoned, *, guard):
    matching.matching_store(reckoned, guard=guard)
    killed()

if sys.argv[3] == "while it stores":
    matching.pairings_tell = killed
else:
    rescoring.matching_store = killed_after
due.run_due(datetime.fromisoformat(sys.argv[2]), 10)
"""


HELD = NOON + timedelta(minutes=14)
OVER = NOON + max(CLAIM_LASTS, LEASE_LASTS) + timedelta(minutes=2)
"""When the claims of a worker that began at noon still hold, and when they have run out."""


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("when", ["while it stores", "after it stored"])
def test_what_a_killed_worker_left_is_done_once_its_claims_run_out(society: Society, when: str) -> None:
    changes = Change.objects.count()
    database = str(connection.settings_dict["NAME"])
    command = [sys.executable, "-c", KILLED_WORKER, database, NOON.isoformat(), when]
    ended = subprocess.run(command, cwd=settings.BASE_DIR, env=os.environ, check=False, capture_output=True)
    assert ended.returncode == -9, ended.stderr.decode()
    stored = when == "after it stored"
    assert Pairing.objects.count() == stored
    assert told() == (PROPOSED if stored else [])
    assert run_due(HELD, 10).done == 0
    assert rescore(now=HELD) is None
    assert Change.objects.filter(claimed_until__gt=HELD).count() == changes
    assert run_due(OVER, 10).done == 1
    assert not Change.objects.exists()
    assert Pairing.objects.filter(state="suggested").count() == 1
    assert told() == PROPOSED


# --- tried by a coordinator ---


@pytest.fixture
def coordinator(db: None) -> Grower:
    make_grower("weir")
    return coordinator_grant(handle="weir")


def test_others_cannot_try_it(society: Society) -> None:
    for grower in (society.given.grower, society.seed.grower):
        refused(lambda actor=grower: matching_preview(actor=actor, now=NOON), NotFound)  # type: ignore[misc]


def test_a_dry_run_says_what_a_run_then_does_and_stores_nothing(
    society: Society, coordinator: Grower
) -> None:
    before = rows()
    tried = matching_preview(actor=coordinator, now=NOON)
    assert rows() == before
    assert (len(tried.changes.fresh), len(tried.changes.gone)) == (1, 0)
    run = rescore(now=NOON)
    assert run is not None
    stored = Pairing.objects.get()
    assert (stored.chance, stored.plan) == (tried.changes.fresh[0].chance, tried.changes.fresh[0].plan)
    assert run.report == tried.reckoned.shared.report
    offer_pause(actor=society.given.grower, offer=society.offer)
    tried = matching_preview(actor=coordinator, now=NOON)
    assert (tried.changes.fresh, tried.changes.gone) == ((), (stored,))
    stored.refresh_from_db()
    assert stored.state == "suggested"


def test_a_dry_run_that_takes_too_long_is_given_up(
    society: Society, coordinator: Grower, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rescoring, "PREVIEW_LASTS_SECONDS", -1)
    error = refused(lambda: matching_preview(actor=coordinator, now=NOON), Conflict)
    assert error.detail == (
        "There is too much for a dry run: it takes longer than -1 seconds. Order a run instead."
    )
