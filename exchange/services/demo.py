"""Loads the invented society of the demo: all of it, once."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar
from uuid import NAMESPACE_OID, UUID, uuid5

from django.db import transaction

from exchange.models import Offer, WantedCross
from exchange.services.border_note import border_note_create
from exchange.services.offer import OfferFields, offer_create, offer_in_hand_create
from exchange.services.wanted_cross import WantedCrossFields, wanted_cross_create
from growers.errors import DomainError, FieldProblem, InvalidInput
from growers.models import BloomSighting, Grower, Plant, Site, Taxon
from growers.services import bloom, grower, plant, site, taxon
from growers.services.csv_table import WHOLE_NUMBER, CellReader, TableRow, cell_problem, read_table, refuse
from growers.services.plant_rule import PlantFacts

INVENTED = {"source": "invented for the demo", "status": "judgement"}
YES_NO = ("yes", "no")


@dataclass
class _Loaded:
    growers: dict[str, Grower] = field(default_factory=dict)
    sites: dict[str, dict[str, Site]] = field(default_factory=dict)
    plants: dict[str, Plant] = field(default_factory=dict)
    offers: list[Offer] = field(default_factory=list)
    wanted_crosses: list[WantedCross] = field(default_factory=list)


Row = TypeVar("Row")
Reader = Callable[[CellReader, _Loaded], None]


def demo_load(folder: Path) -> bool:
    """Load the tables of ``folder`` in one transaction; False, nothing touched, if they are there already.

    Raises ``InvalidInput`` naming file, row, column, value and what is allowed; then nothing is written.
    """
    tables = {name: _rows(folder, name) for name in COLUMNS}
    handles = [row.cells["handle"] for row in tables["grower"]]
    if Grower.objects.filter(handle__in=handles).exists():
        return False
    with transaction.atomic():
        loaded = _Loaded()
        for name, rows in tables.items():
            _table_load(f"{name}.csv", rows, READERS[name], loaded)
        _ids_fix(loaded)
    return True


def _ids_fix(loaded: _Loaded) -> None:
    """Draws of bloom are seeded by ids: with fixed ones the demo tells the same wherever it is loaded."""
    for row in loaded.plants.values():
        Plant.objects.filter(pk=row.pk).update(public_id=_fixed("plant", row.number))
    for position, offer in enumerate(loaded.offers):
        Offer.objects.filter(pk=offer.pk).update(public_id=_fixed("Offer", str(position)))
    for position, wanted in enumerate(loaded.wanted_crosses):
        WantedCross.objects.filter(pk=wanted.pk).update(public_id=_fixed("WantedCross", str(position)))


def _fixed(*words: str) -> UUID:
    return uuid5(NAMESPACE_OID, " ".join(words))


def _rows(folder: Path, name: str) -> list[TableRow]:
    path = folder / f"{name}.csv"
    if not path.is_file():
        needed = ", ".join(f"{table}.csv" for table in COLUMNS)
        raise InvalidInput(f"{path.name}: the table is missing; needed: {needed}.")
    return read_table(path.read_bytes(), required=COLUMNS[name], file=path.name)


def _table_load(file: str, rows: Sequence[TableRow], reader: Reader, loaded: _Loaded) -> None:
    for row in rows:
        problems: list[FieldProblem] = []
        try:
            reader(CellReader(row, problems), loaded)
        except DomainError as error:
            refuse(problems or _in_row(row, error), file=file)
        refuse(problems, file=file)


def _in_row(row: TableRow, error: DomainError) -> list[FieldProblem]:
    """What a service refused, told of the row and the column that it was read from."""
    found = error.problems or (FieldProblem("", error.code, error.detail),)
    return [_in_cell(row, problem) for problem in found]


def _in_cell(row: TableRow, problem: FieldProblem) -> FieldProblem:
    column = problem.pointer.removeprefix("/")
    if column in row.cells and problem.allowed:
        return cell_problem(row.number, column, row.cells[column], problem.allowed, code=problem.code)
    return FieldProblem(f"row {row.number}", problem.code, f"Row {row.number}: {problem.detail}")


def _words(cells: CellReader, column: str) -> list[str]:
    return cells.row.cells[column].split()


def _numbers(cells: CellReader, column: str) -> list[int]:
    words = _words(cells, column)
    for word in words:
        if not WHOLE_NUMBER.fullmatch(word):
            cells.refuse(column, word, "whole numbers with a space between them", code="not_a_number")
    return [int(word) for word in words if WHOLE_NUMBER.fullmatch(word)]


def _border_note(cells: CellReader, loaded: _Loaded) -> None:
    checked_on, name = cells.day("checked_on", needed=True), cells.row.cells["taxon"]
    if checked_on is None:
        return
    border_note_create(
        kind=cells.text("kind"),
        taxon=Taxon.objects.get(name=name) if name else None,
        origin=cells.text("origin", needed=False),
        destination=cells.text("destination"),
        text=cells.text("text"),
        source=cells.text("source"),
        checked_on=checked_on,
        invented=True,
    )


def _list(cells: CellReader, column: str) -> list[str]:
    return [part.strip() for part in cells.row.cells[column].split(";") if part.strip()]


def _known(
    cells: CellReader, column: str, known: Mapping[str, Row], what: str, *, key: str | None = None
) -> Row:
    """The row that a cell, or ``key`` of its list, names; refused at once: nothing is read without it."""
    named = cells.row.cells[column] if key is None else key
    if named not in known:
        cells.refuse(column, named, f"one of the {what}", code="not_found")
        refuse(cells.problems)
    return known[named]


def _grower(cells: CellReader, loaded: _Loaded) -> None:
    handle = cells.text("handle")
    loaded.growers[handle] = grower.grower_create(
        handle=handle,
        email=f"{handle}@demo.invalid",
        name=cells.text("name"),
        zone=cells.text("zone"),
        units=cells.text("units"),
        countries_shipped_to=_words(cells, "countries_shipped_to"),
        credit_line=cells.text("credit_line"),
    )


def _site(cells: CellReader, loaded: _Loaded) -> None:
    actor = _known(cells, "grower", loaded.growers, "growers of this demo")
    made = site.site_create(
        actor=actor,
        name=cells.text("name"),
        country=cells.text("country"),
        latitude_deg=cells.number("latitude_deg", -90, 90),
        longitude_deg=cells.number("longitude_deg", -180, 180),
        water=cells.text("water"),
    )
    loaded.sites.setdefault(actor.handle, {})[made.name] = made


def _cultivar(cells: CellReader, loaded: _Loaded) -> None:
    counts = _numbers(cells, "chromosome_counts")
    aspects = ["group", "flower", *(["chromosomes"] if counts else [])]
    taxon.taxon_create(
        name=cells.text("name"),
        rank=cells.text("rank"),
        group=cells.text("group"),
        origin_groups=_words(cells, "origin_groups"),
        diel=cells.text("diel"),
        flower_days=cells.integer("flower_days", 1, 14, needed=True) or 0,
        pollen_first_day=cells.integer("pollen_first_day", 1, 14, needed=True) or 0,
        pollen_last_day=cells.integer("pollen_last_day", 1, 14, needed=True) or 0,
        chromosome_counts=counts,
        ploidy=cells.number("ploidy", 1, 20),
        sources=dict.fromkeys(aspects, INVENTED),
        invented=True,
    )


def _plant(cells: CellReader, loaded: _Loaded) -> None:
    actor = _known(cells, "grower", loaded.growers, "growers of this demo")
    stands = _known(cells, "site", loaded.sites.get(actor.handle, {}), f"sites of {actor.handle}")
    named = _taxon(cells, "taxon", cells.row.cells["taxon"]) if cells.row.cells["taxon"] else None
    facts: PlantFacts = {
        "number": cells.text("number"),
        "name_as_grown": cells.text("name_as_grown"),
        "taxon": named,
        "crowns": cells.integer("crowns", 1, 500, needed=True) or 1,
        "traits": _words(cells, "traits"),
        "seed_parent": _parent(cells, "seed_parent", loaded),
        "pollen_parent": _parent(cells, "pollen_parent", loaded),
        "origin": cells.text("origin"),
    }
    if named is None:
        facts["group"] = cells.text("group")
    key = f"{actor.handle} {facts['number']}"
    loaded.plants[key] = plant.plant_create(actor=actor, site=stands, **facts)


def _parent(cells: CellReader, column: str, loaded: _Loaded) -> Plant | None:
    return _owned(cells, column, loaded) if cells.row.cells[column] else None


def _owned(cells: CellReader, column: str, loaded: _Loaded, *, key: str | None = None) -> Plant:
    return _known(cells, column, loaded.plants, "plants of this demo", key=key)


def _taxon(cells: CellReader, column: str, name: str) -> Taxon:
    found = Taxon.objects.in_bulk([name], field_name="name")
    return _known(cells, column, found, "taxa that are loaded", key=name)


def _bloom_season(cells: CellReader, loaded: _Loaded) -> None:
    first, last = cells.day("first_flower_on", needed=True), cells.day("last_flower_on")
    if first is None:
        return
    flowered = _owned(cells, "plant", loaded)
    bloom.bloom_season_record(
        actor=flowered.grower,
        plant=flowered,
        first_flower_on=first,
        first_precision=cells.text("first_precision"),
        last_flower_on=last,
        last_precision=cells.text("last_precision"),
    )


def _bloom_said(cells: CellReader, loaded: _Loaded) -> None:
    flowered = _owned(cells, "plant", loaded)
    bloom.bloom_said_set(
        actor=flowered.grower,
        plant=flowered,
        all_year=cells.choice("all_year", YES_NO) == "yes",
        weak_months=_numbers(cells, "weak_months"),
        first_month=cells.integer("first_month", 1, 12),
        first_day=cells.integer("first_day", 1, 31),
        last_month=cells.integer("last_month", 1, 12),
        last_day=cells.integer("last_day", 1, 31),
        precision=cells.text("precision", needed=False) or "month_third",
    )


def _bloom_sighting(cells: CellReader, loaded: _Loaded) -> None:
    flowered, seen_on = _owned(cells, "plant", loaded), cells.day("seen_on", needed=True)
    kind = cells.choice("kind", BloomSighting.Kind.values)
    if seen_on is None or not kind:
        return
    actor = flowered.grower
    if kind == BloomSighting.Kind.BUD:
        stage = cells.text("bud_stage")
        bloom.bloom_bud_seen(actor=actor, plant=flowered, seen_on=seen_on, bud_stage=stage)
    elif kind == BloomSighting.Kind.NOT_YET:
        bloom.bloom_not_yet(actor=actor, plant=flowered, seen_on=seen_on)
    elif kind == BloomSighting.Kind.SEASON_OVER:
        bloom.bloom_season_over(actor=actor, plant=flowered, seen_on=seen_on)
    else:
        count = cells.integer("flower_count", 0, 999, needed=True) or 0
        bloom.bloom_flowers_count(actor=actor, plant=flowered, seen_on=seen_on, flower_count=count)


def _offer(cells: CellReader, loaded: _Loaded) -> None:
    given = _owned(cells, "plant", loaded)
    fields: OfferFields = {
        "treatment": cells.text("treatment"),
        "packing": cells.text("packing"),
        "doses": cells.integer("doses", 1, 999, needed=True) or 1,
        "doses_per_flower": cells.integer("doses_per_flower", 1, 50, needed=True) or 1,
        "posts_on_saturday": cells.choice("posts_on_saturday", YES_NO) == "yes",
    }
    kind = cells.choice("kind", Offer.Kind.values)
    if kind == Offer.Kind.ON_REQUEST:
        for column in ("collected_on", "store"):
            if cells.row.cells[column]:
                cells.refuse(column, cells.row.cells[column], "nothing on request", code="not_allowed")
        loaded.offers.append(offer_create(actor=given.grower, plant=given, **fields))
        return
    collected_on = cells.day("collected_on", needed=kind == Offer.Kind.IN_HAND)
    if kind and collected_on is not None:
        store = cells.text("store")
        made = offer_in_hand_create(
            actor=given.grower, plant=given, collected_on=collected_on, store=store, **fields
        )
        loaded.offers.append(made)


def _wanted_cross(cells: CellReader, loaded: _Loaded) -> None:
    seed_parent = _owned(cells, "seed_parent", loaded)
    fields: WantedCrossFields = {
        "pollen_groups": _words(cells, "pollen_groups"),
        "traits": _words(cells, "traits"),
        "flowers": cells.integer("flowers", 1, 12, needed=True) or 1,
    }
    least_chance = cells.number("least_chance", 0, 1)
    if least_chance is not None:
        fields["least_chance"] = least_chance
    plants = [_owned(cells, "pollen_plants", loaded, key=key) for key in _list(cells, "pollen_plants")]
    taxa = [_taxon(cells, "pollen_taxa", name) for name in _list(cells, "pollen_taxa")]
    made = wanted_cross_create(
        actor=seed_parent.grower, seed_parent=seed_parent, pollen_plants=plants, pollen_taxa=taxa, **fields
    )
    loaded.wanted_crosses.append(made)


READERS: dict[str, Reader] = {
    "grower": _grower,
    "site": _site,
    "cultivar": _cultivar,
    "plant": _plant,
    "bloom_season": _bloom_season,
    "bloom_said": _bloom_said,
    "bloom_sighting": _bloom_sighting,
    "offer": _offer,
    "wanted_cross": _wanted_cross,
    "border_note": _border_note,
}
COLUMNS: dict[str, tuple[str, ...]] = {
    "grower": ("handle", "name", "zone", "units", "countries_shipped_to", "credit_line"),
    "site": ("grower", "name", "country", "latitude_deg", "longitude_deg", "water"),
    "cultivar": (
        "name",
        "rank",
        "group",
        "origin_groups",
        "diel",
        "flower_days",
        "pollen_first_day",
        "pollen_last_day",
        "chromosome_counts",
        "ploidy",
    ),
    "plant": (
        "grower",
        "site",
        "number",
        "name_as_grown",
        "taxon",
        "crowns",
        "traits",
        "seed_parent",
        "pollen_parent",
        "origin",
        "group",
    ),
    "bloom_season": ("plant", "first_flower_on", "first_precision", "last_flower_on", "last_precision"),
    "bloom_said": (
        "plant",
        "all_year",
        "weak_months",
        "first_month",
        "first_day",
        "last_month",
        "last_day",
        "precision",
    ),
    "bloom_sighting": ("plant", "seen_on", "kind", "bud_stage", "flower_count"),
    "offer": (
        "plant",
        "kind",
        "treatment",
        "packing",
        "doses",
        "doses_per_flower",
        "posts_on_saturday",
        "collected_on",
        "store",
    ),
    "wanted_cross": (
        "seed_parent",
        "pollen_plants",
        "pollen_taxa",
        "pollen_groups",
        "traits",
        "flowers",
        "least_chance",
    ),
    "border_note": ("kind", "taxon", "origin", "destination", "text", "source", "checked_on"),
}
