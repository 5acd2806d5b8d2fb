"""Entries of a grower's calendar in words: of the other grower a region and nothing else.

The address of a feed travels further than its owner thinks, so no handle stands in one either.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from exchange.models import LotOutlook, Pairing
from exchange.models.lot_code import code_shown
from exchange.wording.agreement import doses_words
from exchange.wording.lot import doubt_sentence
from exchange.wording.pairing import decided_sentence
from exchange.wording.region import region_words
from growers.models import Site
from growers.selectors.site import region

SUMMARIES: Mapping[str, str | Promise] = {
    "post-on": gettext_lazy("Best day to post: pollen of {plant}"),
    "post-by": gettext_lazy("Post not later than this day: pollen of {plant}"),
    "hand-over-by": gettext_lazy("Hand over by {hour} ({zone}): pollen of {plant}"),
    "arrival": gettext_lazy("Likely to arrive: pollen of {plant}"),
    "first-day-flowers": gettext_lazy("First-day flowers likely: {seed_parent}, for pollen of {plant}"),
    "reserved-until": gettext_lazy("Reservation ends: {doses} of {plant}"),
    "best-before": gettext_lazy("Best before: pollen of {plant}, {which}"),
    "worth-trying-until": gettext_lazy("Worth trying until about this day: pollen of {plant}, {which}"),
}


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry: the days from ``first`` to ``last``, or the instant ``at``, shown on the clock of ``zone``.

    ``alarm`` says that it is a deadline, to be reminded of a day before.
    """

    uid: str
    summary: str
    description: str = ""
    first: date | None = None
    last: date | None = None
    at: datetime | None = None
    zone: str = ""
    alarm: bool = False

    @property
    def content(self) -> dict[str, Any]:
        """All of it but the uid, as plain JSON."""
        told = {name: value for name, value in asdict(self).items() if name != "uid"}
        return {name: value.isoformat() if isinstance(value, date) else value for name, value in told.items()}


def summary_words(kind: str, **parameters: str) -> str:
    """The one line of an entry."""
    return str(SUMMARIES[kind]).format(**parameters)


def deal_words(doses: int, other: Site) -> str:
    """How much it is about, and roughly where the other is."""
    where = _("Someone in this region: {region}").format(region=region_words(region(other)))
    return f"{doses_words(doses)}. {where}."


def deadline_words(pairing: Pairing) -> str:
    """What decides the last good day; empty where no date is named."""
    decided = decided_sentence(pairing)
    return _("What decides this date: {decided}.").format(decided=decided) if decided else ""


def which_words(outlook: LotOutlook) -> str:
    """Which lot, and which packet of it; both are loaded."""
    lot = _("lot {code}").format(code=code_shown(outlook.lot.code))
    if outlook.packet is None:
        return lot
    return _("{lot}, packet {number}").format(lot=lot, number=outlook.packet.number)


def doubts_words(outlook: LotOutlook) -> str:
    """Why the dates may not hold; empty where nothing says so."""
    return " ".join(map(doubt_sentence, outlook.doubts))
