"""One pair of an offer and a wanted cross: the row of its pairing, or why it is none."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from exchange.matching.eligibility import refusals
from exchange.matching.plan import PairPlan, plan_pair
from exchange.matching.posting import RecipientFlowers, recipient_flowers
from exchange.matching.reason import Reason
from exchange.matching.side import Bloom
from exchange.matching.smallest_change import SmallestChange, needs_change, smallest_change
from exchange.matching.timeline import timeline
from exchange.models import Offer, Pairing, WantedCross
from exchange.science.kinship import PedigreeEntry
from exchange.selectors.caution import cautions
from exchange.selectors.lane import lane
from exchange.selectors.plan_record import plan_record, reason_records
from exchange.selectors.smallest_change import alternatives
from exchange.selectors.timeline_record import timeline_record
from exchange.services.pair_digest import Pair, pair_digest
from exchange.services.refusal_memory import RefusalMemory, RefusedBefore

MENDABLE = frozenset({"country_not_shipped_to"})


@dataclass(frozen=True)
class Refused:
    """A pair that is no pairing, and why; ``basis`` (donor, recipient) is what a change's figure rests on."""

    offer: Offer
    wanted_cross: WantedCross
    reasons: tuple[Reason, ...]
    change: SmallestChange | None = None
    basis: tuple[str, str] | None = None


class Flowers:
    """The recipient's flowers, reckoned once for each wanted cross and only if a pairing needs them."""

    def __init__(self, bloom: Bloom | None, today: date) -> None:
        self._bloom, self._today = bloom, today

    @cached_property
    def ahead(self) -> RecipientFlowers | None:
        """The flowers of the days ahead."""
        return recipient_flowers(self._bloom, self._today) if self._bloom else None

    def look(self) -> RecipientFlowers | None:
        """The same, for who may not need them."""
        return self.ahead


def pair_outcome(
    pair: Pair,
    today: date,
    entries: Sequence[PedigreeEntry],
    flowers: Flowers,
    known: Pairing | None,
    memory: RefusalMemory,
) -> Pairing | Refused:
    """Its pairing, or why it is none; what was reckoned from the same input before is taken as it stands."""
    reasons = refusals(pair.offer, pair.wanted) + ((pair.forbidden,) if pair.forbidden else ())
    if not {reason.code for reason in reasons} <= MENDABLE:
        return Refused(pair.offer_row, pair.wanted_row, reasons, None, _basis(pair))
    digest = pair_digest(pair, today, entries)
    if known is not None and known.input_digest == digest:
        return known
    before = memory.find(digest)
    if before is None:
        outcome = (
            RefusedBefore(reasons, _change(pair, None, today, flowers))
            if reasons
            else _planned(pair, digest, today, entries, flowers)
        )
        if isinstance(outcome, Pairing):
            return outcome
        memory.keep(digest, outcome)
        before = outcome
    return Refused(pair.offer_row, pair.wanted_row, before.reasons, before.change, _basis(pair))


def _planned(
    pair: Pair, digest: str, today: date, entries: Sequence[PedigreeEntry], flowers: Flowers
) -> Pairing | RefusedBefore:
    """The pairing of an eligible pair, or why no day ahead can work."""
    ends = pair.offer_row.plant.site, pair.wanted_row.seed_parent.site
    way = lane(pair.offer_row, *ends, today, pair.seen)
    plan = plan_pair(pair.offer, pair.wanted, way, today, flowers.ahead)
    if isinstance(plan, Reason):
        return RefusedBefore((plan,), _change(pair, None, today, flowers))
    row = _row(pair, plan, digest)
    if flowers.ahead is not None:
        picture = timeline(pair.offer, pair.wanted, way, today, flowers.ahead, plan)
        row.timeline = timeline_record(picture)
    row.cautions = reason_records(cautions(pair.offer, pair.wanted, way, plan, entries))
    found = _change(pair, plan, today, flowers)
    row.smallest_change = reason_records([found.reason()])[0] if found else None
    return row


def _basis(pair: Pair) -> tuple[str, str] | None:
    if pair.wanted.bloom is None:
        return None
    return pair.offer.bloom.basis if pair.offer.bloom else "lot in hand", pair.wanted.bloom.basis


def _change(pair: Pair, plan: PairPlan | None, today: date, flowers: Flowers) -> SmallestChange | None:
    if not needs_change(plan, pair.wanted.least_chance) or flowers.ahead is None:
        return None
    choices = alternatives(
        pair.offer_row, pair.offer, pair.wanted_row, pair.wanted, today, flowers.ahead, pair.seen
    )
    return smallest_change(plan, choices, pair.wanted.least_chance)


def _row(pair: Pair, plan: PairPlan, digest: str) -> Pairing:
    dates, line = plan.dates, pair.papers
    return Pairing(
        offer=pair.offer_row,
        wanted_cross=pair.wanted_row,
        input_digest=digest,
        chance=round(plan.each_flower.estimate, 9),
        post_on=dates.post_on if dates else None,
        not_later_than=dates.not_later_than if dates else None,
        plan=plan_record(plan),
        reasons=reason_records(plan.reasons),
        papers=reason_records([line])[0] if line else None,
    )
