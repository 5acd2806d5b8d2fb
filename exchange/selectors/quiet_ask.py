"""Quiet asks: what an owner is asked, and whom the engine may ask; whoever asks is never shown any of it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Q, QuerySet

from exchange.models import Agreement, Offer, Pairing, QuietAsk, WantedCross
from exchange.models.offer import OpenState
from exchange.selectors.block import hidden_from
from exchange.wording.quiet_ask import quiet_ask_sentence
from growers import clock
from growers.models import Grower, Plant
from growers.selectors.site import Region, region

OPEN_FOR = timedelta(days=30)
"""An unanswered question goes away by itself after so long (judgement)."""

ANSWER_HOLDS = timedelta(days=300)
"""Of a plant that was spoken of, nobody asks again before the next season (judgement)."""

ALIVE = (Agreement.State.PROPOSED, Agreement.State.AGREED)


@dataclass(frozen=True, slots=True)
class QuietAskForOwner:
    """One question for the owner of the plant: never who asks, or for which seed parent."""

    public_id: UUID
    plant_id: UUID
    plant_name: str
    region: Region
    asked_on: date
    answer_by: date
    detail: str
    answer: str | None


def quiet_asks_of(grower: Grower) -> QuerySet[QuietAsk]:
    """Questions to a grower: the open ones, and those they have answered."""
    rows = QuietAsk.objects.filter(_open(clock.now()) | ~Q(answer=""), plant__grower=grower)
    shown = rows.exclude(answer="", wanted_cross__seed_parent__grower__in=hidden_from(grower))
    return shown.select_related("plant", "wanted_cross__seed_parent__site")


def quiet_asks_for(owner: Grower, asks: Iterable[QuietAsk]) -> list[QuietAskForOwner]:
    """Loaded questions for the eyes of their owner."""
    return [_for_owner(owner, ask) for ask in asks]


def quiet_asks_open(now: datetime) -> QuerySet[QuietAsk]:
    """Questions that wait for an answer, and could still have one."""
    return QuietAsk.objects.filter(_open(now))


def plants_to_ask(now: datetime) -> QuerySet[Plant]:
    """Plants not on offer whose owners may be asked, and have not spoken of them lately or said never."""
    of_plant = QuietAsk.objects.filter(plant=OuterRef("pk"))
    spoken = Q(answer="") | Q(answer=QuietAsk.Answer.NEVER) | Q(answered_at__gt=now - ANSWER_HOLDS)
    rows = Plant.objects.filter(~_offered("pk"), ~Exists(of_plant.filter(spoken)))
    open_to_it = rows.filter(grower__may_be_asked=True, grower__closed_at=None)
    return open_to_it.select_related("taxon", "site", "grower").order_by("pk")


def crosses_unserved() -> QuerySet[WantedCross]:
    """Open wanted crosses that no pairing serves as well as asked for; the oldest first."""
    same = {"wanted_cross": OuterRef("pk")}
    good_enough = Q(state=Pairing.State.SUGGESTED, chance__gte=OuterRef("least_chance"))
    served = Exists(Pairing.objects.filter(good_enough, **same))
    agreed = Exists(Agreement.objects.filter(state__in=ALIVE, **same))
    rows = WantedCross.objects.filter(
        ~served, ~agreed, state=OpenState.OPEN, seed_parent__grower__closed_at=None
    )
    related = rows.select_related("seed_parent__taxon", "seed_parent__site", "seed_parent__grower")
    return related.prefetch_related("pollen_plants__taxon", "pollen_taxa").order_by("created_at", "pk")


def _open(now: datetime) -> Q:
    asker = Q(wanted_cross__state=OpenState.OPEN, wanted_cross__seed_parent__grower__closed_at=None)
    owner = Q(plant__grower__may_be_asked=True, plant__grower__closed_at=None)
    return Q(~_offered("plant"), asker, owner, answer="", created_at__gt=now - OPEN_FOR)


def _offered(plant: str) -> Exists:
    offers = Offer.objects.filter(plant=OuterRef(plant)).exclude(state=OpenState.CLOSED)
    return Exists(offers)


def _for_owner(owner: Grower, ask: QuietAsk) -> QuietAskForOwner:
    where, zone = region(ask.wanted_cross.seed_parent.site), ZoneInfo(owner.zone)
    return QuietAskForOwner(
        public_id=ask.public_id,
        plant_id=ask.plant.public_id,
        plant_name=ask.plant.name_as_grown,
        region=where,
        asked_on=ask.created_at.astimezone(zone).date(),
        answer_by=(ask.created_at + OPEN_FOR).astimezone(zone).date(),
        detail=quiet_ask_sentence(ask.plant.name_as_grown, where),
        answer=ask.answer or None,
    )
