"""Builders of rows for tests; each calls the services, so that a test starts from what they allow."""

from collections.abc import Sequence
from datetime import date
from typing import Unpack

from exchange.models import Offer, WantedCross
from exchange.services.offer import OfferFields, offer_create, offer_in_hand_create
from exchange.services.wanted_cross import WantedCrossFields, wanted_cross_create
from growers.models import BloomSeason, Grower, Plant, Site, Taxon
from growers.services.bloom import bloom_season_record
from growers.services.grower import GrowerFields, grower_create
from growers.services.plant import plant_create
from growers.services.plant_rule import PlantFacts
from growers.services.site import SiteFields, site_create
from growers.services.taxon import TaxonFields, taxon_create


def make_grower(known_as: str = "grower", **fields: Unpack[GrowerFields]) -> Grower:
    """A grower known by this handle, with an address made of it."""
    stated = GrowerFields(handle=known_as, email=f"{known_as}@example.org")
    stated.update(fields)
    return grower_create(**stated)


def make_site(grower: Grower, *, keep_exact: bool = False, **fields: Unpack[SiteFields]) -> Site:
    """A site of a grower: "pond", in the cell with the centre 48.75° N, 2.25° E, unless stated otherwise."""
    stated = SiteFields(name="pond", country="FR", latitude_deg=48.85, longitude_deg=2.35)
    stated.update(fields)
    return site_create(actor=grower, keep_exact=keep_exact, **stated)


def make_plant(grower: Grower, *, site: Site | None = None, **fields: Unpack[PlantFacts]) -> Plant:
    """A plant at the grower's first site; day-blooming and hardy where neither that nor a taxon is stated."""
    place = site or Site.objects.filter(grower=grower).order_by("pk").first() or make_site(grower)
    stated = PlantFacts() if fields.get("taxon") else PlantFacts(group="hardy", diel="day")
    stated.update(fields)
    return plant_create(actor=grower, site=place, **stated)


def make_taxon(**fields: Unpack[TaxonFields]) -> Taxon:
    """An invented hardy cultivar: a flower of three days, pollen on the second and third."""
    source = {"source": "invented for a test", "status": "judgement"}
    stated = TaxonFields(
        name="Nymphaea 'Invented'",
        rank="cultivar",
        group="hardy",
        diel="day",
        flower_days=3,
        receptive_day=1,
        pollen_first_day=2,
        pollen_last_day=3,
        sources=dict.fromkeys(("group", "flower", "hours", "chromosomes", "fertility"), source),
        invented=True,
    )
    stated.update(fields)
    return taxon_create(**stated)


def make_season(plant: Plant, first: date, last: date | None = None) -> BloomSeason:
    """A season of a plant on record."""
    return bloom_season_record(actor=plant.grower, plant=plant, first_flower_on=first, last_flower_on=last)


def make_offer(plant: Plant, **fields: Unpack[OfferFields]) -> Offer:
    """An offer on request by the plant's grower: four doses, dried, unless stated otherwise."""
    stated = OfferFields(treatment="dried", doses=4)
    stated.update(fields)
    return offer_create(actor=plant.grower, plant=plant, **stated)


def make_offer_in_hand(
    plant: Plant, collected_on: date, *, store: str = "refrigerator", **fields: Unpack[OfferFields]
) -> Offer:
    """An offer of one lot by the plant's grower: four doses, dried, unless stated otherwise."""
    stated = OfferFields(treatment="dried", doses=4)
    stated.update(fields)
    return offer_in_hand_create(
        actor=plant.grower, plant=plant, collected_on=collected_on, store=store, **stated
    )


def make_wanted_cross(
    seed_parent: Plant,
    *,
    pollen_plants: Sequence[Plant] = (),
    pollen_taxa: Sequence[Taxon] = (),
    **fields: Unpack[WantedCrossFields],
) -> WantedCross:
    """A wanted cross by the seed parent's grower, of anything unless stated otherwise."""
    return wanted_cross_create(
        actor=seed_parent.grower,
        seed_parent=seed_parent,
        pollen_plants=pollen_plants,
        pollen_taxa=pollen_taxa,
        **fields,
    )
