"""Joins the reference tables to one set of values for each taxon, each value with where it comes from."""

from collections.abc import Iterable
from datetime import time
from typing import TypedDict

from growers.models import Taxon
from growers.models.taxon import Fertility
from growers.services.reference_table import (
    QUANTITIES,
    ClockRow,
    ReferenceTables,
    Source,
    TaxonRow,
    row_refuse,
)

BEST_FIRST = ("definition", "computed", "read", "abstract", "memory", "practice", "judgement")

Clocks = dict[tuple[str, str], ClockRow]


class TaxonValues(TypedDict):
    """The columns of a taxon that the tables fill."""

    name: str
    rank: str
    group: str
    origin_groups: list[str]
    diel: str
    flower_days: int
    receptive_day: int
    pollen_first_day: int
    pollen_last_day: int
    opens_at: time | None
    closes_at: time | None
    chromosome_counts: list[int]
    ploidy: float | None
    seed_fertility: str
    pollen_fertility: str
    note: str
    sources: dict[str, dict[str, str]]


def taxa_of(tables: ReferenceTables) -> list[TaxonValues]:
    """One set of values for each row of the taxon table."""
    clocks = {(row.taxon, row.quantity): row for row in tables.clocks}
    rows = {row.taxon: row for row in tables.taxa}
    groups = {row.group: row.taxon for row in tables.taxa if row.rank == Taxon.Rank.GROUP}
    return [_values(row, _clock(row, _line(row, rows, groups), clocks), tables) for row in tables.taxa]


def _line(row: TaxonRow, rows: dict[str, TaxonRow], groups: dict[str, str]) -> list[str]:
    """The taxon, those it takes defaults from, and last its group."""
    names = [row.taxon]
    while row.default_from:
        row = rows[row.default_from]
        names.append(row.taxon)
    return [*names, groups[row.group]]


def _clock(row: TaxonRow, line: list[str], clocks: Clocks) -> dict[str, ClockRow]:
    """Each number of the flower's clock from the nearest taxon of the line that has it; ordered days."""
    found: dict[str, ClockRow] = {}
    for quantity in QUANTITIES:
        rows = [clocks[name, quantity] for name in line if (name, quantity) in clocks]
        if not rows:
            allowed = f"a row with {quantity} for {line[-1]}, which {row.taxon} needs"
            row_refuse("group", 1, "quantity", "", allowed, code="no_group_value")
        found[quantity] = rows[0]
    for quantity in ("receptive_day", "pollen_first_day", "pollen_last_day"):
        _order_check(row, found[quantity], 0, found["flower_days"].value)
    _order_check(row, found["pollen_last_day"], found["pollen_first_day"].value, found["flower_days"].value)
    return found


def _order_check(row: TaxonRow, clock: ClockRow, low: int, high: int) -> None:
    if not low <= clock.value <= high:
        allowed = f"{low} to {high} for {clock.quantity} of {row.taxon}, in order and within its flower_days"
        row_refuse("group", clock.row, "value", str(clock.value), allowed, code="not_in_order")


def _values(row: TaxonRow, clock: dict[str, ClockRow], tables: ReferenceTables) -> TaxonValues:
    hours = next((hour for hour in tables.hours if hour.used and hour.taxon == row.taxon), None)
    counts = [count for count in tables.chromosomes if count.taxon == row.taxon]
    fertility = next((known for known in tables.sterility if known.taxon == row.taxon), None)
    ploidies = {count.ploidy for count in counts}
    origins = {name: _clock_origin(row, known) for name, known in clock.items()}
    sources = {"group": row.origin, "flower": _joined(origins.values()), **origins}
    sources |= {"hours": hours.origin} if hours else {}
    sources |= {"chromosomes": _joined(count.origin for count in counts)} if counts else {}
    sources |= {"fertility": fertility.origin} if fertility else {}
    return TaxonValues(
        name=row.taxon,
        rank=row.rank,
        group=row.group,
        origin_groups=list(row.origin_groups),
        diel=row.diel,
        flower_days=clock["flower_days"].value,
        receptive_day=clock["receptive_day"].value,
        pollen_first_day=clock["pollen_first_day"].value,
        pollen_last_day=clock["pollen_last_day"].value,
        opens_at=hours.opens_at if hours else None,
        closes_at=hours.closes_at if hours else None,
        chromosome_counts=[count.count_2n for count in counts],
        # Conflicting counts have no one ploidy, and one without a ploidy may not borrow another's.
        ploidy=ploidies.pop() if len(ploidies) == 1 else None,
        seed_fertility=fertility.seed_fertility if fertility else Fertility.UNKNOWN.value,
        pollen_fertility=fertility.pollen_fertility if fertility else Fertility.UNKNOWN.value,
        note="; ".join(text for text in (row.note, fertility.evidence if fertility else "") if text),
        sources={
            aspect: {"source": known.source, "status": known.status} for aspect, known in sources.items()
        },
    )


def _clock_origin(row: TaxonRow, clock: ClockRow) -> Source:
    """A number of another taxon is our own choice for this one, whatever its source."""
    if clock.taxon == row.taxon:
        return clock.origin
    source, status = clock.origin.source, clock.origin.status
    return Source(f"default of {clock.taxon}: {source} [{status}]", "judgement")


def _joined(origins: Iterable[Source]) -> Source:
    """Several sources as one, as well verified as the least of them."""
    known = list(dict.fromkeys(origins))
    sources = dict.fromkeys(origin.source for origin in known)
    status = max((origin.status for origin in known), key=BEST_FIRST.index)
    return Source(" | ".join(sources), status)
