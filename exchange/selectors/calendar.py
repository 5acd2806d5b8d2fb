"""What stands in a grower's calendar now: days and deadlines of agreements, dates of pollen they have.

A date that is known to the season only is no day and is left out.
"""

from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q

from exchange.models import Agreement, Lot, LotOutlook, Pairing, Reservation
from exchange.selectors.agreement_plan import standing_pairings
from exchange.selectors.block import hidden_from
from exchange.selectors.carrier_service import hand_over_until
from exchange.wording.agreement import doses_words
from exchange.wording.calendar import (
    Entry,
    deadline_words,
    deal_words,
    doubts_words,
    summary_words,
    which_words,
)
from growers.models import Grower

OVER = (Lot.State.USED_UP, Lot.State.DISCARDED)
FLOWERS_LIKELY_SHARE = 0.5
"""Of the highest chance of a first-day flower in the picture: days with as much are told (judgement)."""


def entries_of(grower: Grower, now: datetime) -> list[Entry]:
    """All entries of a grower in the language that is active; five queries."""
    hidden = hidden_from(grower)
    return [*_of_deals(grower, hidden, now), *_of_pollen(grower, hidden)]


def _of_deals(grower: Grower, hidden: frozenset[int], now: datetime) -> Iterator[Entry]:
    """Of agreements with both yeses, until the doses are sent."""
    reserved = _reserved(grower, hidden, now)
    standing = standing_pairings([row.agreement for row in reserved])
    for row in reserved:
        deal = row.agreement
        yield _reservation_end(grower, row)
        pairing = standing.get((deal.offer_id, deal.wanted_cross_id))
        if pairing is not None and pairing.plan["dates"] and pairing.plan["precision"] != "season":
            yield from (_posting if deal.donor_id == grower.pk else _receiving)(deal, row.doses, pairing)


def _reserved(grower: Grower, hidden: frozenset[int], now: datetime) -> list[Reservation]:
    mine = Q(agreement__donor=grower) & ~Q(agreement__recipient__in=hidden)
    mine |= Q(agreement__recipient=grower) & ~Q(agreement__donor__in=hidden)
    rows = Reservation.objects.filter(
        mine,
        state=Reservation.State.ACTIVE,
        reserved_until__gt=now,
        agreement__state=Agreement.State.AGREED,
    )
    sides = ("agreement__offer__plant__site", "agreement__wanted_cross__seed_parent__site")
    return list(rows.select_related(*sides, "agreement__offer__carrier_service"))


def _reservation_end(grower: Grower, row: Reservation) -> Entry:
    deal, is_donor = row.agreement, row.agreement.donor_id == grower.pk
    plant, seed_parent = deal.offer.plant, deal.wanted_cross.seed_parent
    kind, role = "reserved-until", "donor" if is_donor else "recipient"
    return Entry(
        # Of both sides, who may share a calendar and have each their own changes.
        f"{role}-{kind}-{deal.public_id}",
        summary_words(kind, doses=doses_words(row.doses), plant=plant.name_as_grown),
        deal_words(row.doses, (seed_parent if is_donor else plant).site),
        at=row.reserved_until,
        zone=grower.zone,
        alarm=True,
    )


def _posting(deal: Agreement, doses: int, pairing: Pairing) -> Iterator[Entry]:
    """What the donor reads."""
    dates, plant = pairing.plan["dates"], deal.offer.plant.name_as_grown
    about = deal_words(doses, deal.wanted_cross.seed_parent.site)
    post_on, post_by = dates["post_on"], dates["not_later_than"]
    words = summary_words("post-on", plant=plant)
    yield _days(f"donor-post-on-{deal.public_id}", words, about, post_on, post_on)
    if post_by:
        about = f"{about} {deadline_words(pairing)}"
        yield _post_by(deal, pairing, about, date.fromisoformat(post_by))


def _post_by(deal: Agreement, pairing: Pairing, about: str, last: date) -> Entry:
    """A day; with pollen in hand and a carrier whose cut-off is known, that hour of it."""
    uid, plant, service = post_by_uid(deal.public_id), deal.offer.plant, deal.offer.carrier_service
    if pairing.plan["precision"] != "clock" or service is None or service.cut_off is None:
        words = summary_words("post-by", plant=plant.name_as_grown)
        return Entry(uid, words, about, first=last, last=last, alarm=True)
    zone = plant.site.cell_zone
    hour = f"{service.cut_off:%H:%M}"
    words = summary_words("hand-over-by", plant=plant.name_as_grown, hour=hour, zone=zone)
    return Entry(uid, words, about, at=hand_over_until(service, zone, last), zone=zone, alarm=True)


def post_by_uid(agreement_id: UUID) -> str:
    """What a donor's last day to post is called, whatever day it is."""
    return f"donor-post-by-{agreement_id}"


def _receiving(deal: Agreement, doses: int, pairing: Pairing) -> Iterator[Entry]:
    """What the recipient reads."""
    dates, plant = pairing.plan["dates"], deal.offer.plant
    about = deal_words(doses, plant.site)
    first, last = dates["arrival_half"], dates["arrival_nine_tenths"]
    words = summary_words("arrival", plant=plant.name_as_grown)
    yield _days(f"recipient-arrival-{deal.public_id}", words, about, first, last)
    window = flowers_window(pairing, date.fromisoformat(first))
    if window is not None:
        seed_parent = deal.wanted_cross.seed_parent.name_as_grown
        words = summary_words("first-day-flowers", plant=plant.name_as_grown, seed_parent=seed_parent)
        days = (day.isoformat() for day in window)
        yield _days(f"recipient-first-day-flowers-{deal.public_id}", words, about, *days)


def flowers_window(pairing: Pairing, arrival: date) -> tuple[date, date] | None:
    """First and last of the days round the likely arrival on which a first-day flower is likely.

    None where the picture shows none then.
    """
    if pairing.timeline is None:
        return None
    chances: Sequence[float] = pairing.timeline["first_day_flower_chance"]
    first_day = date.fromisoformat(pairing.timeline["first_day"])
    enough = FLOWERS_LIKELY_SHARE * max(chances, default=0.0)
    middle = (arrival - first_day).days
    if not 0 <= middle < len(chances) or chances[middle] < enough or enough == 0.0:
        return None
    first, last = middle, middle
    while first > 0 and chances[first - 1] >= enough:
        first -= 1
    while last + 1 < len(chances) and chances[last + 1] >= enough:
        last += 1
    return first_day + timedelta(days=first), first_day + timedelta(days=last)


def _of_pollen(grower: Grower, hidden: frozenset[int]) -> Iterator[Entry]:
    """Of own lots and of packets in hand; with a lot end the packets of it that its grower still has."""
    own = Q(lot__plant__grower=grower)
    held = Q(packet__holder=grower) & ~Q(lot__plant__grower__in=hidden)
    rows = LotOutlook.objects.filter(own & Q(packet=None) | held).exclude(own & Q(lot__state__in=OVER))
    for outlook in rows.select_related("lot__plant__site", "packet"):
        yield from _of_outlook(outlook)


def _of_outlook(outlook: LotOutlook) -> Iterator[Entry]:
    """The days that stand on its label: those of the clock where the plant is."""
    name, thing = ("lot", outlook.lot) if outlook.packet is None else ("packet", outlook.packet)
    plant = outlook.lot.plant
    instants = {
        "best-before": outlook.best_before_at,
        "worth-trying-until": outlook.worth_trying_until_at,
    }
    for kind, instant in instants.items():
        if instant is not None:
            words = summary_words(kind, plant=plant.name_as_grown, which=which_words(outlook))
            day = instant.astimezone(ZoneInfo(plant.site.cell_zone)).date().isoformat()
            yield _days(f"{name}-{kind}-{thing.public_id}", words, doubts_words(outlook), day, day)


def _days(uid: str, summary: str, description: str, first: str, last: str, *, alarm: bool = False) -> Entry:
    begins, ends = date.fromisoformat(first), date.fromisoformat(last)
    return Entry(uid, summary, description, first=begins, last=ends, alarm=alarm)
