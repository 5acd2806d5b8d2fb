"""Gatherings: a steward opens one for parcels of a month, closes it, or calls it off."""

from datetime import date, datetime, timedelta
from typing import TypedDict, Unpack

from django.db import transaction
from django.db.models import QuerySet

from exchange.matching.detour import MOST_HANDLING_DAYS
from exchange.models import Agreement, Detour, Gathering
from exchange.selectors.gathering import gatherings_known
from exchange.services.deal import deals_alive
from exchange.services.detour_rule import LIVE, detours_withdraw, live_detours, under_way
from exchange.services.state_table import state_after
from growers import clock
from growers.errors import Conflict, NotFound
from growers.models import Grower, Site
from growers.services.grower import open_grower
from growers.services.problem import Problems
from growers.services.row import columns_check, fields_set
from growers.services.site import own_site

State = Gathering.State
MOST_DAYS = 31
"""Days in which parcels reach a steward: a month at most, so that a permit serves what it was asked for."""

FURTHEST_AHEAD = timedelta(days=366)
"""Bloom is not forecast beyond (judgement)."""

RANGES = {"handling_days": (0, MOST_HANDLING_DAYS)}
FOR_THOSE_WHO_SAID_YES = ("reach_from", "reach_until", "handling_days")

ALLOWED: dict[str, frozenset[str]] = {
    State.OPEN: frozenset({State.CLOSED, State.CALLED_OFF}),
    State.CLOSED: frozenset({State.CALLED_OFF}),
    State.CALLED_OFF: frozenset(),
}


class GatheringFields(TypedDict, total=False):
    """What a steward says of a gathering."""

    reach_from: date
    reach_until: date
    handling_days: int
    permit_number: str
    permit_valid_until: date
    note: str


def gathering_create(*, actor: Grower, site: Site, **fields: Unpack[GatheringFields]) -> Gathering:
    """Open a gathering at one's own site, for parcels from abroad to its country.

    Raises ``NotFound`` for another's site, ``InvalidInput`` for days that do not fit each other.
    """
    now = clock.now()
    with transaction.atomic():
        steward = open_grower(actor)
        own = own_site(actor, site)
        gathering = Gathering(
            steward=steward, site=own, country=own.cell_country, created_at=now, changed_at=now
        )
        fields_set(gathering, fields, GatheringFields.__annotations__)
        _check(gathering, begins=True)
        gathering.save()
    return gathering


def gathering_change(*, actor: Grower, gathering: Gathering, **fields: Unpack[GatheringFields]) -> Gathering:
    """Say anew what is said of it; days stay as they are while somebody has a place or asks for one."""
    with transaction.atomic():
        own = _own(actor, gathering)
        if own.state == State.CALLED_OFF:
            raise Conflict("The gathering is called off; nothing of it changes any more.")
        before = {name: getattr(own, name) for name in FOR_THOSE_WHO_SAID_YES}
        fields_set(own, fields, GatheringFields.__annotations__)
        _check(own, begins="reach_from" in fields)
        moved = any(getattr(own, name) != value for name, value in before.items())
        if moved and own.detours.filter(state__in=LIVE).exists():
            raise Conflict("Somebody has a place in it or asks for one; its days stay as they said yes to.")
        return _saved(own, clock.now())


def gathering_close(*, actor: Grower, gathering: Gathering) -> Gathering:
    """Take in no more; places that were asked for or given stay."""
    return _state(actor, gathering, State.CLOSED)


def gathering_call_off(*, actor: Grower, gathering: Gathering) -> Gathering:
    """End it: all places are taken back and everybody who had one is told.

    Raises ``Conflict`` once a parcel is on its way to the steward or lies with them.
    """
    with transaction.atomic():
        own = _own(actor, gathering, locked=False)
        deals = list(deals_alive(_agreements(own)))
        if any(under_way(deal.agreement) for deal in deals):
            raise Conflict("A parcel has been dispatched by way of it; close it instead.")
        called_off = _state(actor, own, State.CALLED_OFF)
        late = _agreements(own).exclude(pk__in=[deal.agreement.pk for deal in deals])
        if late.exists():
            raise Conflict("Somebody asked for a place at this moment; try again.")
        detours_withdraw(live_detours().filter(gathering=own), actor=actor, now=clock.now())
    return called_off


def gatherings_leave(*, actor: Grower) -> None:
    """End a steward's gatherings with their account; what is under way can still be received and posted on.

    What they wrote is erased. Must be called in a transaction.
    """
    mine = Detour.objects.filter(gathering__steward=actor, state__in=LIVE)
    list(deals_alive(Agreement.objects.filter(pk__in=mine.values("agreement"))))
    detours_withdraw(live_detours().filter(gathering__steward=actor), actor=actor, now=clock.now())
    rows = Gathering.objects.filter(steward=actor).exclude(state=State.CALLED_OFF)
    for gathering in rows.select_for_update(of=("self",)).order_by("pk"):
        gathering.state = state_after(ALLOWED, gathering.state, State.CALLED_OFF, what="gathering")
        gathering.permit_number = gathering.note = ""
        _saved(gathering, clock.now())


def gathering_locked(gathering: Gathering) -> Gathering:
    """The row, locked and read anew; in the order of locks after agreements."""
    rows = Gathering.objects.select_for_update(of=("self",)).select_related("steward", "site")
    return rows.get(pk=gathering.pk)


def _state(actor: Grower, gathering: Gathering, state: Gathering.State) -> Gathering:
    with transaction.atomic():
        own = _own(actor, gathering)
        own.state = state_after(ALLOWED, own.state, state, what="gathering")
        return _saved(own, clock.now())


def _agreements(gathering: Gathering) -> QuerySet[Agreement]:
    live = Detour.objects.filter(gathering=gathering, state__in=LIVE)
    return Agreement.objects.filter(pk__in=live.values("agreement"))


def _own(actor: Grower, gathering: Gathering, *, locked: bool = True) -> Gathering:
    if gathering.steward_id != actor.pk:
        if gatherings_known(actor).filter(pk=gathering.pk).exists():
            raise Conflict("Only the steward can do this.")
        raise NotFound("There is no such gathering.")
    return gathering_locked(gathering) if locked else gathering


def _saved(gathering: Gathering, now: datetime) -> Gathering:
    gathering.changed_at = now
    gathering.save()
    return gathering


def _check(gathering: Gathering, *, begins: bool) -> None:
    problems = Problems()
    columns_check(gathering, problems, ranges=RANGES, names=GatheringFields.__annotations__)
    problems.refuse_if_any()
    today = clock.today(gathering.site.cell_zone)
    first, last = gathering.reach_from, gathering.reach_until
    if begins and not today <= first <= today + FURTHEST_AHEAD:
        problems.add("reach_from", first, f"days from {today} to {today + FURTHEST_AHEAD}")
    longest = first + timedelta(days=MOST_DAYS - 1)
    if not first <= last <= longest:
        problems.add("reach_until", last, f"days from {first} to {longest}, at most {MOST_DAYS} days in all")
    if gathering.permit_valid_until < last:
        problems.add("permit_valid_until", gathering.permit_valid_until, f"{last} or later")
    problems.refuse_if_any()
