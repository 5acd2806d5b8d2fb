"""What a grower should know before saying yes: kinship, ploidy, thin evidence, cold, papers."""

from collections.abc import Iterable, Sequence
from datetime import timedelta

from exchange.matching.eligibility import compatibility
from exchange.matching.plan import PairPlan
from exchange.matching.reason import Reason
from exchange.matching.side import CrossWanted, Lane, PollenOffer
from exchange.science import constants
from exchange.science.chromosome import offspring_counts, offspring_warning
from exchange.science.kinship import PedigreeEntry, offspring_inbreeding
from exchange.science.parcel import hours_cold
from growers.selectors.relative import Relative, pedigree

DIPLOID = 2


def pedigree_entries(plant_ids: Iterable[int]) -> list[PedigreeEntry]:
    """The pedigree of plants as kinship takes it."""
    return entries_of(pedigree(plant_ids))


def entries_of(relatives: Iterable[Relative]) -> list[PedigreeEntry]:
    """Clones, parents first, as kinship takes them; sets of chromosomes of offspring follow from parents."""
    sets: dict[str, int] = {}
    entries: list[PedigreeEntry] = []
    for relative in relatives:
        entry = _entry(relative, sets)
        sets[entry.name] = entry.chromosome_sets
        entries.append(entry)
    return entries


def _entry(relative: Relative, sets: dict[str, int]) -> PedigreeEntry:
    """One clone; an unknown parent is taken to have given as many sets as the known one."""
    known = [sets[name] for name in (relative.seed_parent, relative.pollen_parent) if name is not None]
    if not known:
        return PedigreeEntry(relative.clone, chromosome_sets=_own_sets(relative.ploidy))
    halves = [max(1, count // 2) for count in known]
    seed, pollen = halves[0], halves[-1]
    return PedigreeEntry(
        relative.clone,
        relative.seed_parent,
        relative.pollen_parent,
        chromosome_sets=seed + pollen,
        seed_sets=seed,
        pollen_sets=pollen,
    )


def _own_sets(ploidy: float | None) -> int:
    return int(ploidy) if ploidy is not None and ploidy >= 1 and ploidy == int(ploidy) else DIPLOID


def cautions(
    offer: PollenOffer, wanted: CrossWanted, lane: Lane, plan: PairPlan, entries: Sequence[PedigreeEntry]
) -> list[Reason]:
    """All cautions of one pairing, the ones about the offspring first."""
    found = [
        _kinship(offer, wanted, entries),
        _ploidy(offer, wanted),
        _other_direction(offer, wanted),
        Reason("frozen_untested" if offer.treatment == "frozen" else "viability_prior_only"),
        Reason("fresh_dies_fast") if offer.treatment == "fresh" else None,
        _cold(lane, plan),
        _few_flowers(plan),
        _few_donor_flowers(plan),
        Reason("below_least_chance") if plan.each_flower.estimate < wanted.least_chance else None,
    ]
    return [caution for caution in found if caution is not None]


def _kinship(offer: PollenOffer, wanted: CrossWanted, entries: Sequence[PedigreeEntry]) -> Reason | None:
    found = offspring_inbreeding(entries, wanted.parent.clone, offer.parent.clone)
    if found.warning == "none":
        return None
    figures = {"disomic": round(found.disomic, 4), "polysomic": round(found.polysomic, 4)}
    return Reason(f"kinship_{found.warning}", figures)


def _ploidy(offer: PollenOffer, wanted: CrossWanted) -> Reason | None:
    counts = wanted.parent.chromosome_counts, offer.parent.chromosome_counts
    level = offspring_warning(*counts)
    if level == "none" or not all(counts):
        return None
    predicted = ", ".join(f"{count:g}" for count in offspring_counts(*counts))
    return Reason(f"offspring_ploidy_{level}", {"counts": predicted})


def _other_direction(offer: PollenOffer, wanted: CrossWanted) -> Reason | None:
    """Direction counts: where the reverse cross takes far more often, both growers should know."""
    here = compatibility(wanted.parent, offer.parent).mean
    there = compatibility(offer.parent, wanted.parent).mean
    if there < constants.OTHER_DIRECTION_RATIO.value * here:
        return None
    groups = " × ".join(offer.parent.groups)
    return Reason("other_direction", {"pollen_groups": groups, "chance": round(there, 4)})


def _few_flowers(plan: PairPlan) -> Reason | None:
    if plan.flowers <= plan.flowers_expected:
        return None
    figures = {"flowers": plan.flowers, "expected": round(plan.flowers_expected, 1)}
    return Reason("doses_over_flowers", figures)


def _few_donor_flowers(plan: PairPlan) -> Reason | None:
    """A flower gives so many doses; for more of them more flowers must open in time."""
    flowers = plan.donor_flowers
    if flowers is None or not flowers.too_many:
        return None
    figures = {"doses": plan.flowers, "flowers": flowers.needed, "chance": round(flowers.chance, 4)}
    return Reason("doses_over_donor_flowers", figures)


def _cold(lane: Lane, plan: PairPlan) -> Reason | None:
    if plan.dates is None or lane.packing.ice_kg == 0.0:
        return None
    ambient = float(lane.ambient_c[plan.dates.post_on.month - 1])
    cold = hours_cold(lane.packing, ambient)
    trip = plan.dates.arrival_half - plan.dates.post_on
    if cold >= trip / timedelta(hours=1):
        return None
    figures = {"cold_hours": round(cold), "trip_days": trip.days, "ambient_c": round(ambient)}
    return Reason("box_short_cold", figures)
