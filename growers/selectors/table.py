"""A grower's own plants and seasons as tables, in the columns that an import takes."""

from uuid import UUID

from growers.models import BloomSeason, Grower, Plant
from growers.selectors.csv_cell import list_cell, table_text

PLANT_COLUMNS = (
    "number",
    "name_as_grown",
    "taxon",
    "group",
    "diel",
    "identity",
    "crowns",
    "traits",
    "seed_fertility",
    "pollen_fertility",
    "fertility_evidence",
    "chromosome_counts",
    "seed_parent",
    "pollen_parent",
    "parentage_confidence",
    "direction_known",
    "origin",
    "wild_country",
    "wild_year",
    "rights",
    "health_seen",
)
SEASON_COLUMNS = ("plant", "first_flower_on", "first_precision", "last_flower_on", "last_precision")


def plant_table(owner: Grower, site: UUID | None = None) -> str:
    """A grower's plants in the order of entry, of one site if stated; one query.

    Parents stand by number, so a parent of another grower's is left blank.
    """
    plants = Plant.objects.filter(grower=owner).select_related("taxon", "seed_parent", "pollen_parent")
    if site is not None:
        plants = plants.filter(site__public_id=site)
    return table_text(
        PLANT_COLUMNS, ([_cell(plant, name) for name in PLANT_COLUMNS] for plant in plants.order_by("pk"))
    )


def season_table(owner: Grower) -> str:
    """The recorded seasons of a grower's plants, by plant and day; one query."""
    seasons = BloomSeason.objects.filter(plant__grower=owner).select_related("plant")
    rows = (
        [season.plant.number, *(getattr(season, name) for name in SEASON_COLUMNS[1:])]
        for season in seasons.order_by("plant_id", "first_flower_on")
    )
    return table_text(SEASON_COLUMNS, rows)


def _cell(plant: Plant, name: str) -> object:
    value = getattr(plant, name)
    if name in ("traits", "chromosome_counts"):
        return list_cell(value)
    if name == "direction_known":
        return "yes" if value else "no"
    if name == "taxon":
        return value and value.name
    if name in ("seed_parent", "pollen_parent"):
        return value.number if value is not None and value.grower_id == plant.grower_id else None
    return value
