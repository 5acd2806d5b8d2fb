"""The bud call: a lot waits in the donor's store until the recipient sees a bud at the surface.

A forecast knows weeks, a bud knows days. Whether waiting for it is better is said by the plan of each lot
(``exchange.matching.bud_wait``); whoever still has doses when a bud is seen is called.
"""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from exchange.models import Agreement, AgreementEvent, Detour, Reservation
from exchange.science.business_day import next_open_day
from exchange.selectors.carrier_service import offer_calendar
from exchange.selectors.leg import ROUTED
from exchange.services.agreement_event import event_tell_only
from exchange.services.agreement_rule import State
from exchange.services.deal import deal_lock_by_time
from exchange.services.due import source
from growers.models import BloomSighting

Kind = AgreementEvent.Kind
CALLING = (BloomSighting.BudStage.AT_THE_SURFACE, BloomSighting.BudStage.SHOWING_COLOUR)

BUD_HOLDS = timedelta(days=4)
"""A bud seen longer ago has opened: the usual lag of one at the surface (judgement, as in the forecast)."""


@source
def bud_calls_make(now: datetime) -> None:
    """Tell each donor whose lot waits, once, of the first such bud since both said yes."""
    for key in list(_waiting(now).values_list("pk", flat=True)):
        with transaction.atomic():
            deal = deal_lock_by_time(Agreement.objects.select_related("offer").get(pk=key))
            # Read again under the lock: another worker may have called meanwhile, or the doses may be gone.
            if _waiting(now).filter(pk=key).exists():
                _call(deal.agreement, now)


def _waiting(now: datetime) -> QuerySet[Agreement]:
    """Agreements with doses in a lot that have not been sent, whose seed parent has such a bud, uncalled."""
    buds = BloomSighting.objects.filter(
        plant=OuterRef("wanted_cross__seed_parent"),
        kind=BloomSighting.Kind.BUD,
        bud_stage__in=CALLING,
        seen_on__gte=(now - BUD_HOLDS).date(),
    )
    held = Reservation.objects.filter(
        agreement=OuterRef("pk"), state=Reservation.State.ACTIVE, supply__lot__isnull=False
    )
    # By way of a steward it is posted in their days, whatever a bud says.
    elsewhere = Detour.objects.filter(agreement=OuterRef("pk"), state__in=ROUTED)
    called = AgreementEvent.objects.filter(agreement=OuterRef("pk"), kind=Kind.BUD_CALL)
    agreed = Q(state=State.AGREED, donor__closed_at=None)
    waiting = Agreement.objects.filter(
        agreed, Exists(buds), Exists(held), ~Exists(called), ~Exists(elsewhere)
    )
    return waiting.order_by("pk")


def _call(agreement: Agreement, now: datetime) -> None:
    event_tell_only(
        agreement, Kind.BUD_CALL, told=agreement.donor, now=now, post_on=_post_on(agreement, now).isoformat()
    )


def _post_on(agreement: Agreement, now: datetime) -> date:
    """The next day after today on which the donor's post is open."""
    offer = agreement.offer
    today = now.astimezone(ZoneInfo(offer.plant.site.cell_zone)).date()
    return next_open_day(offer_calendar(offer, today), today + timedelta(days=1))
