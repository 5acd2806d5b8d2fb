"""Who is written to, of what at once, and of which last days to post."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from allauth.account.models import EmailAddress
from django.db.models import Exists, F, OuterRef, Q, QuerySet

from exchange.models import (
    Agreement,
    AgreementEvent,
    CustodyEvent,
    Detour,
    MailChoice,
    MailMessage,
    Notification,
    Pairing,
    Reservation,
)
from exchange.selectors.agreement_plan import standing_pairings
from exchange.selectors.calendar import post_by_uid
from exchange.selectors.quiet_hours import DAILY_AT
from growers.models import Diel, Grower, Plant

Kind = MailMessage.Kind

NEWS_HOLDS = timedelta(days=3)
"""What was told longer ago is no news, and is read in the list of notifications alone (judgement)."""

ABOUT_POSTING = Q(kind=Notification.Kind.AGREEMENT, event__kind=AgreementEvent.Kind.BUD_CALL)
ABOUT_HARM = Q(kind=Notification.Kind.RECALL) | Q(kind=Notification.Kind.LOT) & (
    Q(custody_event__kind=CustodyEvent.Kind.INCIDENT)
    | Q(custody_event__parameters__new_doubts__0__isnull=False)
)
AT_ONCE = {Kind.POSTING: ABOUT_POSTING, Kind.WARNING: ABOUT_HARM}
"""What is not left to the daily message."""


@dataclass(frozen=True, slots=True)
class Deadline:
    """The last good day for a donor to post doses of an agreement."""

    grower: Grower
    agreement_id: UUID
    day: date

    @property
    def uid(self) -> str:
        """As in the donor's calendar."""
        return post_by_uid(self.agreement_id)


def growers_written_to(kind: str, now: datetime) -> QuerySet[Grower]:
    """Who has a confirmed address that takes mail and has not declined this kind of message."""
    confirmed = EmailAddress.objects.filter(
        user=OuterRef("pk"), email__iexact=OuterRef("email"), verified=True
    )
    resting = MailChoice.objects.filter(
        grower=OuterRef("pk"), refused_email=OuterRef("email"), rests_until__gt=now
    )
    rows = Grower.objects.filter(Exists(confirmed), ~Exists(resting), closed_at=None)
    # Few growers decline anything; JSON cannot be searched alike on both databases.
    choices = MailChoice.objects.exclude(declined=[]).values_list("grower", "declined")
    return rows.exclude(pk__in=[grower for grower, declined in choices if kind in declined])


def growers_without_daily(growers: QuerySet[Grower], days_by_zone: dict[str, date]) -> list[Grower]:
    """Those of them in these zones who have no daily message of the day it is there."""
    found = []
    for day in set(days_by_zone.values()):
        zones = [zone for zone, today in days_by_zone.items() if today == day]
        made = MailMessage.objects.filter(grower=OuterRef("pk"), kind=Kind.DAILY, key=day.isoformat())
        found += list(growers.filter(~Exists(made), zone__in=zones))
    return found


def quiet_at_daily() -> Q:
    """Growers in whose quiet hours 17:00 lies."""
    within = Q(quiet_from__lte=DAILY_AT, quiet_until__gt=DAILY_AT)
    over_midnight = Q(quiet_from__gt=F("quiet_until"))
    return within | over_midnight & (Q(quiet_from__lte=DAILY_AT) | Q(quiet_until__gt=DAILY_AT))


def told_at_once(kind: str, now: datetime) -> QuerySet[Notification]:
    """What is to be told at once by messages of a kind and stands in none yet."""
    unread = Q(mailed_in=None, read_at=None, created_at__gt=now - NEWS_HOLDS)
    return Notification.objects.filter(AT_ONCE[Kind(kind)], unread, grower__in=growers_written_to(kind, now))


def posting_deadlines(today: date, now: datetime) -> list[Deadline]:
    """Last good days to post of agreements with both yeses, from ``today`` to two days later anywhere.

    Of donors who want to be told of them.
    """
    soon = today - timedelta(days=1), today + timedelta(days=2)
    standing = Pairing.objects.filter(
        offer=OuterRef("offer"),
        wanted_cross=OuterRef("wanted_cross"),
        state=Pairing.State.SUGGESTED,
        not_later_than__range=soon,
    )
    by_way = Detour.objects.filter(
        agreement=OuterRef("pk"), state=Detour.State.AGREED, not_later_than__range=soon
    )
    held = Reservation.objects.filter(
        agreement=OuterRef("pk"), state=Reservation.State.ACTIVE, reserved_until__gt=now
    )
    rows = Agreement.objects.filter(
        Exists(standing) | Exists(by_way),
        Exists(held),
        state=Agreement.State.AGREED,
        donor__in=growers_written_to(Kind.POSTING, now),
    )
    return list(_deadlines(rows.select_related("donor")))


def _deadlines(rows: Iterable[Agreement]) -> Iterable[Deadline]:
    deals = list(rows)
    standing = standing_pairings(deals)
    for deal in deals:
        pairing = standing.get((deal.offer_id, deal.wanted_cross_id))
        if pairing is not None and pairing.not_later_than and pairing.plan["precision"] != "season":
            yield Deadline(deal.donor, deal.public_id, pairing.not_later_than)


def grows_night_bloomers(grower: Grower) -> bool:
    """Whether a grower has a plant whose flowers open at night."""
    return Plant.objects.filter(grower=grower, diel=Diel.NIGHT).exists()
