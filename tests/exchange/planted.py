"""Pairs of the demo, each planned by itself: two rows, and what selectors and matching make of them."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cached_property
from pathlib import Path

from django.db import transaction

from exchange.management.commands.demo import DEMO_DAY, FOLDER
from exchange.matching.eligibility import refusals
from exchange.matching.plan import PairPlan, plan_pair
from exchange.matching.posting import Course, RecipientFlowers, course, recipient_flowers
from exchange.matching.reason import Reason
from exchange.matching.side import CrossWanted, Lane, PollenOffer
from exchange.matching.smallest_change import Alternative, SmallestChange, needs_change, smallest_change
from exchange.models import Offer, Pairing, WantedCross
from exchange.selectors.caution import cautions, pedigree_entries
from exchange.selectors.lane import lane
from exchange.selectors.plan_record import plan_record
from exchange.selectors.side import Market, market
from exchange.selectors.smallest_change import alternatives
from exchange.services.demo import demo_load
from exchange.services.sharing import Planned
from exchange.wording.catalogue import sentence
from growers.services.reference import reference_load
from tests.clock import MovableClock

LOADED_AT = datetime(2026, 6, 20, 12, tzinfo=UTC)
NOT_THIS_CROSS = frozenset({"not_asked_for", "traits_missing"})


@contextmanager
def demo_society() -> Iterator[None]:
    """All tables of the demo in the database, to be undone."""
    clock = MovableClock(Path(os.environ["CLOCK_OFFSET_FILE"]))
    clock.set(LOADED_AT)
    try:
        with transaction.atomic():
            reference_load()
            assert demo_load(FOLDER)
            yield
            transaction.set_rollback(True)
    finally:
        clock.reset()


@dataclass(frozen=True)
class PlantedPair:
    """A wanted cross and an offer of the demo on a day; what is not needed is not reckoned."""

    open_now: Market
    offer_row: Offer
    offer: PollenOffer
    wanted_row: WantedCross
    wanted: CrossWanted

    @cached_property
    def way(self) -> Lane:
        """The way of the parcel."""
        ends = self.offer_row.plant.site, self.wanted_row.seed_parent.site
        return lane(self.offer_row, *ends, self.open_now.today)

    @cached_property
    def flowers(self) -> RecipientFlowers | None:
        """The recipient's flowers ahead."""
        bloom = self.wanted.bloom
        return recipient_flowers(bloom, self.open_now.today) if bloom else None

    @cached_property
    def course(self) -> Course:
        """The offer laid out towards the wanted cross, day by day."""
        assert self.flowers is not None
        return course(self.offer, self.wanted, self.way, self.open_now.today, self.flowers)

    def reasons(self) -> tuple[Reason, ...]:
        """Why it cannot be a pairing."""
        forbidden = self.open_now.notes.forbidding(self.offer, self.wanted)
        return refusals(self.offer, self.wanted) + ((forbidden,) if forbidden else ())

    def refused(self) -> list[str]:
        """The sentences of a refusal."""
        return _sentences(self.reasons())

    @cached_property
    def plan(self) -> PairPlan:
        """The plan of a pair that is a pairing."""
        assert self.reasons() == ()
        found = plan_pair(self.offer, self.wanted, self.way, self.open_now.today, self.flowers)
        assert isinstance(found, PairPlan)
        return found

    @cached_property
    def cautions(self) -> dict[str, str]:
        """Code and sentence of each caution; kinship by the pedigree of all plants that take part."""
        plants = {row.plant_id for row, _ in self.open_now.offers.values()}
        plants |= {row.seed_parent_id for row, _ in self.open_now.wanted.values()}
        found = cautions(self.offer, self.wanted, self.way, self.plan, pedigree_entries(plants))
        return {caution.code: _sentences([caution])[0] for caution in found}

    def papers(self) -> str:
        """The sentence on papers."""
        line = self.open_now.notes.papers(self.offer, self.wanted)
        assert line is not None
        return _sentences([line])[0]

    def chance(self) -> float:
        """Chance of each flower by the whole plan; 0 where it is no pairing."""
        if self.reasons():
            return 0.0
        found = plan_pair(self.offer, self.wanted, self.way, self.open_now.today, self.flowers)
        return found.each_flower.estimate if isinstance(found, PairPlan) else 0.0

    def choices(self) -> list[Alternative]:
        """The changes that are open to the offer."""
        sides = self.offer_row, self.offer, self.wanted_row, self.wanted
        return alternatives(*sides, self.open_now.today, self.flowers)

    @cached_property
    def change(self) -> SmallestChange | None:
        """The smallest change that helps, as a matching run looks for it."""
        plan, least = None if self.reasons() else self.plan, self.wanted.least_chance
        return smallest_change(plan, self.choices(), least) if needs_change(plan, least) else None


def _sentences(reasons: tuple[Reason, ...] | list[Reason]) -> list[str]:
    return [sentence(reason.code, reason.parameters) for reason in reasons]


def change_sentence(change: SmallestChange | None) -> str:
    """The sentence of a change that was found."""
    assert change is not None
    return _sentences([change.reason()])[0]


def pair(seed_parent: str, pollen_parent: str, today: date = DEMO_DAY) -> PlantedPair:
    """The pair of two plants by number; of several wanted crosses the one that asks for this pollen."""
    open_now = market(today)
    given = [each for each in open_now.offers.values() if each[0].plant.number == pollen_parent]
    asking = [each for each in open_now.wanted.values() if each[0].seed_parent.number == seed_parent]
    assert len(given) == 1
    found = [PlantedPair(open_now, *given[0], *each) for each in asking]
    fitting = [each for each in found if not {reason.code for reason in each.reasons()} & NOT_THIS_CROSS]
    assert len(fitting) == 1
    return fitting[0]


def as_pairing(plan: PairPlan) -> Pairing:
    """A plan as a row that sentences are made of."""
    return Pairing(plan=plan_record(plan))


def planned(found: PlantedPair) -> Planned:
    """A pair as the sharing out takes it."""
    return Planned(found.offer_row, found.wanted_row, found.plan.dose_chances)
