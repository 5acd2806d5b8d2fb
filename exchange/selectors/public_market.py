"""What is offered and looked for, by group and region, for everybody: counts that no grower stands out in.

A region is never finer than its site's level, and a cell of the table holds at least five growers: the
growers of smaller ones are counted in a coarser region, at last the whole world. A wanted cross is a
breeder's secret: what fewer than five look for in the whole world is not counted at all.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from django.db.models import Prefetch

from exchange.models import Offer, WantedCross
from exchange.models.offer import OpenState
from growers.models import Plant, Site
from growers.selectors.site import GROWERS_TO_HIDE_AMONG, Region, region

ANY_GROUP = "any"
PART_OF_THE_WORLD = "part_of_the_world"
WORLD = "world"
EVERYWHERE = Region(WORLD, "")
Cell = tuple[str, Region]
"""A group and a region: one cell of the table."""


@dataclass(frozen=True, slots=True)
class MarketRow:
    """So many offers or wanted crosses of a group in a region."""

    group: str
    region: Region
    count: int


@dataclass(frozen=True, slots=True)
class PublicMarket:
    """What is open today."""

    offered: tuple[MarketRow, ...]
    wanted: tuple[MarketRow, ...]


@dataclass(frozen=True, slots=True)
class _Open:
    """One open thing: its group, whose it is, and where, as others may read it."""

    group: str
    grower_id: int
    region: Region


def public_market() -> PublicMarket:
    """Counts of all that is open; a wanted cross counts once for each group it asks for."""
    return PublicMarket(_rows(_offered(), world_hides=True), _rows(_wanted(), world_hides=False))


def _offered() -> list[_Open]:
    rows = Offer.objects.filter(state=OpenState.OPEN, plant__grower__closed_at=None)
    return [
        _Open(row.plant.group, row.plant.grower_id, region(row.plant.site))
        for row in rows.select_related("plant__site")
    ]


def _wanted() -> list[_Open]:
    rows = WantedCross.objects.filter(state=OpenState.OPEN, seed_parent__grower__closed_at=None)
    plants = Prefetch("pollen_plants", Plant.objects.only("group"))
    found = rows.select_related("seed_parent__site").prefetch_related(plants, "pollen_taxa")
    return [
        _Open(group, row.seed_parent.grower_id, region(row.seed_parent.site))
        for row in found
        for group in _groups_asked(row)
    ]


def _groups_asked(row: WantedCross) -> list[str]:
    asked = {*row.pollen_groups, *(taxon.group for taxon in row.pollen_taxa.all())}
    asked |= {plant.group for plant in row.pollen_plants.all()}
    return sorted(asked) or [ANY_GROUP]


def _rows(found: Iterable[_Open], *, world_hides: bool) -> tuple[MarketRow, ...]:
    """Cells from fine to coarse: what is too thin at one level is counted at the next.

    In the whole world a few growers are hidden too if ``world_hides``; otherwise they are left out.
    """
    left, shown = list(found), Counter[Cell]()
    for step in STEPS:
        cells: defaultdict[Cell, list[_Open]] = defaultdict(list)
        for each in left:
            cells[each.group, step(each.region)].append(each)
        left = []
        for cell, members in cells.items():
            if cell in shown or (world_hides and cell[1] == EVERYWHERE) or _hides(members):
                shown[cell] += len(members)
            else:
                left += members
    rows = (MarketRow(group, where, count) for (group, where), count in shown.items())
    return tuple(sorted(rows, key=lambda row: (row.group, repr(row.region))))


def _hides(members: Iterable[_Open]) -> bool:
    return len({each.grower_id for each in members}) >= GROWERS_TO_HIDE_AMONG


Step = Callable[[Region], Region]


def _as_it_is(where: Region) -> Region:
    return where


def _to_country(where: Region) -> Region:
    """What is finer than a country is forgotten; a region that names none stays."""
    if where.country is None:
        return where
    return Region(Site.RegionLevel.COUNTRY.value, where.part_of_the_world, where.country)


def _to_part_of_the_world(where: Region) -> Region:
    return Region(PART_OF_THE_WORLD, where.part_of_the_world)


def _to_world(_where: Region) -> Region:
    return EVERYWHERE


STEPS: tuple[Step, ...] = (_as_it_is, _to_country, _to_part_of_the_world, _to_world)
