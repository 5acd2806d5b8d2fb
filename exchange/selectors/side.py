"""Offers and wanted crosses as the matching takes them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from exchange.matching.side import Bloom, CrossWanted, Fertility, LotInHand, Parent, PollenOffer
from exchange.models import Lot, Offer, WantedCross
from exchange.models.offer import OpenState
from exchange.science import constants
from exchange.science.thermal_age import constant_temperature_age, rate_factor
from exchange.science.viability import Treatment, prior_draws
from exchange.selectors.bloom_forecast import blooms
from growers.models import Plant, Taxon


@dataclass(frozen=True)
class Market:
    """Everything open on one day: rows and, by key, what the matching takes."""

    today: date
    offers: dict[str, tuple[Offer, PollenOffer]]
    wanted: dict[str, tuple[WantedCross, CrossWanted]]


def market(today: date) -> Market:
    """Read all open offers and wanted crosses with the forecasts of their plants."""
    offers = list(_open_offers())
    crosses = list(_open_crosses())
    plants = {row.plant_id: row.plant for row in offers}
    plants |= {row.seed_parent_id: row.seed_parent for row in crosses}
    forecasts = blooms(list(plants.values()), today)
    defaults = {taxon.group: taxon for taxon in Taxon.objects.filter(rank=Taxon.Rank.GROUP)}
    return Market(
        today,
        {
            str(row.public_id): (row, _pollen_offer(row, forecasts[row.plant_id], defaults, today))
            for row in offers
        },
        {
            str(row.public_id): (row, _cross_wanted(row, forecasts[row.seed_parent_id], defaults))
            for row in crosses
        },
    )


def _open_offers() -> Iterable[Offer]:
    rows = Offer.objects.filter(state=OpenState.OPEN).order_by("pk")
    return rows.select_related("plant__taxon", "plant__site", "plant__grower").prefetch_related("lots")


def _open_crosses() -> Iterable[WantedCross]:
    rows = WantedCross.objects.filter(state=OpenState.OPEN).order_by("pk")
    return rows.select_related(
        "seed_parent__taxon", "seed_parent__site", "seed_parent__grower"
    ).prefetch_related("pollen_plants__taxon", "pollen_taxa")


def clone_of(plant: Plant) -> str:
    """The genotype of a plant: its cultivar if it is one and not in doubt, else the plant itself."""
    taxon = plant.taxon
    named = taxon is not None and taxon.rank == Taxon.Rank.CULTIVAR
    return f"cultivar {plant.taxon_id}" if named and plant.identity != "in_doubt" else f"plant {plant.pk}"


def parent(plant: Plant, defaults: dict[str, Taxon]) -> Parent:
    """A plant as a parent; the flower's clock is its taxon's, or else its group's."""
    taxon = plant.taxon
    flower = taxon or defaults[plant.group]
    seed_fertility, pollen_fertility, source = _fertility(plant, taxon)
    return Parent(
        key=str(plant.public_id),
        name=plant.name_as_grown,
        clone=clone_of(plant),
        groups=tuple(taxon.origin_groups) if taxon and taxon.origin_groups else (plant.group,),
        diel="night" if plant.diel == "night" else "day",
        pollen_first_day=flower.pollen_first_day,
        pollen_last_day=flower.pollen_last_day,
        taxon=taxon.name if taxon else "",
        traits=frozenset(plant.traits),
        chromosome_counts=tuple(plant.chromosome_counts or (taxon.chromosome_counts if taxon else ())),
        seed_fertility=seed_fertility,
        pollen_fertility=pollen_fertility,
        fertility_source=source,
    )


FERTILITY: dict[str, Fertility] = {"yes": "yes", "poor": "poor", "no": "no", "unknown": "unknown"}


def _fertility(plant: Plant, taxon: Taxon | None) -> tuple[Fertility, Fertility, str]:
    """Fertility seen in the plant itself, or else that on record for its taxon: seed, pollen, source."""
    known = plant.seed_fertility != "unknown" or plant.pollen_fertility != "unknown"
    if known or taxon is None:
        evidence = plant.fertility_evidence or "its grower"
        return FERTILITY[plant.seed_fertility], FERTILITY[plant.pollen_fertility], evidence
    source = str(taxon.sources.get("fertility", {}).get("source", ""))
    return FERTILITY[taxon.seed_fertility], FERTILITY[taxon.pollen_fertility], source


def _pollen_offer(row: Offer, bloom: Bloom | None, defaults: dict[str, Taxon], today: date) -> PollenOffer:
    lots = [lot for lot in row.lots.all() if lot.doses]
    lot = min(lots, key=lambda lot: (lot.collected_on, lot.pk)) if lots else None
    return PollenOffer(
        key=str(row.public_id),
        parent=parent(row.plant, defaults),
        country=row.plant.site.cell_country,
        ships_to=frozenset(row.countries),
        treatment=_treatment(lot.treatment if lot else row.treatment),
        doses=row.doses,
        doses_per_flower=row.doses_per_flower,
        bloom=bloom if row.kind == Offer.Kind.ON_REQUEST else None,
        lot=_lot_in_hand(lot, today) if lot and row.kind == Offer.Kind.IN_HAND else None,
    )


def _treatment(word: str) -> Treatment:
    return "dried" if word == "dried" else "frozen" if word == "frozen" else "fresh"


def _lot_in_hand(lot: Lot, today: date) -> LotInHand:
    """Age of a lot: drying, then its store; in a freezer no rate below that of 0 °C is credited."""
    draws = prior_draws(_treatment(lot.treatment))
    stored_days = max(0, (today - lot.collected_on).days)
    store_c = constants.FREEZING_C if lot.store == Lot.Store.FREEZER else constants.STORE_TEMPERATURE_C
    age = stored_days * rate_factor(store_c.value, draws.q10)
    if lot.treatment != "fresh":
        drying_days = constants.DRYING_HOURS.value / constants.HOURS_PER_DAY.value
        age = age + constant_temperature_age(
            drying_days, constants.DRYING_TEMPERATURE_C.value, draws.q10
        ).reshape(-1)
    frozen = lot.store == Lot.Store.FREEZER
    return LotInHand(lot.collected_on, "freezer" if frozen else "refrigerator", age)


def _cross_wanted(row: WantedCross, bloom: Bloom | None, defaults: dict[str, Taxon]) -> CrossWanted:
    return CrossWanted(
        key=str(row.public_id),
        parent=parent(row.seed_parent, defaults),
        country=row.seed_parent.site.cell_country,
        flowers=row.flowers,
        bloom=bloom,
        clones=frozenset(clone_of(plant) for plant in row.pollen_plants.all()),
        taxa=frozenset(taxon.name for taxon in row.pollen_taxa.all()),
        groups=frozenset(row.pollen_groups),
        traits=frozenset(row.traits),
        least_chance=row.least_chance,
    )
