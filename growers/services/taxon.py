"""Taxa that are not in the reference tables: cultivars and hybrids, each fact with its source."""

from collections.abc import Mapping, Sequence
from datetime import time
from typing import TypedDict, Unpack

from django.db import transaction

from growers.errors import NotFound
from growers.models import Change, Taxon
from growers.models.taxon import Fertility, Group
from growers.services.problem import Problems
from growers.services.row import as_list, columns_check, fields_set, row_save, words_check

STATUSES = ("read", "abstract", "memory", "practice", "judgement", "definition", "computed")
CHROMOSOMES_2N = (8, 400)
"""Wider than any count known of these plants (judgement); keeps slips of the pen out."""

RANGES = {
    "flower_days": (1, 14),
    "receptive_day": (1, 14),
    "pollen_first_day": (0, 14),  # 0 is the bud of the day before
    "pollen_last_day": (1, 14),
    "ploidy": (1, 20),
}
DAYS = ("receptive_day", "pollen_first_day", "pollen_last_day")


class TaxonFields(TypedDict, total=False):
    """What is known of a taxon; ``sources`` has ``{"source": …, "status": …}`` for each aspect that is."""

    name: str
    rank: str
    group: str
    origin_groups: Sequence[str]
    diel: str
    flower_days: int
    receptive_day: int
    pollen_first_day: int
    pollen_last_day: int
    opens_at: time | None
    closes_at: time | None
    chromosome_counts: Sequence[int]
    ploidy: float | None
    seed_fertility: str
    pollen_fertility: str
    note: str
    sources: Mapping[str, Mapping[str, str]]
    invented: bool


def taxon_create(**fields: Unpack[TaxonFields]) -> Taxon:
    """Add a taxon; not an action of growers, who name plants as they like without one."""
    with transaction.atomic():
        taxon = Taxon()
        fields_set(taxon, fields, TaxonFields.__annotations__)
        _taxon_check(taxon)
        row_save(taxon, kind=Change.Kind.TAXON)
    return taxon


def taxon_update(*, taxon: Taxon, **fields: Unpack[TaxonFields]) -> Taxon:
    """Change some facts of a taxon."""
    with transaction.atomic():
        stored = Taxon.objects.select_for_update().filter(pk=taxon.pk).first()
        if stored is None:
            raise NotFound("There is no such taxon.")
        fields_set(stored, fields, TaxonFields.__annotations__)
        _taxon_check(stored)
        row_save(stored, kind=Change.Kind.TAXON, names=fields)
    return stored


def _taxon_check(taxon: Taxon) -> None:
    problems = Problems()
    taxon.origin_groups, taxon.chromosome_counts = (
        as_list(taxon.origin_groups),
        as_list(taxon.chromosome_counts),
    )
    columns_check(taxon, problems, ranges=RANGES, names=TaxonFields.__annotations__)
    words_check(problems, "origin_groups", taxon.origin_groups, Group.values)
    counts_check(problems, taxon.chromosome_counts)
    _sources_check(taxon, problems)
    if Taxon.objects.filter(name__iexact=taxon.name).exclude(pk=taxon.pk).exists():
        problems.add("name", taxon.name, "a name that no taxon has yet", code="taken")
    problems.refuse_if_any()
    _days_check(taxon, problems)
    problems.refuse_if_any()


def counts_check(problems: Problems, counts: object) -> None:
    """Check a list of chromosome counts (2n)."""
    low, high = CHROMOSOMES_2N
    if not isinstance(counts, list | tuple):
        problems.add("chromosome_counts", counts, "a list of counts (2n)")
        return
    for count in counts:
        if not isinstance(count, int) or isinstance(count, bool) or not low <= count <= high:
            problems.add("chromosome_counts", count, f"whole numbers from {low} to {high} (2n)")


def _days_check(taxon: Taxon, problems: Problems) -> None:
    for name in DAYS:
        if getattr(taxon, name) > taxon.flower_days:
            low = RANGES[name][0]
            problems.add(name, getattr(taxon, name), f"{low} to {taxon.flower_days}, the days a flower lasts")
    if taxon.pollen_first_day > taxon.pollen_last_day:
        first = taxon.pollen_first_day
        problems.add("pollen_last_day", taxon.pollen_last_day, f"{first} (pollen_first_day) or later")


def _sources_check(taxon: Taxon, problems: Problems) -> None:
    if not isinstance(taxon.sources, dict):
        problems.add("sources", taxon.sources, "a source and a status for each aspect")
        return
    for aspect in _aspects(taxon):
        entry = taxon.sources.get(aspect)
        if not isinstance(entry, dict) or not entry.get("source") or entry.get("status") not in STATUSES:
            allowed = f"a source and a status ({', '.join(STATUSES)})"
            problems.add(f"sources/{aspect}", entry, allowed)


def _aspects(taxon: Taxon) -> list[str]:
    """The aspects of a taxon that hold a value, so each needs a source."""
    held = {
        "group": True,
        "flower": True,
        "hours": taxon.opens_at is not None or taxon.closes_at is not None,
        "chromosomes": bool(taxon.chromosome_counts) or taxon.ploidy is not None,
        "fertility": (taxon.seed_fertility, taxon.pollen_fertility) != (Fertility.UNKNOWN, Fertility.UNKNOWN),
    }
    return [aspect for aspect, holds in held.items() if holds]
