"""The matching run: read everything open, reckon every pairing, store what changed."""

import copy
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.db.models import QuerySet

from exchange.matching.allocation import Rule
from exchange.matching.side import CrossWanted, PollenOffer
from exchange.models import MatchingRun, Offer, Pairing, WantedCross
from exchange.science.version import model_version
from exchange.selectors.block import pairs_kept_apart
from exchange.selectors.caution import pedigree_entries
from exchange.selectors.settled_pair import pairs_handed_over, pairs_settled
from exchange.selectors.side import Market, market
from exchange.services.notification import pairings_tell
from exchange.services.pair_digest import Pair
from exchange.services.pair_outcome import Flowers, Refused, pair_outcome
from exchange.services.pairing_withdrawal import withdrawn_explain
from exchange.services.refusal_memory import RefusalMemory
from exchange.services.second_packet import with_second_packets
from exchange.services.sharing import Planned, Shared, share_out
from exchange.services.shortlist import shortlist
from growers import clock

RULES: dict[MatchingRun.Rule, Rule] = {
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
    "timeline",
    "allocated_doses",
    "allocation",
)
Progress = Callable[[int, int], None]
Guard = Callable[[], None]
Key = tuple[int, int]


@dataclass(frozen=True)
class RunResult:
    """A run, the pairings that stand after it (best first for each wanted cross), and what was refused."""

    run: MatchingRun
    pairings: tuple[Pairing, ...]
    refused: tuple[Refused, ...]


@dataclass(frozen=True)
class Found:
    """A pairing: the row that stands already, or a new one that is not stored yet."""

    row: Pairing

    @property
    def dose_chances(self) -> tuple[float, ...]:
        """Of the first, second, … dose of a packet."""
        return tuple(self.row.plan["dose_chances"])

    @property
    def key(self) -> Key:
        """Of the offer and of the wanted cross."""
        return self.row.offer_id, self.row.wanted_cross_id


@dataclass(frozen=True)
class Reckoned:
    """What was found on a day and how its doses are shared out; not a word of it is stored."""

    open_now: Market
    rule: MatchingRun.Rule
    found: tuple[Found, ...]
    refused: tuple[Refused, ...]
    shared: Shared


@dataclass(frozen=True)
class Changes:
    """Rows to write because nothing that stands says the same, and rows that no longer hold."""

    fresh: tuple[Pairing, ...]
    replaced: tuple[Pairing, ...]
    gone: tuple[Pairing, ...]


@dataclass(frozen=True)
class DryRun:
    """What a run would have changed."""

    reckoned: Reckoned
    changes: Changes


def matching_run(
    *,
    today: date,
    rule: MatchingRun.Rule = MatchingRun.Rule.EACH_GROWER_FIRST,
    progress: Progress | None = None,
) -> RunResult:
    """Reckon all pairings of what is open and store them; unchanged pairings are left as they are.

    Pairings that no longer hold are superseded, never deleted.
    """
    reckoned = matching_reckon(today=today, rule=rule, progress=progress)
    run = matching_store(reckoned)
    ordered = sorted(
        standing_pairings(), key=lambda row: (row.wanted_cross_id, -round(row.chance, 6), row.offer_id)
    )
    return RunResult(run, tuple(ordered), reckoned.refused)


def matching_dry_run(*, today: date, rule: MatchingRun.Rule, progress: Progress | None = None) -> DryRun:
    """What a run would change; it writes nothing."""
    reckoned = matching_reckon(today=today, rule=rule, progress=progress)
    return DryRun(reckoned, _changes(reckoned, list(standing_pairings()), dismissed_pairs()))


def matching_reckon(*, today: date, rule: MatchingRun.Rule, progress: Progress | None = None) -> Reckoned:
    """The slow part of a run, outside any transaction."""
    open_now = market(today)
    standing = {_key(row): row for row in standing_pairings()}
    found, refused = _reckon(open_now, standing, dismissed_pairs(), progress)
    planned = [Planned(pair.row.offer, pair.row.wanted_cross, pair.dose_chances) for pair in found]
    shared = share_out(planned, RULES[rule], asked=[row for row, _ in open_now.wanted.values()])
    return Reckoned(open_now, rule, tuple(found), tuple(refused), shared)


def matching_store(reckoned: Reckoned, *, guard: Guard | None = None) -> MatchingRun:
    """The quick part: one transaction writes what changed and tells the growers concerned.

    ``guard`` is called inside it and raises if the run must not be stored any more.
    """
    with transaction.atomic():
        if guard is not None:
            guard()
        return _store(reckoned)


def dismissed_pairs() -> frozenset[Key]:
    """Offers and wanted crosses that are settled, or that a grower does not want to see together, or meet."""
    rows = Pairing.objects.filter(state=Pairing.State.DISMISSED)
    dismissed = frozenset(rows.values_list("offer_id", "wanted_cross_id"))
    return dismissed | pairs_kept_apart() | pairs_settled(clock.now())


def standing_pairings() -> QuerySet[Pairing]:
    """The pairings that stand, with what their lists show."""
    return Pairing.objects.filter(state=Pairing.State.SUGGESTED).select_related(
        "offer__plant__grower", "wanted_cross__seed_parent__grower", "offer__plant__site"
    )


def _reckon(
    open_now: Market,
    standing: Mapping[Key, Pairing],
    dismissed: frozenset[Key],
    progress: Progress | None,
) -> tuple[list[Found], list[Refused]]:
    """Every pair that is open; what was reckoned from the same input before is taken as it stands."""
    entries = pedigree_entries(_plant_ids(open_now))
    found: list[Found] = []
    refused: list[Refused] = []
    for done, (row, wanted) in enumerate(open_now.wanted.values(), start=1):
        flowers = Flowers(wanted.bloom, open_now.today)
        pairs = [
            _pair(open_now, offer_row, offer, row, wanted)
            for offer_row, offer in open_now.offers.values()
            if offer_row.plant.grower_id != row.seed_parent.grower_id
            and (offer_row.pk, row.pk) not in dismissed
        ]
        memory = RefusalMemory(wanted.key)
        paired: list[tuple[Pair, Pairing]] = []
        for pair in shortlist(pairs, open_now.today, flowers.look):
            known = standing.get((pair.offer_row.pk, row.pk))
            outcome = pair_outcome(pair, open_now.today, entries, flowers, known, memory)
            if isinstance(outcome, Refused):
                refused.append(outcome)
            else:
                paired.append((pair, outcome))
        memory.store()
        found += map(Found, with_second_packets(paired, open_now.today, flowers.look))
        if progress is not None:
            progress(done, len(open_now.wanted))
    return found, refused


def _pair(
    open_now: Market, offer_row: Offer, offer: PollenOffer, wanted_row: WantedCross, wanted: CrossWanted
) -> Pair:
    offer = open_now.offer_to(offer_row, wanted_row, offer)
    forbidden, papers = (ask(offer, wanted) for ask in (open_now.notes.forbidding, open_now.notes.papers))
    ends = offer_row.plant.site, wanted_row.seed_parent.site
    seen = open_now.lanes.between(*ends, offer_row.carrier_service)
    return Pair(offer_row, offer, wanted_row, wanted, forbidden, papers, seen)


def _plant_ids(open_now: Market) -> set[int]:
    seed_parents = {row.seed_parent_id for row, _ in open_now.wanted.values()}
    return seed_parents | {row.plant_id for row, _ in open_now.offers.values()}


def _store(reckoned: Reckoned) -> MatchingRun:
    """Write the run and what it changes; a run that changes nothing writes no row and is the earlier one.

    What stands is read again and locked: another run may have stored since, and a grower who dismisses a
    pairing waits for us or we for them.
    """
    locked = list(standing_pairings().select_for_update(of=("self",)))
    dismissed = dismissed_pairs()
    changes = _changes(reckoned, locked, dismissed)
    latest = MatchingRun.objects.order_by("-pk").first()
    stamp = reckoned.open_now.today, reckoned.rule, model_version()
    if latest is not None and not changes.fresh and not changes.gone:
        before = latest.today, latest.rule, latest.model_version, latest.report
        if before == (*stamp, reckoned.shared.report):
            return latest
    run = _run(reckoned, changes)
    for row in changes.fresh:
        row.run = run
    Pairing.objects.bulk_create(changes.fresh)
    withdrawn_explain(changes.gone, reckoned.open_now.notes)
    known = pairs_settled(clock.now()) | pairs_handed_over()
    pairings_tell(fresh=changes.fresh, gone=[row for row in changes.gone if _key(row) not in known])
    return run


def _run(reckoned: Reckoned, changes: Changes) -> MatchingRun:
    open_now = reckoned.open_now
    return MatchingRun.objects.create(
        today=open_now.today,
        model_version=model_version(),
        rule=reckoned.rule,
        report=reckoned.shared.report,
        considered=len(open_now.offers) * len(open_now.wanted),
        proposed=len(reckoned.found),
        written=len(changes.fresh),
        superseded=_supersede([*changes.replaced, *changes.gone]),
        finished_at=clock.now(),
    )


def _changes(reckoned: Reckoned, rows: Sequence[Pairing], dismissed: frozenset[Key]) -> Changes:
    """What has to be written, given the rows that stand and what was dismissed meanwhile."""
    standing = {_key(row): row for row in rows}
    found = {pair.key: pair for pair in reckoned.found if pair.key not in dismissed}
    told = (_told(pair, reckoned.shared, standing) for pair in found.values())
    fresh = tuple(row for row in told if row is not None)
    return Changes(
        fresh,
        replaced=tuple(standing[_key(row)] for row in fresh if _key(row) in standing),
        gone=tuple(row for key, row in standing.items() if key not in found),
    )


def _told(pair: Found, shared: Shared, standing: Mapping[Key, Pairing]) -> Pairing | None:
    """The row to store for a pairing, or None where the one that stands says the same.

    Another explanation of the same doses is nothing new: that they stay would be one after any run.
    """
    row = copy.copy(pair.row)
    row.allocated_doses, row.allocation = shared.of(row.offer, row.wanted_cross)
    now = standing.get((row.offer_id, row.wanted_cross_id))
    if now is not None and _says_the_same(row, now):
        return None
    fresh = Pairing(offer=row.offer, wanted_cross=row.wanted_cross)
    for name in TOLD:
        setattr(fresh, name, getattr(row, name))
    return fresh


def _says_the_same(row: Pairing, now: Pairing) -> bool:
    explained = (row.allocation is None) == (now.allocation is None)
    return explained and all(getattr(row, name) == getattr(now, name) for name in TOLD[:-1])


def _supersede(rows: Sequence[Pairing]) -> int:
    keys = [row.pk for row in rows]
    changed = {"state": Pairing.State.SUPERSEDED, "changed_at": clock.now()}
    return Pairing.objects.filter(pk__in=keys).update(**changed)


def _key(row: Pairing) -> Key:
    return row.offer_id, row.wanted_cross_id
