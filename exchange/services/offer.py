"""Offers: pollen a grower gives of one of their plants."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, TypedDict, Unpack

from django.db import transaction

from exchange.models import CarrierService, Lot, Offer, Store
from exchange.models.offer import OpenState
from exchange.selectors.packing import Box
from exchange.services.carrier_service import carrier_service_check
from exchange.services.lot import lot_begin, treatment_fits_check
from exchange.services.offer_due import still_true_cancel, still_true_set
from exchange.services.open_state import state_change
from exchange.services.outlook import outlook_renew
from exchange.services.packing import box_check
from exchange.services.store import store_of_kind
from exchange.services.supply import supply_open
from exchange.services.term import default_terms, terms_checked
from growers import clock, place
from growers.errors import NotFound
from growers.models import Change, Fertility, Grower, Plant
from growers.services import after_commit
from growers.services.plant import own_plant
from growers.services.problem import Problems
from growers.services.row import as_list, columns_check, fields_set, row_save

RANGES = {"doses": (1, 999), "doses_per_flower": (1, 50)}


class OfferFields(TypedDict, total=False):
    """What a donor may say of an offer."""

    treatment: str
    packing: str
    box: Box | None
    doses: int
    doses_per_flower: int
    countries: Sequence[str]
    carrier_service: CarrierService | None
    posts_on_saturday: bool
    collected_before_cut_off: bool
    note: str
    terms: Sequence[Mapping[str, Any]]


def offer_create(*, actor: Grower, plant: Plant, **fields: Unpack[OfferFields]) -> Offer:
    """Offer pollen of one's own plant, to be collected in bloom; countries and terms default to the grower's.

    Raises ``NotFound`` for a plant of another, ``InvalidInput`` for a plant without working pollen.
    """
    return _offer_write(actor, plant, Offer.Kind.ON_REQUEST, fields, lot=None)


def offer_in_hand_create(
    *,
    actor: Grower,
    plant: Plant,
    collected_on: date,
    store: str,
    **fields: Unpack[OfferFields],
) -> Offer:
    """Offer pollen that exists: one lot of one's own plant, with the day it was collected and its store."""
    lot = Lot(plant=plant, collected_on=collected_on)
    return _offer_write(actor, plant, Offer.Kind.IN_HAND, fields, lot=lot, store=store)


def offer_pause(*, actor: Grower, offer: Offer) -> Offer:
    """Take an offer out of matching for a while."""
    return _offer_state(actor, offer, OpenState.PAUSED)


def offer_reopen(*, actor: Grower, offer: Offer) -> Offer:
    """Bring a paused offer back."""
    return _offer_state(actor, offer, OpenState.OPEN)


def offer_close(*, actor: Grower, offer: Offer) -> Offer:
    """End an offer for good."""
    return _offer_state(actor, offer, OpenState.CLOSED)


def own_offer(actor: Grower, offer: Offer) -> Offer:
    """The locked row of an offer of the actor; to others there is none. Supplies are locked before it."""
    rows = Offer.objects.select_for_update(of=("self",)).select_related("plant__site", "plant__grower")
    own = rows.filter(pk=offer.pk, plant__grower=actor).first()
    if own is None:
        raise NotFound("There is no such offer.")
    return own


def _offer_state(actor: Grower, offer: Offer, state: OpenState) -> Offer:
    with transaction.atomic():
        own = own_offer(actor, offer)
        own.state = state_change(own.state, state, what="offer")
        if state == OpenState.OPEN:
            still_true_set(own, clock.now())
        else:
            still_true_cancel(own)
        row_save(own, kind=Change.Kind.OFFER, names=["state", "confirmed_at", "still_true_asked_at"])
        after_commit.start("exchange.matching")
    return own


def _offer_write(
    actor: Grower,
    plant: Plant,
    kind: Offer.Kind,
    fields: OfferFields,
    *,
    lot: Lot | None,
    store: str = "",
) -> Offer:
    with transaction.atomic():
        own = own_plant(actor, plant)
        usual = default_terms(actor.default_terms)
        now = clock.now()
        offer = Offer(
            plant=own, kind=kind, countries=actor.countries_shipped_to, terms=usual, confirmed_at=now
        )
        fields_set(offer, fields, OfferFields.__annotations__)
        _offer_check(offer, lot, store, fields.get("terms"))
        row_save(offer, kind=Change.Kind.OFFER)
        still_true_set(offer, now)
        after_commit.start("exchange.matching")
        if lot is None:
            supply_open(offer=offer, total=offer.doses)
        else:
            lot.offer, lot.plant, lot.doses, lot.treatment = offer, own, offer.doses, offer.treatment
            lot.store = store_of_kind(actor, store)
            lot_begin(lot, actor=actor)
    if lot is not None:
        outlook_renew(lot)
    return offer


def _offer_check(
    offer: Offer, lot: Lot | None, store: str, terms: Sequence[Mapping[str, Any]] | None
) -> None:
    problems = Problems()
    if terms is not None:
        offer.terms = terms_checked(terms, problems)
    columns_check(offer, problems, ranges=RANGES, names=OfferFields.__annotations__)
    if offer.plant.pollen_fertility == Fertility.NO:
        problems.add("plant", offer.plant.name_as_grown, "a plant with working pollen")
    countries_check(offer, problems)
    box_check(offer, problems, stated=True)
    carrier_service_check(offer.carrier_service, offer.plant.grower, offer.plant.site, problems)
    if lot is None and offer.treatment == "frozen":
        problems.add("treatment", offer.treatment, "fresh or dried; frozen pollen is a lot in hand")
    if lot is not None:
        lot_check(lot.collected_on, store, offer, problems)
    problems.refuse_if_any()


def countries_check(offer: Offer, problems: Problems) -> None:
    """Note what is no country in an offer's list."""
    offer.countries = as_list(offer.countries)
    if not isinstance(offer.countries, list):
        problems.add("countries", offer.countries, "a list of country codes")
        return
    for country in offer.countries:
        if country not in place.countries():
            problems.add("countries", country, "ISO 3166 codes of two capital letters such as FR")


def lot_check(collected_on: date, store: str, offer: Offer, problems: Problems) -> None:
    """Note what does not fit a lot of an offer: a day in the future, a store its treatment cannot be in."""
    today = clock.today(offer.plant.site.cell_zone)
    if store not in Store.Kind.values:
        problems.add("store", store, ", ".join(Store.Kind.values))
    elif not problems.has("treatment"):
        treatment_fits_check(offer.treatment, store, problems)
    if collected_on > today:
        problems.add("collected_on", collected_on, f"a day up to today, {today}")
