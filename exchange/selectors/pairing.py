"""Pairings as each of their two growers may read them.

What the recipient wants is a breeder's secret: until there is an agreement the donor reads that someone in
a region would like pollen of a plant of theirs, and nothing that tells which plant it is for. So reasons,
cautions and figures that rest on the seed parent are the recipient's alone.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Literal
from uuid import UUID

from django.db.models import BooleanField, Exists, Expression, ExpressionWrapper, OuterRef, Q, QuerySet
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from exchange.models import Notification, Pairing
from exchange.selectors.block import hidden_from
from exchange.wording.catalogue import sentence
from exchange.wording.pairing import (
    basis_sentence,
    bud_wait_sentence,
    chance_sentence,
    decided_sentence,
    posting_sentence,
    two_baskets_sentence,
)
from exchange.wording.papers import papers_record
from exchange.wording.term import terms_worded
from growers import clock
from growers.models import Grower, Plant
from growers.selectors.plant import PlantForOthers, plant_for_others
from growers.selectors.site import Region, region

Role = Literal["donor", "recipient"]
Record = Mapping[str, Any]

DONOR_REASONS = frozenset({"poor_pollen_parent"})
DONOR_CAUTIONS = frozenset(
    {
        "viability_prior_only",
        "frozen_untested",
        "fresh_dies_fast",
        "box_short_cold",
        "doses_over_donor_flowers",
    }
)
"""What concerns the donor's own pollen and parcel; the rest would tell of the seed parent."""

RECIPIENT_CHANGES = frozenset({"change_second_donor"})
"""What would tell a donor that there is another."""

TELLING = (Notification.Kind.PROPOSED, Notification.Kind.CHANGED)
EARLIER_AFTER = timedelta(days=14)
"""A pairing that was told and not seen for so long counts as an earlier proposal (judgement)."""


@dataclass(frozen=True, slots=True)
class Told:
    """A reason, a caution or a line on papers: its code, a sentence in the viewer's language, its figures."""

    code: str
    detail: str
    parameters: Record


@dataclass(frozen=True, slots=True)
class Estimated:
    """A chance with its likely range and what it rests on."""

    estimate: float
    low: float
    high: float
    basis: Record


@dataclass(frozen=True, slots=True)
class Dated:
    """When to post and what decides it; with precision ``season`` a date stands for its week."""

    precision: str
    likeliest_posting: date
    post_on: date | None
    not_later_than: date | None
    decided_by: str | None
    send_at_once: bool | None
    good_first: date | None
    good_last: date | None
    arrival_half: date | None
    arrival_nine_tenths: date | None


@dataclass(frozen=True, slots=True)
class DonorFlowers:
    """Flowers of the donor that the doses take, and the chance that they are there by the posting day."""

    needed: int
    chance: float


@dataclass(frozen=True, slots=True)
class BudWait:
    """A lot that waits for the recipient's bud: how likely it is posted, and what a dose gives then.

    ``better`` compares doses that are posted with those posted on the best day of the forecast.
    """

    posted_chance: float
    each_posted: Estimated
    each_promised: float
    better: bool
    detail: str


@dataclass(frozen=True, slots=True)
class TwoBaskets:
    """The doses in two packets instead of one: ``offer_id`` is the second donor's, None for the same donor.

    Chances are those of at least one capsule.
    """

    with_whom: str
    offer_id: UUID | None
    doses: list[int]
    posting: list[date]
    at_least_one_together: float
    at_least_one_split: float
    gain: float
    basis: Record
    detail: str


@dataclass(frozen=True, slots=True)
class Words:
    """The plan in sentences."""

    chance: str
    posting: str
    decided_by: str
    based_on: str


@dataclass(frozen=True, slots=True)
class OfferSide:
    """The offer: of the viewer's own plant, or of another's with handle and region."""

    offer_id: UUID
    plant: PlantForOthers
    donor: str
    kind: str
    treatment: str
    packing: str
    doses: int
    terms: tuple[Record, ...]


@dataclass(frozen=True, slots=True)
class WantedSide:
    """The wanted cross: all of the viewer's own; of another's only where, roughly, the pollen would go."""

    region: Region
    wanted_cross_id: UUID | None = None
    seed_parent_id: UUID | None = None
    seed_parent_name: str | None = None


@dataclass(frozen=True, slots=True)
class PairingForViewer:
    """One pairing for one of its growers; what is not theirs to read is None or missing."""

    public_id: UUID
    role: Role
    state: str
    earlier: bool
    created_at: datetime
    changed_at: datetime
    offer: OfferSide
    wanted: WantedSide
    each_flower: Estimated
    several_flowers: int
    several: Estimated
    donor_flowers: DonorFlowers | None
    bud_wait: BudWait | None
    two_baskets: TwoBaskets | None
    compatibility: Estimated | None
    lost_chance: float
    dates: Dated
    words: Words
    reasons: tuple[Told, ...]
    cautions: tuple[Told, ...]
    papers: Told | None
    withdrawn_because: Told | None
    smallest_change: Told | None
    allocated_doses: int
    allocation_reason: Told | None
    timeline: Record | None


def pairings_of(grower: Grower) -> QuerySet[Pairing]:
    """The pairings that a grower is a side of, with all that is shown of them; blocked ones are hidden.

    ``earlier`` is true of one that stands and was told long ago without being seen or told anew since.
    """
    return with_earlier(grower, pairings_between(grower.pk, hidden_from(grower))).select_related(
        "offer__plant__grower",
        "offer__plant__site",
        "offer__plant__taxon",
        "wanted_cross__seed_parent__grower",
        "wanted_cross__seed_parent__site",
    )


def pairings_between(grower_id: int, hidden: frozenset[int]) -> QuerySet[Pairing]:
    """The pairings that a grower is a side of and none of those hidden from them."""
    # Not by way of joined plants: with each further join the database plans twice as long.
    own = Plant.objects.filter(grower=grower_id).values("pk")
    given = Q(offer__plant__in=own) & ~Q(wanted_cross__seed_parent__grower__in=hidden)
    taken = Q(wanted_cross__seed_parent__in=own) & ~Q(offer__plant__grower__in=hidden)
    return Pairing.objects.filter(given | taken)


def with_earlier(grower: Grower, pairings: QuerySet[Pairing, Any]) -> QuerySet[Pairing, Any]:
    """The query with ``earlier`` beside each pairing."""
    return pairings.annotate(earlier=_earlier(grower))


def _earlier(grower: Grower) -> Expression:
    """A run may have written the pairing anew since it was told, so the pair counts, not the row."""
    told = Notification.objects.filter(
        grower=grower,
        kind__in=TELLING,
        pairing__offer=OuterRef("offer"),
        pairing__wanted_cross=OuterRef("wanted_cross"),
    )
    fresh = told.filter(Q(read_at__isnull=False) | Q(created_at__gt=clock.now() - EARLIER_AFTER))
    stands = Q(state=Pairing.State.SUGGESTED)
    return ExpressionWrapper(stands & Exists(told) & ~Exists(fresh), output_field=BooleanField())


def pairings_for(viewer: Grower, pairings: Iterable[Pairing]) -> list[PairingForViewer]:
    """Pairings of ``pairings_of`` for the eyes of one of their growers; no further query."""
    return [_for_viewer(viewer, row) for row in pairings]


def _for_viewer(viewer: Grower, row: Pairing) -> PairingForViewer:
    plan = row.plan
    # Nobody is paired with themselves: whoever is the donor is not the breeder.
    secret_kept = row.offer.plant.grower_id == viewer.pk
    return PairingForViewer(
        public_id=row.public_id,
        role="donor" if secret_kept else "recipient",
        state=row.state,
        earlier=bool(row.earlier),  # type: ignore[attr-defined]
        created_at=row.created_at,
        changed_at=row.changed_at,
        offer=_offer_side(row),
        wanted=_wanted_side(row, secret_kept=secret_kept),
        each_flower=_estimated(plan["each_flower"]),
        several_flowers=plan["several"]["flowers"],
        several=_estimated(plan["several"]),
        donor_flowers=DonorFlowers(**plan["donor_flowers"]) if plan.get("donor_flowers") else None,
        bud_wait=_bud_wait(row),
        two_baskets=None if secret_kept else _two_baskets(row),
        compatibility=None if secret_kept else _estimated(plan["compatibility"]),
        lost_chance=plan["lost_chance"],
        dates=_dated(plan),
        words=_words(row),
        reasons=_all_told(_reasons(row, secret_kept=secret_kept)),
        cautions=_all_told(_cautions(row, secret_kept=secret_kept)),
        papers=_papers(row, row.papers, secret_kept=secret_kept),
        withdrawn_because=_papers(row, row.withdrawn_because, secret_kept=secret_kept),
        smallest_change=_smallest_change(row, secret_kept=secret_kept),
        allocated_doses=row.allocated_doses,
        allocation_reason=None if secret_kept or not row.allocation else _told(row.allocation["reason"]),
        # Lists leave it in the table.
        timeline=row.timeline if "timeline" not in row.get_deferred_fields() else None,
    )


def _offer_side(row: Pairing) -> OfferSide:
    offer = row.offer
    return OfferSide(
        offer_id=offer.public_id,
        plant=plant_for_others(offer.plant),
        donor=offer.plant.grower.handle,
        kind=offer.kind,
        treatment=offer.treatment,
        packing=offer.packing,
        doses=offer.doses,
        terms=tuple(terms_worded(offer.terms, get_language() or "en")),
    )


def _wanted_side(row: Pairing, *, secret_kept: bool) -> WantedSide:
    wanted = row.wanted_cross
    seed_parent = wanted.seed_parent
    where = region(seed_parent.site)
    if secret_kept:
        return WantedSide(where)
    return WantedSide(where, wanted.public_id, seed_parent.public_id, seed_parent.name_as_grown)


def _estimated(record: Record) -> Estimated:
    return Estimated(record["estimate"], record["low"], record["high"], record["basis"])


def _dated(plan: Record) -> Dated:
    dates = plan["dates"] or {}
    names = ("post_on", "not_later_than", "good_first", "good_last", "arrival_half", "arrival_nine_tenths")
    days = {name: date.fromisoformat(dates[name]) if dates.get(name) else None for name in names}
    return Dated(
        precision=plan["precision"],
        likeliest_posting=date.fromisoformat(plan["likeliest_posting"]),
        decided_by=dates.get("decided_by"),
        send_at_once=dates.get("send_at_once"),
        **days,
    )


def _bud_wait(row: Pairing) -> BudWait | None:
    # Plans of before it was reckoned have none.
    wait = row.plan.get("bud_wait")
    if not wait:
        return None
    each = _estimated(wait["each_posted"])
    return BudWait(**{**wait, "each_posted": each}, detail=bud_wait_sentence(row))


def _two_baskets(row: Pairing) -> TwoBaskets | None:
    baskets = row.plan.get("two_baskets") or {}
    if "doses" not in baskets:
        return None
    figures = ("with_whom", "at_least_one_together", "at_least_one_split", "gain", "basis")
    return TwoBaskets(
        offer_id=UUID(baskets["offer"]) if baskets["offer"] else None,
        doses=baskets["doses"],
        posting=[date.fromisoformat(day) for day in baskets["posting"]],
        detail=two_baskets_sentence(row),
        **{name: baskets[name] for name in figures},
    )


def _smallest_change(row: Pairing, *, secret_kept: bool) -> Told | None:
    change = row.smallest_change
    if change is None or (secret_kept and change["code"] in RECIPIENT_CHANGES):
        return None
    return _told(change)


def _words(row: Pairing) -> Words:
    return Words(chance_sentence(row), posting_sentence(row), decided_sentence(row), basis_sentence(row))


def _reasons(row: Pairing, *, secret_kept: bool) -> list[Record]:
    """Reasons; a donor's own words on the fertility of their plant are not passed on."""
    kept = [record for record in row.reasons if not secret_kept or record["code"] in DONOR_REASONS]
    return [
        _with_source(record, row.offer.plant) if record["code"] == "poor_pollen_parent" else record
        for record in kept
    ]


def _with_source(record: Record, plant: Plant) -> Record:
    public = str(plant.taxon.sources.get("fertility", {}).get("source", "")) if plant.taxon else ""
    source = record["parameters"]["source"]
    told = source if source == public and source else _("its grower")
    return {**record, "parameters": {**record["parameters"], "source": told}}


def _cautions(row: Pairing, *, secret_kept: bool) -> list[Record]:
    return [record for record in row.cautions if not secret_kept or record["code"] in DONOR_CAUTIONS]


def _papers(row: Pairing, record: Record | None, *, secret_kept: bool) -> Told | None:
    """A line on papers; it says less where the other's region does not tell the country."""
    if record is None:
        return None
    other = row.wanted_cross.seed_parent.site if secret_kept else row.offer.plant.site
    return _told(papers_record(record, other))


def _all_told(records: Iterable[Record]) -> tuple[Told, ...]:
    return tuple(map(_told, records))


def _told(record: Record) -> Told:
    parameters = record["parameters"]
    return Told(record["code"], sentence(record["code"], parameters), parameters)
