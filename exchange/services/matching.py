"""The matching run: read everything open, reckon every pairing, store what changed."""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction

from exchange.matching.eligibility import refusals
from exchange.matching.plan import PairPlan, plan_pair
from exchange.matching.posting import RecipientFlowers, recipient_flowers
from exchange.matching.reason import Reason
from exchange.matching.side import CrossWanted, PollenOffer
from exchange.models import MatchingRun, Offer, Pairing, WantedCross
from exchange.science.kinship import PedigreeEntry
from exchange.science.version import model_version
from exchange.selectors.caution import cautions, papers, pedigree_entries
from exchange.selectors.lane import lane
from exchange.selectors.plan_record import plan_record, reason_records
from exchange.selectors.side import Market, market
from growers import clock

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Refused:
    """A pair that is no pairing, and why."""

    offer: Offer
    wanted_cross: WantedCross
    reasons: tuple[Reason, ...]


@dataclass(frozen=True)
class RunResult:
    """A run, the pairings that stand after it (best first for each wanted cross), and what was refused."""

    run: MatchingRun
    pairings: tuple[Pairing, ...]
    refused: tuple[Refused, ...]


def matching_run(*, today: date, progress: Progress | None = None) -> RunResult:
    """Reckon all pairings of what is open and store them; unchanged pairings are left as they are.

    Pairings that no longer hold are superseded, never deleted. Nothing slow happens inside the
    transaction that stores.
    """
    open_now = market(today)
    digest = _digest(open_now)
    found, refused = _reckon(open_now, progress)
    with transaction.atomic():
        run = _store(open_now, found, digest)
    standing = Pairing.objects.filter(state=Pairing.State.SUGGESTED).select_related(
        "offer__plant__grower", "wanted_cross__seed_parent__grower", "offer__plant__site"
    )
    ordered = sorted(standing, key=lambda row: (row.wanted_cross_id, -round(row.chance, 6), row.offer_id))
    return RunResult(run, tuple(ordered), tuple(refused))


def _digest(open_now: Market) -> str:
    """What identifies a run's input: day, model and every offer and wanted cross with its forecast."""
    text = hashlib.sha256(f"{open_now.today} {model_version()}".encode())
    for _, offer in open_now.offers.values():
        text.update(repr((offer.key, offer, offer.bloom.window if offer.bloom else None)).encode())
    for _, wanted in open_now.wanted.values():
        text.update(repr((wanted, wanted.bloom.window if wanted.bloom else None)).encode())
    return text.hexdigest()


@dataclass(frozen=True)
class _Pair:
    offer_row: Offer
    offer: PollenOffer
    wanted_row: WantedCross
    wanted: CrossWanted
    flowers: RecipientFlowers | None


@dataclass(frozen=True)
class _Found:
    offer: Offer
    wanted_cross: WantedCross
    plan: PairPlan
    cautions: list[Reason]
    papers: Reason | None


def _reckon(open_now: Market, progress: Progress | None) -> tuple[list[_Found], list[Refused]]:
    entries = pedigree_entries(_plant_ids(open_now))
    outcomes: list[_Found | Refused] = []
    for done, (row, wanted) in enumerate(open_now.wanted.values(), start=1):
        flowers = recipient_flowers(wanted.bloom, open_now.today) if wanted.bloom else None
        for offer_row, offer in open_now.offers.values():
            if offer_row.plant.grower_id != row.seed_parent.grower_id:
                pair = _Pair(offer_row, offer, row, wanted, flowers)
                outcomes.append(_outcome(pair, open_now.today, entries))
        if progress is not None:
            progress(done, len(open_now.wanted))
    found = [outcome for outcome in outcomes if isinstance(outcome, _Found)]
    return found, [outcome for outcome in outcomes if isinstance(outcome, Refused)]


def _plant_ids(open_now: Market) -> set[int]:
    seed_parents = {row.seed_parent_id for row, _ in open_now.wanted.values()}
    return seed_parents | {row.plant_id for row, _ in open_now.offers.values()}


def _outcome(pair: _Pair, today: date, entries: Sequence[PedigreeEntry]) -> _Found | Refused:
    reasons = refusals(pair.offer, pair.wanted)
    if reasons:
        return Refused(pair.offer_row, pair.wanted_row, reasons)
    way = lane(pair.offer_row, pair.offer_row.plant.site, pair.wanted_row.seed_parent.site, today)
    plan = plan_pair(pair.offer, pair.wanted, way, today, pair.flowers)
    if isinstance(plan, Reason):
        return Refused(pair.offer_row, pair.wanted_row, (plan,))
    warned = cautions(pair.offer, pair.wanted, way, plan, entries)
    return _Found(pair.offer_row, pair.wanted_row, plan, warned, papers(pair.offer, pair.wanted))


def _store(open_now: Market, found: list[_Found], digest: str) -> MatchingRun:
    """Write the run and what it changes; a run over unchanged input writes no row and is the earlier one."""
    standing = {
        (row.offer_id, row.wanted_cross_id): row
        for row in Pairing.objects.filter(state=Pairing.State.SUGGESTED)
    }
    latest = MatchingRun.objects.order_by("-pk").first()
    if latest is not None and latest.input_digest == digest:
        return latest
    run = MatchingRun.objects.create(today=open_now.today, model_version=model_version(), input_digest=digest)
    fresh = [_row(run, pair) for pair in found]
    changed = [
        row for row in fresh if not _same(row, standing.pop((row.offer_id, row.wanted_cross_id), None))
    ]
    replaced = {(row.offer_id, row.wanted_cross_id) for row in changed} | set(standing)
    run.superseded = _supersede(replaced)
    Pairing.objects.bulk_create(changed)
    run.considered, run.proposed, run.written = _considered(open_now), len(found), len(changed)
    run.finished_at = clock.now()
    run.save()
    return run


def _row(run: MatchingRun, pair: _Found) -> Pairing:
    dates = pair.plan.dates
    return Pairing(
        offer=pair.offer,
        wanted_cross=pair.wanted_cross,
        run=run,
        chance=round(pair.plan.each_flower.estimate, 9),
        post_on=dates.post_on if dates else None,
        not_later_than=dates.not_later_than if dates else None,
        plan=plan_record(pair.plan),
        reasons=reason_records(pair.plan.reasons),
        cautions=reason_records(pair.cautions),
        papers=reason_records([pair.papers])[0] if pair.papers else None,
    )


def _same(row: Pairing, standing: Pairing | None) -> bool:
    told = ("chance", "post_on", "not_later_than", "plan", "reasons", "cautions", "papers")
    return standing is not None and all(getattr(row, name) == getattr(standing, name) for name in told)


def _supersede(pairs: set[tuple[int, int]]) -> int:
    rows = Pairing.objects.filter(state=Pairing.State.SUGGESTED)
    keys = [row.pk for row in rows if (row.offer_id, row.wanted_cross_id) in pairs]
    return Pairing.objects.filter(pk__in=keys).update(state=Pairing.State.SUPERSEDED)


def _considered(open_now: Market) -> int:
    return len(open_now.offers) * len(open_now.wanted)
