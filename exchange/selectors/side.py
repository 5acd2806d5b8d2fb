"""Offers and wanted crosses as the matching takes them."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Literal

from exchange.matching.side import Bloom, CrossWanted, Fertility, LotInHand, Parent, PollenOffer
from exchange.models import Agreement, Lot, Offer, WantedCross
from exchange.models.offer import OpenState
from exchange.science import constants
from exchange.science.viability import Treatment
from exchange.selectors.bloom_forecast import blooms
from exchange.selectors.border import BorderNotes, border_notes
from exchange.selectors.lane_seen import LanesSeen, lanes_seen
from exchange.selectors.stock import Part, Stock, stocks
from growers import clock
from growers.models import Plant, Taxon

Role = Literal["seed", "pollen"]
DRYING_DAYS = round(constants.DRYING_HOURS.value / constants.HOURS_PER_DAY.value)


@dataclass(frozen=True)
class Market:
    """Everything open on one day: rows and, by key, what the matching takes.

    ``kept`` are offers as they are to a wanted cross for which a lot holds doses, by both rows' keys.
    """

    today: date
    offers: dict[str, tuple[Offer, PollenOffer]]
    wanted: dict[str, tuple[WantedCross, CrossWanted]]
    notes: BorderNotes
    lanes: LanesSeen
    kept: dict[tuple[int, int], PollenOffer] = field(default_factory=dict)

    def offer_to(self, row: Offer, wanted_row: WantedCross, offer: PollenOffer) -> PollenOffer:
        """An offer as it is to one wanted cross."""
        return self.kept.get((row.pk, wanted_row.pk), offer)


def market(today: date) -> Market:
    """Read all open offers and wanted crosses with the forecasts of their plants.

    An offer in hand of which nothing is left with the donor is none; one whose doses are all promised is.
    """
    rows = list(_open_offers())
    # Read after the offers, so that each has its own; one that was closed meanwhile has nothing left.
    stock = defaultdict(Stock, stocks(clock.now()))
    offers = [row for row in rows if _is_there(row, stock[row.pk], today)]
    crosses = list(_open_crosses())
    plants = {row.plant_id: row.plant for row in offers}
    plants |= {row.seed_parent_id: row.seed_parent for row in crosses}
    forecasts = blooms(list(plants.values()), today)
    defaults = group_defaults()

    def pollen_offer(row: Offer, lot: Lot | None) -> PollenOffer:
        return _pollen_offer(row, stock[row.pk], lot, forecasts[row.plant_id], defaults, today)

    return Market(
        today,
        {str(row.public_id): (row, pollen_offer(row, stock[row.pk].lot_on(today))) for row in offers},
        {
            str(row.public_id): (row, cross_wanted(row, forecasts[row.seed_parent_id], defaults))
            for row in crosses
        },
        border_notes(today),
        lanes_seen(today),
        {
            (row.pk, wanted): pollen_offer(row, lot)
            for row in offers
            for wanted, lot in stock[row.pk].lots_kept.items()
        },
    )


def _is_there(row: Offer, stock: Stock, today: date) -> bool:
    return row.kind == Offer.Kind.ON_REQUEST or stock.lot_on(today) is not None


def _open_offers() -> Iterable[Offer]:
    rows = Offer.objects.filter(state=OpenState.OPEN, plant__grower__closed_at=None).order_by("pk")
    return rows.select_related("plant__taxon", "plant__site", "plant__grower", "carrier_service")


def _open_crosses() -> Iterable[WantedCross]:
    rows = WantedCross.objects.filter(state=OpenState.OPEN, seed_parent__grower__closed_at=None)
    return (
        rows.order_by("pk")
        .select_related("seed_parent__taxon", "seed_parent__site", "seed_parent__grower")
        .prefetch_related("pollen_plants__taxon", "pollen_taxa")
    )


def group_defaults() -> dict[str, Taxon]:
    """The taxon that stands for each group."""
    return {taxon.group: taxon for taxon in Taxon.objects.filter(rank=Taxon.Rank.GROUP)}


def agreed_sides(agreement: Agreement, lot: Lot | None, today: date) -> tuple[PollenOffer, CrossWanted]:
    """The two sides of one agreement, open or not, with the doses and the lot that are kept for it."""
    offer, wanted_cross = agreement.offer, agreement.wanted_cross
    forecasts = blooms([offer.plant, wanted_cross.seed_parent], today)
    defaults = group_defaults()
    kept = Stock((Part(lot, agreement.doses, 0, {}),))
    bloom = forecasts[offer.plant_id]
    given = _pollen_offer(offer, kept, lot, bloom, defaults, today)
    return given, cross_wanted(wanted_cross, forecasts[wanted_cross.seed_parent_id], defaults)


def clone_of(plant: Plant) -> str:
    """The genotype of a plant: its cultivar if it is one and not in doubt, else the plant itself."""
    taxon = plant.taxon
    named = taxon is not None and taxon.rank == Taxon.Rank.CULTIVAR
    return f"cultivar {plant.taxon_id}" if named and plant.identity != "in_doubt" else f"plant {plant.pk}"


def parent(plant: Plant, defaults: dict[str, Taxon], role: Role) -> Parent:
    """A plant as a parent in one role; the flower's clock is its taxon's, or else its group's."""
    taxon = plant.taxon
    flower = taxon or defaults[plant.group]
    seed_fertility, seed_source = _fertility(plant, "seed")
    pollen_fertility, pollen_source = _fertility(plant, "pollen")
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
        fertility_source=seed_source if role == "seed" else pollen_source,
    )


FERTILITY: dict[str, Fertility] = {"yes": "yes", "poor": "poor", "no": "no", "unknown": "unknown"}


def _fertility(plant: Plant, role: Role) -> tuple[Fertility, str]:
    """Fertility in a role, as seen in the plant or else on record for its taxon, and who says so."""
    seen, taxon = getattr(plant, f"{role}_fertility"), plant.taxon
    if seen != "unknown" or taxon is None:
        return FERTILITY[seen], plant.fertility_evidence or "its grower"
    on_record = getattr(taxon, f"{role}_fertility")
    return FERTILITY[on_record], str(taxon.sources.get("fertility", {}).get("source", ""))


def _pollen_offer(
    row: Offer, stock: Stock, lot: Lot | None, bloom: Bloom | None, defaults: dict[str, Taxon], today: date
) -> PollenOffer:
    """An offer with the lot that its pollen is in, or the forecast of the plant that it is collected from.

    Promised and sent doses are among its doses, so that a promise to one changes the plan of nobody.
    """
    return PollenOffer(
        key=str(row.public_id),
        parent=parent(row.plant, defaults, "pollen"),
        country=row.plant.site.cell_country,
        ships_to=frozenset(row.countries),
        treatment=_treatment(lot.treatment if lot else row.treatment),
        doses=max(1, stock.offered),
        doses_per_flower=row.doses_per_flower,
        bloom=None if lot else bloom,
        lot=_lot_in_hand(lot, today) if lot else None,
    )


def changed_offer(offer: PollenOffer, row: Offer) -> PollenOffer:
    """An offer as its row would have it after a change of treatment or countries; the lot stays as it is."""
    treatment = offer.treatment if offer.lot is not None else _treatment(row.treatment)
    return replace(offer, treatment=treatment, ships_to=frozenset(row.countries))


def _treatment(word: str) -> Treatment:
    return "dried" if word == "dried" else "frozen" if word == "frozen" else "fresh"


def _lot_in_hand(lot: Lot, today: date) -> LotInHand:
    """A lot in its store since it was dried, or collected if fresh; drying is reckoned by itself."""
    drying_days = 0 if lot.treatment == "fresh" else DRYING_DAYS
    stored_days = max(0, (today - lot.collected_on).days - drying_days)
    return LotInHand("freezer" if lot.store.freezes else "refrigerator", stored_days)


def cross_wanted(row: WantedCross, bloom: Bloom | None, defaults: dict[str, Taxon]) -> CrossWanted:
    """A wanted cross with the forecast of its seed parent; what it asks for is loaded."""
    return CrossWanted(
        key=str(row.public_id),
        parent=parent(row.seed_parent, defaults, "seed"),
        country=row.seed_parent.site.cell_country,
        flowers=row.flowers,
        bloom=bloom,
        clones=frozenset(clone_of(plant) for plant in row.pollen_plants.all()),
        taxa=frozenset(taxon.name for taxon in row.pollen_taxa.all()),
        groups=frozenset(row.pollen_groups),
        traits=frozenset(row.traits),
        least_chance=row.least_chance,
    )
