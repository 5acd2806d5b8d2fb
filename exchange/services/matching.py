"""The matching run: read everything open, reckon every pairing, store what changed."""

import copy
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from django.db import transaction
from django.db.models import QuerySet

from exchange.matching.allocation import Rule
from exchange.matching.eligibility import refusals
from exchange.matching.plan import PairPlan, plan_pair
from exchange.matching.posting import RecipientFlowers, recipient_flowers
from exchange.matching.reason import Reason
from exchange.matching.side import Bloom
from exchange.matching.smallest_change import SmallestChange, needs_change, smallest_change
from exchange.models import MatchingRun, Offer, Pairing, WantedCross
from exchange.science.kinship import PedigreeEntry
from exchange.science.version import model_version
from exchange.selectors.caution import cautions, papers, pedigree_entries
from exchange.selectors.lane import lane
from exchange.selectors.plan_record import plan_record, reason_records
from exchange.selectors.side import Market, market
from exchange.selectors.smallest_change import alternatives
from exchange.services.pair_digest import Pair, pair_digest
from exchange.services.sharing import Planned, Shared, share_out
from growers import clock

_RULES: dict[MatchingRun.Rule, Rule] = {
    MatchingRun.Rule.EACH_GROWER_FIRST: "one for each grower first",
    MatchingRun.Rule.MOST_CAPSULES: "most capsules",
}
TOLD = (
    "input_digest",
    "chance",
    "post_on",
    "not_later_than",
    "plan",
    "reasons",
    "cautions",
    "papers",
    "smallest_change",
    "allocated_doses",
    "allocation",
)
MENDABLE = frozenset({"country_not_shipped_to"})
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Refused:
    """A pair that is no pairing, and why."""

    offer: Offer
    wanted_cross: WantedCross
    reasons: tuple[Reason, ...]
    change: SmallestChange | None = None


@dataclass(frozen=True)
class RunResult:
    """A run, the pairings that stand after it (best first for each wanted cross), and what was refused."""

    run: MatchingRun
    pairings: tuple[Pairing, ...]
    refused: tuple[Refused, ...]


def matching_run(
    *,
    today: date,
    rule: MatchingRun.Rule = MatchingRun.Rule.EACH_GROWER_FIRST,
    progress: Progress | None = None,
) -> RunResult:
    """Reckon all pairings of what is open and store them; unchanged pairings are left as they are.

    Pairings that no longer hold are superseded, never deleted. Nothing slow happens inside the
    transaction that stores.
    """
    open_now = market(today)
    standing = {(row.offer_id, row.wanted_cross_id): row for row in standing_pairings()}
    found, refused = _reckon(open_now, standing, progress)
    planned = [Planned(pair.row.offer, pair.row.wanted_cross, pair.dose_chances) for pair in found]
    shared = share_out(planned, _RULES[rule])
    with transaction.atomic():
        run = _store(open_now, found, shared, rule)
    ordered = sorted(
        standing_pairings(), key=lambda row: (row.wanted_cross_id, -round(row.chance, 6), row.offer_id)
    )
    return RunResult(run, tuple(ordered), tuple(refused))


def standing_pairings() -> QuerySet[Pairing]:
    """The pairings that stand, with what their lists show."""
    return Pairing.objects.filter(state=Pairing.State.SUGGESTED).select_related(
        "offer__plant__grower", "wanted_cross__seed_parent__grower", "offer__plant__site"
    )


@dataclass(frozen=True)
class _Found:
    """A pairing: the row that stands already, or a new one that is not stored yet."""

    row: Pairing
    dose_chances: tuple[float, ...]


class _Flowers:
    """The recipient's flowers, reckoned once for each wanted cross and only if a pairing needs them."""

    def __init__(self, bloom: Bloom | None, today: date) -> None:
        self._bloom, self._today = bloom, today

    @cached_property
    def ahead(self) -> RecipientFlowers | None:
        """The flowers of the days ahead."""
        return recipient_flowers(self._bloom, self._today) if self._bloom else None


def _reckon(
    open_now: Market, standing: Mapping[tuple[int, int], Pairing], progress: Progress | None
) -> tuple[list[_Found], list[Refused]]:
    """Every pair that is open; what was reckoned from the same input before is taken as it stands."""
    entries = pedigree_entries(_plant_ids(open_now))
    outcomes: list[_Found | Refused] = []
    for done, (row, wanted) in enumerate(open_now.wanted.values(), start=1):
        flowers = _Flowers(wanted.bloom, open_now.today)
        for offer_row, offer in open_now.offers.values():
            if offer_row.plant.grower_id != row.seed_parent.grower_id:
                pair = Pair(offer_row, offer, row, wanted)
                known = standing.get((offer_row.pk, row.pk))
                outcomes.append(_outcome(pair, open_now.today, entries, flowers, known))
        if progress is not None:
            progress(done, len(open_now.wanted))
    found = [outcome for outcome in outcomes if isinstance(outcome, _Found)]
    return found, [outcome for outcome in outcomes if isinstance(outcome, Refused)]


def _plant_ids(open_now: Market) -> set[int]:
    seed_parents = {row.seed_parent_id for row, _ in open_now.wanted.values()}
    return seed_parents | {row.plant_id for row, _ in open_now.offers.values()}


def _outcome(
    pair: Pair, today: date, entries: Sequence[PedigreeEntry], flowers: _Flowers, known: Pairing | None
) -> _Found | Refused:
    digest = pair_digest(pair, today, entries)
    if known is not None and known.input_digest == digest:
        return _Found(known, tuple(known.plan["dose_chances"]))
    reasons = refusals(pair.offer, pair.wanted)
    if reasons:
        mendable = {reason.code for reason in reasons} <= MENDABLE
        change = _change(pair, None, today, flowers) if mendable else None
        return Refused(pair.offer_row, pair.wanted_row, reasons, change)
    way = lane(pair.offer_row, pair.offer_row.plant.site, pair.wanted_row.seed_parent.site, today)
    plan = plan_pair(pair.offer, pair.wanted, way, today, flowers.ahead)
    if isinstance(plan, Reason):
        change = _change(pair, None, today, flowers)
        return Refused(pair.offer_row, pair.wanted_row, (plan,), change)
    row = _row(pair, plan, digest)
    row.cautions = reason_records(cautions(pair.offer, pair.wanted, way, plan, entries))
    found = _change(pair, plan, today, flowers)
    row.smallest_change = reason_records([found.reason()])[0] if found else None
    return _Found(row, tuple(row.plan["dose_chances"]))


def _change(pair: Pair, plan: PairPlan | None, today: date, flowers: _Flowers) -> SmallestChange | None:
    if not needs_change(plan, pair.wanted.least_chance) or flowers.ahead is None:
        return None
    choices = alternatives(pair.offer_row, pair.offer, pair.wanted_row, pair.wanted, today, flowers.ahead)
    return smallest_change(plan, choices, pair.wanted.least_chance)


def _row(pair: Pair, plan: PairPlan, digest: str) -> Pairing:
    dates, line = plan.dates, papers(pair.offer, pair.wanted)
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


def _store(open_now: Market, found: list[_Found], shared: Shared, rule: MatchingRun.Rule) -> MatchingRun:
    """Write the run and what it changes; a run that changes nothing writes no row and is the earlier one.

    Read again inside the transaction: another run may have stored since.
    """
    standing = {(row.offer_id, row.wanted_cross_id): row for row in standing_pairings()}
    changed = [row for row in (_told(pair, shared, standing) for pair in found) if row is not None]
    gone = set(standing) - {(pair.row.offer_id, pair.row.wanted_cross_id) for pair in found}
    latest = MatchingRun.objects.order_by("-pk").first()
    same = latest is not None and (latest.today, latest.rule, latest.model_version) == (
        open_now.today,
        rule,
        model_version(),
    )
    if latest is not None and same and not changed and not gone:
        return latest
    run = MatchingRun.objects.create(
        today=open_now.today,
        model_version=model_version(),
        rule=rule,
        report=shared.report,
        considered=len(open_now.offers) * len(open_now.wanted),
        proposed=len(found),
        written=len(changed),
        superseded=_supersede({(row.offer_id, row.wanted_cross_id) for row in changed} | gone),
        finished_at=clock.now(),
    )
    for row in changed:
        row.run = run
    Pairing.objects.bulk_create(changed)
    return run


def _told(pair: _Found, shared: Shared, standing: Mapping[tuple[int, int], Pairing]) -> Pairing | None:
    """The row to store for a pairing, or None where the one that stands says the same.

    Another explanation of the same doses is nothing new: that they stay would be one after any run.
    """
    row = copy.copy(pair.row)
    row.allocated_doses, row.allocation = shared.of(row.offer, row.wanted_cross)
    now = standing.get((row.offer_id, row.wanted_cross_id))
    if now is not None and all(getattr(row, name) == getattr(now, name) for name in TOLD[:-1]):
        return None
    fresh = Pairing(offer=row.offer, wanted_cross=row.wanted_cross)
    for name in TOLD:
        setattr(fresh, name, getattr(row, name))
    return fresh


def _supersede(pairs: set[tuple[int, int]]) -> int:
    rows = Pairing.objects.filter(state=Pairing.State.SUGGESTED)
    keys = [row.pk for row in rows if (row.offer_id, row.wanted_cross_id) in pairs]
    return Pairing.objects.filter(pk__in=keys).update(state=Pairing.State.SUPERSEDED)
