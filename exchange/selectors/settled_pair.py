"""Offers and wanted crosses between which all is said for this season."""

from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef, Q, QuerySet

from exchange.models import Agreement, Reservation

SAID_NO_HOLDS = timedelta(days=120)
"""After a no, or a story that has ended, a pair is not proposed again this season (judgement)."""

POSTPONED_HOLDS = timedelta(days=180)
"""Who postponed to the next season reads of it again half a year later (judgement)."""

State = Agreement.State
EndReason = Agreement.EndReason
FINAL = (EndReason.NOT_THIS_YEAR, EndReason.FOUND_ELSEWHERE, EndReason.OTHER)
"""What no change of fact undoes; without bloom or pollen enough a pair may fit again next week."""

Key = tuple[int, int]


def pairs_settled(now: datetime) -> frozenset[Key]:
    """Pairs that are not proposed for the time being, by their offer and wanted cross."""
    declined = Q(state=State.DECLINED, end_reason__in=FINAL, ended_at__gt=now - SAID_NO_HOLDS)
    postponed = Q(end_reason=EndReason.POSTPONED, ended_at__gt=now - POSTPONED_HOLDS)
    over = Q(Exists(_sent()), state=State.ENDED, ended_at__gt=now - SAID_NO_HOLDS)
    return _keys(declined | postponed | over) - _keys(Q(state=State.AGREED))


def pairs_handed_over() -> frozenset[Key]:
    """Pairs whose doses were sent, in an agreement that lives: that no dose is left is no news to them."""
    return _keys(Q(Exists(_sent()), state=State.AGREED))


def _sent() -> QuerySet[Reservation]:
    return Reservation.objects.filter(agreement=OuterRef("pk"), state=Reservation.State.USED)


def _keys(which: Q) -> frozenset[Key]:
    return frozenset(Agreement.objects.filter(which).values_list("offer_id", "wanted_cross_id"))
