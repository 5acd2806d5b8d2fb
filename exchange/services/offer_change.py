"""Upkeep of one's own offers: what may change, what is kept back, whether they still hold."""

from collections.abc import Mapping, Sequence
from typing import Any, TypedDict, Unpack

from django.db import transaction

from exchange.models import CarrierService, Offer, Supply
from exchange.models.offer import OpenState
from exchange.selectors.packing import Box
from exchange.services.carrier_service import carrier_service_check
from exchange.services.deal import announce, offer_lock
from exchange.services.offer import RANGES, countries_check, offer_pause, own_offer
from exchange.services.offer_due import still_true_set
from exchange.services.offer_part import Part, part_of
from exchange.services.packing import box_check
from exchange.services.supply import kept_back_set, total_set
from exchange.services.term import terms_checked
from growers import clock
from growers.errors import Conflict
from growers.models import Change, Grower
from growers.services import after_commit
from growers.services.problem import Problems
from growers.services.row import columns_check, fields_set, row_save


class OfferChanges(TypedDict, total=False):
    """What may change in an offer; another treatment is another offer."""

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


def offer_update(*, actor: Grower, offer: Offer, **fields: Unpack[OfferChanges]) -> Offer:
    """Change one's own offer that is not closed; whoever does so says that it holds.

    Terms that were agreed to stay as they were. ``doses`` is how many there are in all, promised and sent
    ones too. Raises ``NotFound`` for others, ``InvalidInput`` as for a new offer, ``Conflict`` for a closed
    one, for fewer doses than are spoken for, or once doses are counted in lots of their own.
    """
    with transaction.atomic():
        supplies = offer_lock(offer)
        own = own_offer(actor, offer)
        _open_check(own)
        fields_set(own, fields, OfferChanges.__annotations__)
        _check(own, fields)
        if "doses" in fields:
            _doses_set(own, supplies)
        confirmed = _confirmed(own)
        row_save(own, kind=Change.Kind.OFFER, names=[*fields, "box", *confirmed])
        after_commit.start("exchange.matching")
    return own


def offer_still_true(*, actor: Grower, offer: Offer) -> Offer:
    """Say that one's own offer still holds; one that rests for want of an answer is open again.

    Raises ``NotFound`` for others, ``Conflict`` for an offer that is closed or that its donor paused.
    """
    with transaction.atomic():
        own = own_offer(actor, offer)
        _open_check(own)
        rests = own.state == OpenState.PAUSED
        if rests and own.still_true_asked_at is None:
            raise Conflict("You have paused the offer yourself; reopen it.")
        own.state = OpenState.OPEN
        row_save(own, kind=Change.Kind.OFFER, names=["state", *_confirmed(own)])
        if rests:
            after_commit.start("exchange.matching")
    return own


def offer_keep_back(*, actor: Grower, offer: Offer, doses: int, part: Part = None) -> Offer:
    """Keep so many doses of a part of one's own offer for oneself; what is promised or sent stays so.

    Raises ``NotFound`` for others, ``InvalidInput`` below nothing, ``DosesShort`` beyond what is free.
    """
    with transaction.atomic():
        supplies = offer_lock(offer)
        own = own_offer(actor, offer)
        problems = Problems()
        if doses < 0:
            problems.add("doses", doses, "0 or more")
        problems.refuse_if_any()
        kept_back_set(part_of(supplies, part), doses)
        announce(own)
    return own


def offers_pause_all(*, actor: Grower) -> int:
    """Take all one's open offers out of matching at once; how many are paused now."""
    with transaction.atomic():
        mine = Offer.objects.filter(plant__grower=actor)
        for offer in mine.filter(state=OpenState.OPEN).order_by("pk"):
            offer_pause(actor=actor, offer=offer)
        return mine.filter(state=OpenState.PAUSED).count()


def _open_check(offer: Offer) -> None:
    if offer.state == OpenState.CLOSED:
        raise Conflict("The offer is closed; make a new one.")


def _confirmed(offer: Offer) -> tuple[str, str]:
    """Note that it holds; the names of what was set. A paused offer is not asked about."""
    if offer.state == OpenState.OPEN:
        still_true_set(offer, clock.now())
    return "confirmed_at", "still_true_asked_at"


def _check(offer: Offer, fields: OfferChanges) -> None:
    problems = Problems()
    if "terms" in fields:
        offer.terms = terms_checked(fields["terms"], problems)
    columns_check(offer, problems, ranges=RANGES, names=fields.keys())
    if "countries" in fields:
        countries_check(offer, problems)
    if {"packing", "box"} & fields.keys():
        box_check(offer, problems, stated="box" in fields)
    if "carrier_service" in fields:
        carrier_service_check(offer.carrier_service, offer.plant.grower, offer.plant.site, problems)
    problems.refuse_if_any()


def _doses_set(offer: Offer, supplies: Sequence[Supply]) -> None:
    if len(supplies) != 1:
        raise Conflict("Some of it has been collected; note each lot, or say that one came up short.")
    (supply,) = supplies
    spoken_for = supply.kept_back + supply.reserved + supply.sent
    if offer.doses < spoken_for:
        raise Conflict(
            f"{spoken_for} doses are promised, sent or kept back; if there is less pollen, say that it came"
            " up short."
        )
    total_set(supply, offer.doses)
    if supply.lot is not None:
        supply.lot.doses = offer.doses
        supply.lot.save(update_fields=["doses"])
