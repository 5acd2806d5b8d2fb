"""Deals in any order, checked after each step against a model: doses, states, histories, refusals."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, ClassVar, TypeVar

import pytest
from django.db import transaction
from django.db.models import Sum
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from exchange.models import Agreement, Block, DueTask, Offer, Pairing, Reservation, Supply
from exchange.selectors.agreement import state_now
from exchange.services.agreement import agreement_accept, agreement_decline, agreement_propose
from exchange.services.agreement_change import (
    agreement_end,
    agreement_postpone,
    agreement_send,
    agreement_send_less,
    agreement_withdraw,
)
from exchange.services.block import block_create, block_remove
from exchange.services.collection import offer_collect
from exchange.services.deal import DUE_KINDS
from exchange.services.due import HANDLERS
from exchange.services.offer_change import offer_keep_back
from exchange.services.offer_part import Part
from exchange.services.papers_statement import StatementFields, statement_make
from exchange.services.shortfall import offer_came_up_short
from growers import clock as project_clock
from growers.errors import DomainError
from growers.models import Grower, Plant
from growers.services.site import SiteFields
from tests.clock import MovableClock
from tests.exchange.bargain import assert_sums_hold, usual_yes
from tests.exchange.deal_history import assert_history
from tests.exchange.deal_model import Deal, Model, Offered, Pair, Pile, Refusal
from tests.exchange.refusal import refused
from tests.exchange.society import FRANCE, GERMANY, NOON, TODAY, make_pairing
from tests.factories import (
    make_grower,
    make_offer,
    make_offer_in_hand,
    make_plant,
    make_site,
    make_taxon,
    make_wanted_cross,
)

pytestmark = pytest.mark.django_db

Result = TypeVar("Result")

START = NOON + timedelta(hours=1)
LAST_POSTING = (date(2027, 8, 30), date(2027, 7, 4), None)
HANDLES = ("ada", "ben", "cleo", "dot", "eve")
WANTED = ((0, "ben"), (0, "cleo"), (0, "dot"), (0, "eve"), (1, "ada"), (1, "cleo"), (1, "eve"))
"""Who wants which offer: the first is ada's, to be collected, the second ben's, in hand."""
STATEMENTS: dict[str, StatementFields] = {
    "donor": {
        "botanical_name": "Nymphaea hybrid",
        "origin": "cultivated",
        "free_of_soil_water_insects": True,
        "rights": "not_known",
    },
    "recipient": {"papers": "not_needed", "asked_whom": "the plant-health office", "asked_on": TODAY},
}


@dataclass
class World:
    """Rows that are there before the first step; each example begins with them."""

    clock: MovableClock
    growers: dict[str, Grower]
    offers: list[Offer]
    pairings: list[Pairing]


@pytest.fixture
def world(db: None, clock: MovableClock) -> World:
    """Five growers, two offers, seven pairings; eve lives in the donors' country."""
    clock.set(NOON)
    make_taxon(name="hardy", rank="group", group="hardy", diel="day")
    growers = {handle: make_grower(handle) for handle in HANDLES}
    ada, ben = (make_plant(growers[name], site=make_site(growers[name], **FRANCE)) for name in HANDLES[:2])
    terms = [{"code": "tell_result"}]
    offers = [
        make_offer(ada, doses=6, terms=terms),
        make_offer_in_hand(ben, date(2027, 6, 28), doses=5, terms=terms),
    ]
    seeds = {name: seed_of(growers[name], abroad=name != "eve") for name in HANDLES}
    pairings = [
        make_pairing(
            offers[number],
            make_wanted_cross(seeds[name], flowers=4),
            not_later_than=LAST_POSTING[index % len(LAST_POSTING)],
        )
        for index, (number, name) in enumerate(WANTED)
    ]
    return World(clock, growers, offers, pairings)


def seed_of(grower: Grower, *, abroad: bool) -> Plant:
    place = SiteFields(name="seeds")
    place.update(GERMANY if abroad else FRANCE)
    return make_plant(grower, site=make_site(grower, **place))


PICK = st.integers(0, 999)
WHO = st.sampled_from(("rightful", "rightful", "rightful", "rightful", "other", "dot"))
"""Mostly whoever may do it; the other of the two, or somebody who may have no part in it."""
DOSES = st.sampled_from((1, 1, 2, 2, 2, 3, 4, 5, 6, 0, -1))


class DealMachine(RuleBasedStateMachine):
    """One example: steps of growers and of time, in the database and in the model."""

    world: ClassVar[World]

    def __init__(self) -> None:
        super().__init__()
        self.atomic = transaction.atomic()
        self.atomic.__enter__()
        self.world.clock.set(START)
        to_collect, in_hand = (Supply.objects.order_by("pk")[number].pk for number in (0, 1))
        first = Offered("ada", [Pile(6, of_lot=False, key=to_collect)])
        second = Offered("ben", [Pile(5, of_lot=True, key=in_hand)])
        offers = [first, second]
        pairs = [
            Pair(number, offers[offer], name, abroad=name != "eve")
            for number, (offer, name) in enumerate(WANTED)
        ]
        self.model = Model(offers, pairs)
        self.rows: list[Agreement] = []

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.atomic.__exit__(None, None, None)

    # --- helpers ---

    def same(self, expected: Callable[[], object], call: Callable[[], Result]) -> Result | None:
        """Do in the database what the model does; refused by both, for the same reason, or by none."""
        self.model.run_out(project_clock.now())
        try:
            expected()
        except Refusal as refusal:
            reason = str(refusal)
        else:
            return call()
        assert type(refused(call, DomainError)).__name__ == reason
        return None

    def deal(self, pick: int) -> tuple[Deal, Agreement]:
        number = pick % len(self.rows)
        row = Agreement.objects.select_related("pairing__offer__plant", "donor", "recipient", "offer")
        return self.model.deals[number], row.get(pk=self.rows[number].pk)

    def person(self, who: str, rightful: str, other: str) -> tuple[str, Grower]:
        handle = {"rightful": rightful, "other": other}.get(who, who)
        return handle, self.world.growers[handle]

    def part(self, offered: Offered, pick: int) -> tuple[Pile | None, Part]:
        """One part of an offer, or none named."""
        pile = [None, *offered.piles][pick % (len(offered.piles) + 1)]
        if pile is None:
            return None, None
        return pile, Supply.objects.get(pk=pile.key).lot or "to_be_collected"

    def act(self, name: str, pick: int, who: str, *arguments: Any, rightful: str, **fields: Any) -> None:
        """An act of one of the two on an agreement: the same word in the model and in the services."""
        deal, row = self.deal(pick)
        donor, recipient = deal.pair.offered.donor, deal.pair.recipient
        second = recipient if deal.first == "donor" else donor
        first = donor if deal.first == "donor" else recipient
        usual = {"donor": donor, "first": first, "second": second}[rightful]
        handle, grower = self.person(who, usual, recipient if usual == donor else donor)
        service = ACTS[name]
        self.same(
            lambda: getattr(self.model, name)(handle, deal, *arguments),
            lambda: service(actor=grower, agreement=row, **fields),
        )

    # --- two yeses and a no ---

    @initialize(picks=st.lists(st.tuples(PICK, st.integers(1, 3)), min_size=2, max_size=4))
    def have_agreed(self, picks: list[tuple[int, int]]) -> None:
        """Nearly every example begins with some agreements; from nothing few get that far."""
        for pick, doses in picks:
            self.agree(pick, doses)

    @rule(pick=PICK, doses=DOSES)
    def agree(self, pick: int, doses: int) -> None:
        """Both yeses at once, if the first is possible."""
        before = len(self.rows)
        self.propose(pick, "rightful", doses)
        if len(self.rows) > before:
            self.accept(before, "rightful", None)

    @rule(pick=PICK, who=WHO, doses=DOSES)
    def propose(self, pick: int, who: str, doses: int) -> None:
        pair = self.model.pairs[pick % len(WANTED)]
        pairing = Pairing.objects.select_related("offer__plant", "wanted_cross__seed_parent").get(
            pk=self.world.pairings[pair.number].pk
        )
        handle, grower = self.person(who, pair.recipient, pair.offered.donor)
        yes = usual_yes(grower, pairing)
        row = self.same(
            lambda: self.model.propose(handle, pair, doses),
            lambda: agreement_propose(actor=grower, pairing=pairing, doses=doses, **yes),
        )
        if row is not None:
            first: Any = "donor" if handle == pair.offered.donor else "recipient"
            self.model.deals.append(Deal(pair, first, doses, row.lapses_at))
            self.rows.append(row)

    @precondition(lambda self: self.rows)
    @rule(pick=PICK, who=WHO, doses=st.one_of(st.none(), st.none(), DOSES))
    def accept(self, pick: int, who: str, doses: int | None) -> None:
        deal, row = self.deal(pick)
        donor, recipient = deal.pair.offered.donor, deal.pair.recipient
        second, first = (recipient, donor) if deal.first == "donor" else (donor, recipient)
        handle, grower = self.person(who, second, first)
        accepted = self.same(
            lambda: self.model.accept(handle, deal, doses),
            lambda: agreement_accept(
                actor=grower, agreement=row, doses=doses, **usual_yes(grower, row.pairing)
            ),
        )
        if accepted is not None:
            deal.until = Reservation.objects.get(agreement=row, state="active").reserved_until

    @precondition(lambda self: self.rows)
    @rule(pick=PICK, who=WHO)
    def decline(self, pick: int, who: str) -> None:
        self.act("decline", pick, who, rightful="second", reason="other")

    # --- what may change ---

    @precondition(lambda self: self.rows)
    @rule(pick=PICK, who=WHO)
    def withdraw(self, pick: int, who: str) -> None:
        self.act("withdraw", pick, who, rightful="first")

    @precondition(lambda self: self.rows)
    @rule(pick=PICK, who=WHO)
    def postpone(self, pick: int, who: str) -> None:
        self.act("postpone", pick, who, rightful="donor")

    @precondition(lambda self: self.rows)
    @rule(pick=PICK, who=WHO, doses=DOSES)
    def send_less(self, pick: int, who: str, doses: int) -> None:
        self.act("send_less", pick, who, doses, rightful="donor", doses=doses)

    @precondition(lambda self: self.rows)
    @rule(pick=PICK, who=WHO)
    def state_papers(self, pick: int, who: str) -> None:
        deal, row = self.deal(pick)
        donor, recipient = deal.pair.offered.donor, deal.pair.recipient
        handle, grower = self.person(who, donor, recipient)
        self.same(
            lambda: self.model.state_papers(handle, deal),
            lambda: statement_make(
                actor=grower, agreement=row, **STATEMENTS["donor" if handle == donor else "recipient"]
            ),
        )

    @precondition(lambda self: self.rows)
    @rule(pick=PICK, who=WHO, papers=st.booleans())
    def send(self, pick: int, who: str, papers: bool) -> None:
        if papers:
            self.state_papers(pick, "rightful")
            self.state_papers(pick, "other")
        self.act("send", pick, who, rightful="donor")

    @precondition(lambda self: self.rows)
    @rule(pick=PICK, who=WHO)
    def end(self, pick: int, who: str) -> None:
        self.act("end", pick, who, rightful="donor")

    # --- doses of an offer ---

    @rule(number=st.integers(0, 1), who=WHO, doses=DOSES, pick=PICK)
    def keep_back(self, number: int, who: str, doses: int, pick: int) -> None:
        self.of_offer("keep_back", offer_keep_back, number, who, doses, pick)

    @rule(number=st.integers(0, 1), who=WHO, doses=DOSES, pick=PICK)
    def come_up_short(self, number: int, who: str, doses: int, pick: int) -> None:
        self.of_offer("come_up_short", offer_came_up_short, number, who, doses, pick)

    def of_offer(
        self, name: str, service: Callable[..., Any], number: int, who: str, doses: int, pick: int
    ) -> None:
        offered = self.model.offers[number]
        pile, part = self.part(offered, pick)
        handle, grower = self.person(who, offered.donor, "eve")
        offer = Offer.objects.get(pk=self.world.offers[number].pk)
        self.same(
            lambda: getattr(self.model, name)(handle, offered, doses, pile),
            lambda: service(actor=grower, offer=offer, doses=doses, part=part),
        )

    @rule(number=st.sampled_from((0, 0, 0, 1)), who=WHO, doses=DOSES)
    def collect(self, number: int, who: str, doses: int) -> None:
        offered = self.model.offers[number]
        handle, grower = self.person(who, offered.donor, "eve")
        offer = Offer.objects.get(pk=self.world.offers[number].pk)
        lot = self.same(
            lambda: self.model.collect(handle, offered, doses),
            lambda: offer_collect(
                actor=grower, offer=offer, doses=doses, collected_on=TODAY, store="refrigerator"
            ),
        )
        if lot is not None:
            offered.piles[-1].key = Supply.objects.get(lot=lot).pk

    # --- growers who do not meet any more ---

    @precondition(lambda self: len(self.model.blocks) < 2)
    @rule(who=st.sampled_from(HANDLES[:3]), other=st.sampled_from(HANDLES))
    def block(self, who: str, other: str) -> None:
        if who != other:
            self.same(
                lambda: self.model.block(who, other),
                lambda: block_create(actor=self.world.growers[who], blocked=self.world.growers[other]),
            )

    @precondition(lambda self: self.model.blocks)
    @rule(pick=PICK)
    def unblock(self, pick: int) -> None:
        who, other = sorted(self.model.blocks)[pick % len(self.model.blocks)]
        block = Block.objects.get(grower__handle=who, blocked__handle=other)
        self.same(
            lambda: self.model.unblock(who, other),
            lambda: block_remove(actor=self.world.growers[who], block=block),
        )

    # --- time ---

    @rule(hours=st.sampled_from((1, 13, 24, 5 * 24, 11 * 24, 40 * 24, 140 * 24)))
    def wait(self, hours: int) -> None:
        self.world.clock.move(hours=hours)

    @rule()
    def sweep(self) -> None:
        """What is due is done; delivered twice is as good as once."""
        now = project_clock.now()
        for task in DueTask.objects.filter(kind__in=DUE_KINDS, due_at__lte=now).order_by("due_at", "pk"):
            for _ in range(2):
                HANDLERS[task.kind](task.subject_id, now)
            DueTask.objects.filter(pk=task.pk).delete()

    # --- after every step ---

    @invariant()
    def the_database_says_what_the_model_says(self) -> None:
        now = project_clock.now()
        self.model.run_out(now)
        assert_sums_hold()
        piles = {pile.key: pile for offered in self.model.offers for pile in offered.piles}
        assert {key: (pile.total, pile.kept, pile.reserved, pile.sent) for key, pile in piles.items()} == {
            supply.pk: (supply.total, supply.kept_back, reserved_now(supply, now), supply.sent)
            for supply in Supply.objects.all()
        }
        rows = Agreement.objects.prefetch_related("reservations").order_by("pk")
        assert [(deal.state, deal.doses) for deal in self.model.deals] == [
            (state_now(row, now), row.doses) for row in rows
        ]
        for row in rows:
            assert_history(row)


def reserved_now(supply: Supply, now: Any) -> int:
    """Doses reserved and not past their time, swept or not."""
    rows = supply.reservations.filter(state="active", reserved_until__gt=now)
    return int(rows.aggregate(sum=Sum("doses"))["sum"] or 0)


ACTS: dict[str, Callable[..., Any]] = {
    "decline": agreement_decline,
    "withdraw": agreement_withdraw,
    "postpone": agreement_postpone,
    "send_less": agreement_send_less,
    "send": agreement_send,
    "end": agreement_end,
}


def machine(world: World) -> type[DealMachine]:
    """The machine in a world."""
    return type("DealMachineInWorld", (DealMachine,), {"world": world})


usual = settings(
    deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck), print_blob=False
)


def test_deals_in_any_order_keep_every_promise(world: World) -> None:
    run_state_machine_as_test(
        machine(world), settings=settings(usual, max_examples=15, stateful_step_count=15)
    )


@pytest.mark.slow
def test_many_deals_in_any_order_keep_every_promise(world: World) -> None:
    run_state_machine_as_test(
        machine(world), settings=settings(usual, max_examples=300, stateful_step_count=40)
    )
