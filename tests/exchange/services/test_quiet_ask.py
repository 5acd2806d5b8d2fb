"""Quiet asks: whom the engine asks, how often, and what becomes of an answer."""

from collections.abc import Callable
from dataclasses import asdict
from datetime import timedelta
from typing import Any

import pytest

from exchange.models import DueTask, Offer, Pairing, QuietAsk, WantedCross
from exchange.selectors.quiet_ask import quiet_asks_for, quiet_asks_of
from exchange.services import quiet_ask
from exchange.services.block import block_create, block_remove
from exchange.services.due import run_due
from exchange.services.offer import offer_close, offer_pause
from exchange.services.quiet_ask import quiet_ask_answer, quiet_ask_due, quiet_ask_look, quiet_asks_make
from exchange.services.wanted_cross import wanted_cross_pause, wanted_cross_reopen
from growers.errors import Conflict, NotFound
from growers.models import BloomSaid, Change, Grower, Plant
from growers.services.grower import grower_close, grower_update
from growers.services.plant import plant_update
from growers.services.site import site_update
from tests.clock import MovableClock
from tests.exchange.quiet import look, make_owner, make_unoffered, make_wish
from tests.exchange.refusal import problems, refused
from tests.exchange.society import NOON, make_groups, make_pairing
from tests.factories import make_grower, make_offer

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)
SECOND = timedelta(seconds=1)
YES: dict[str, Any] = {"answer": "yes", "treatment": "dried", "doses": 3}


@pytest.fixture
def owner(donor: Grower, clock: MovableClock) -> Grower:
    clock.set(NOON)
    make_groups()
    return make_owner(donor)


@pytest.fixture
def plant(owner: Grower) -> Plant:
    return make_unoffered(owner, name_as_grown="'Ferry'")


@pytest.fixture
def wish(recipient: Grower) -> WantedCross:
    return make_wish(recipient)


def asked() -> list[tuple[Plant, WantedCross]]:
    """Plants and wanted crosses of all questions in the order in which they were asked."""
    return [(ask.plant, ask.wanted_cross) for ask in QuietAsk.objects.order_by("pk")]


def waiting(owner: Grower) -> list[Plant]:
    """Of which plants an owner reads an open question."""
    return [ask.plant for ask in quiet_asks_of(owner).filter(answer="").order_by("pk")]


# --- whom it asks ---


def test_the_owner_reads_a_region_and_nothing_of_who_asks(
    owner: Grower, plant: Plant, wish: WantedCross
) -> None:
    look(NOON)
    assert asked() == [(plant, wish)]
    (told,) = quiet_asks_for(owner, quiet_asks_of(owner))
    assert told.detail == (
        "Someone in this region: Europe, northern temperate, would like pollen of your 'Ferry'. They do not"
        " know of it unless you say yes."
    )
    assert (str(told.asked_on), str(told.answer_by), told.answer) == ("2027-07-01", "2027-07-31", None)
    for secret in ("recipient", "Secret seed", str(wish.public_id), str(wish.seed_parent.public_id)):
        assert secret not in str(asdict(told))
    look(NOON)
    assert asked() == [(plant, wish)]


def test_others_read_nothing_of_it(
    owner: Grower, recipient: Grower, outsider: Grower, plant: Plant, wish: WantedCross
) -> None:
    look(NOON)
    for other in (recipient, outsider):
        assert not quiet_asks_of(other).exists()


HINDRANCES: dict[str, Callable[[Grower, Plant, WantedCross], object]] = {
    "the owner may not be asked": lambda o, p, w: grower_update(actor=o, may_be_asked=False),
    "the owner does not post there": lambda o, p, w: grower_update(actor=o, countries_shipped_to=["AT"]),
    "the account is closed": lambda o, p, w: grower_close(actor=o),
    "the owner blocked the asker": lambda o, p, w: block_create(actor=o, blocked=w.seed_parent.grower),
    "the asker blocked the owner": lambda o, p, w: block_create(actor=w.seed_parent.grower, blocked=o),
    "it is on offer": lambda o, p, w: make_offer(p),
    "its offer is paused": lambda o, p, w: offer_pause(actor=o, offer=make_offer(p)),
    "it has no working pollen": lambda o, p, w: plant_update(actor=o, plant=p, pollen_fertility="no"),
    "nobody knows when it flowers": lambda o, p, w: _never_seen_under_glass(p),
    "the wanted cross is paused": lambda o, p, w: wanted_cross_pause(
        actor=w.seed_parent.grower, wanted_cross=w
    ),
    "another group is wanted": lambda o, p, w: WantedCross.objects.update(pollen_groups=["lotos"]),
    "the chance is too small": lambda o, p, w: WantedCross.objects.update(least_chance=0.9),
    "a pairing serves it": lambda o, p, w: make_pairing(
        make_offer(make_unoffered(make_grower("another"))), w, chance=w.least_chance
    ),
}


def _never_seen_under_glass(plant: Plant) -> None:
    BloomSaid.objects.filter(plant=plant).delete()
    site_update(actor=plant.grower, site=plant.site, water="glass")


@pytest.mark.parametrize("hindrance", HINDRANCES)
def test_who_is_not_asked(hindrance: str, owner: Grower, plant: Plant, wish: WantedCross) -> None:
    HINDRANCES[hindrance](owner, plant, wish)
    quiet_asks_make(now=NOON)
    assert asked() == []


def test_a_pairing_that_falls_short_serves_nobody(owner: Grower, plant: Plant, wish: WantedCross) -> None:
    other = make_offer(make_unoffered(make_grower("another")))
    make_pairing(other, wish, chance=wish.least_chance - 1e-9)
    quiet_asks_make(now=NOON)
    assert asked() == [(plant, wish)]


def test_nobody_is_asked_of_their_own_plant(owner: Grower, plant: Plant) -> None:
    grower_update(actor=owner, may_be_asked=True)
    make_wish(owner)
    quiet_asks_make(now=NOON)
    assert asked() == []


# --- how often ---


def test_three_a_week_and_the_oldest_wish_first(
    owner: Grower, recipient: Grower, clock: MovableClock
) -> None:
    plants = [make_unoffered(owner) for _ in range(5)]
    wishes = [make_wish(recipient) for _ in range(5)]
    look(NOON)
    assert asked() == list(zip(plants[:3], wishes[:3], strict=True))
    quiet_asks_make(now=NOON + 7 * DAY - SECOND)
    assert len(asked()) == 3
    look(NOON + 7 * DAY)
    assert asked()[3:] == list(zip(plants[3:], wishes[3:], strict=True))


def test_one_wish_asks_an_owner_once_and_three_owners(owner: Grower, wish: WantedCross) -> None:
    first = [make_unoffered(owner), make_unoffered(owner)][0]
    others = [make_unoffered(make_owner(make_grower(f"owner-{n}"))) for n in range(3)]
    look(NOON)
    assert asked() == [(each, wish) for each in (first, *others[:2])]


def test_an_owner_with_three_questions_is_asked_no_more_by_another_worker(
    owner: Grower, recipient: Grower, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The other counted before the first had written: what holds is counted anew under the lock."""
    plants = [make_unoffered(owner) for _ in range(4)]
    for _ in range(4):
        make_wish(recipient)
    quiet_asks_make(now=NOON)
    assert [plant for plant, _ in asked()] == plants[:3]
    monkeypatch.setattr(quiet_ask._Week, "allows", lambda *_: True)
    monkeypatch.setattr(quiet_ask._Week, "has_room", lambda *_: True)
    quiet_asks_make(now=NOON)
    assert [plant for plant, _ in asked()] == plants[:3]


def test_unanswered_it_goes_away_and_counts_as_not_asked(
    owner: Grower, plant: Plant, wish: WantedCross, clock: MovableClock
) -> None:
    look(NOON)
    (old,) = QuietAsk.objects.all()
    clock.set(NOON + 30 * DAY - timedelta(minutes=5))
    assert waiting(owner) == [plant]
    clock.set(NOON + 30 * DAY)
    assert waiting(owner) == []
    refused(lambda: quiet_ask_answer(actor=owner, ask=old, answer="never"), NotFound)
    look(NOON + 30 * DAY)
    assert asked() == [(plant, wish)]
    assert QuietAsk.objects.get().pk != old.pk


def test_a_question_whose_ground_has_gone_counts_for_its_week_and_frees_the_plant(
    owner: Grower, recipient: Grower, plant: Plant, wish: WantedCross
) -> None:
    quiet_asks_make(now=NOON)
    wanted_cross_pause(actor=recipient, wanted_cross=wish)
    assert waiting(owner) == []
    later = make_wish(recipient)
    quiet_asks_make(now=NOON + 7 * DAY - SECOND)
    assert asked() == [(plant, wish)]
    quiet_asks_make(now=NOON + 7 * DAY)
    assert asked() == [(plant, later)]


def test_who_may_no_longer_be_asked_reads_nothing(owner: Grower, plant: Plant, wish: WantedCross) -> None:
    look(NOON)
    grower_update(actor=owner, may_be_asked=False)
    assert waiting(owner) == []
    refused(lambda: quiet_ask_answer(actor=owner, ask=QuietAsk.objects.get(), **YES), NotFound)
    grower_update(actor=owner, may_be_asked=True)
    assert waiting(owner) == [plant]


def test_a_block_hides_it_and_a_wish_that_rests_too(
    owner: Grower, recipient: Grower, plant: Plant, wish: WantedCross
) -> None:
    look(NOON)
    block = block_create(actor=recipient, blocked=owner)
    assert waiting(owner) == []
    block_remove(actor=recipient, block=block)
    wanted_cross_pause(actor=recipient, wanted_cross=wish)
    assert waiting(owner) == []
    wanted_cross_reopen(actor=recipient, wanted_cross=wish)
    assert waiting(owner) == [plant]


# --- when ---


def test_it_waits_for_what_changed_to_be_taken_in(owner: Grower, plant: Plant, wish: WantedCross) -> None:
    assert quiet_ask_due(quiet_ask.SOCIETY, NOON) == NOON + quiet_ask.AFTER_THE_RUN
    assert asked() == []
    Change.objects.all().delete()
    assert quiet_ask_due(quiet_ask.SOCIETY, NOON) == NOON + quiet_ask.EVERY
    assert asked() == [(plant, wish)]


def test_the_sweep_asks_after_the_matching_and_again_each_few_hours(
    owner: Grower, recipient: Grower, plant: Plant, wish: WantedCross
) -> None:
    quiet_ask_look(NOON - timedelta(seconds=1))  # the longest overdue is first: before the matching
    run_due(NOON, 10)
    assert asked() == []
    run_due(NOON + quiet_ask.AFTER_THE_RUN, 10)
    assert asked() == [(plant, wish)]
    task = DueTask.objects.get(kind=quiet_ask.KIND)
    assert task.due_at == NOON + quiet_ask.AFTER_THE_RUN + quiet_ask.EVERY


def test_where_nobody_may_be_asked_nothing_is_looked_for(owner: Grower, plant: Plant) -> None:
    grower_update(actor=owner, may_be_asked=False)
    run_due(NOON, 10)
    assert not DueTask.objects.filter(kind=quiet_ask.KIND).exists()
    assert quiet_ask_due(quiet_ask.SOCIETY, NOON) is None


# --- what becomes of an answer ---


def test_a_yes_makes_an_ordinary_offer_and_a_pairing(owner: Grower, plant: Plant, wish: WantedCross) -> None:
    look(NOON)
    ask = quiet_ask_answer(actor=owner, ask=QuietAsk.objects.get(), **YES, packing="envelope")
    offer = Offer.objects.get()
    assert (offer.plant, offer.kind, offer.treatment, offer.doses) == (plant, "on_request", "dried", 3)
    assert (offer.packing, offer.countries, offer.supply.left) == ("envelope", ["DE"], 3)
    assert (ask.answer, ask.answered_at is None) == ("yes", False)
    look(NOON + SECOND)
    assert Pairing.objects.get().wanted_cross == wish
    assert waiting(owner) == []


@pytest.mark.parametrize(("answer", "days"), [("not_this_year", 300), ("never", None)])
def test_a_no_is_remembered_and_nothing_is_written_besides(
    answer: str, days: int | None, owner: Grower, plant: Plant, wish: WantedCross
) -> None:
    look(NOON)
    quiet_ask_answer(actor=owner, ask=QuietAsk.objects.get(), answer=answer)
    assert not Change.objects.exists()
    assert not Offer.objects.exists()
    soon = NOON + timedelta(days=days or 2000) - SECOND
    quiet_asks_make(now=soon)
    assert len(asked()) == 1
    # A year on the wish stands as it did; a plant that is asked of again is asked of once more.
    quiet_asks_make(now=NOON + timedelta(days=days or 2000, hours=1))
    assert len(asked()) == (2 if days else 1)


def test_a_plant_taken_back_after_a_yes_is_left_alone(owner: Grower, plant: Plant, wish: WantedCross) -> None:
    look(NOON)
    quiet_ask_answer(actor=owner, ask=QuietAsk.objects.get(), **YES)
    offer_close(actor=owner, offer=Offer.objects.get())
    quiet_asks_make(now=NOON + 60 * DAY)
    assert len(asked()) == 1


def test_what_is_refused_changes_nothing(
    owner: Grower, recipient: Grower, outsider: Grower, plant: Plant, wish: WantedCross
) -> None:
    look(NOON)
    ask = QuietAsk.objects.get()

    def answers(**said: Any) -> Callable[[], object]:
        return lambda: quiet_ask_answer(**{"actor": owner, "ask": ask, **said})

    for other in (recipient, outsider):
        refused(answers(**YES, actor=other), NotFound)
    assert problems(answers(answer="yes")) == {
        "/treatment": "treatment is missing; a yes needs it.",
        "/doses": "doses is missing; a yes needs it.",
    }
    assert problems(answers(answer="never", doses=2)) == {"/doses": "doses has no place with never."}
    assert problems(answers(answer="perhaps")) == {
        "/answer": "answer is 'perhaps'; allowed: yes, not_this_year, never."
    }
    assert set(problems(answers(**YES | {"doses": 1000}))) == {"/doses"}
    answers(answer="never")()
    refused(answers(**YES), Conflict)
