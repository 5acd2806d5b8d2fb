"""What one pairing is reckoned from, as a digest: with unchanged input it is not reckoned again."""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date

from exchange.matching.reason import Reason
from exchange.matching.side import Bloom, CrossWanted, PollenOffer
from exchange.models import CarrierService, Offer, WantedCross
from exchange.science.bloom import BloomWindow
from exchange.science.kinship import PedigreeEntry
from exchange.science.version import model_version
from exchange.selectors.lane_seen import UNSEEN, LaneSeen
from growers.models import Site


@dataclass(frozen=True)
class Pair:
    """An offer and a wanted cross: their rows, what the matching takes of them, what borders between say."""

    offer_row: Offer
    offer: PollenOffer
    wanted_row: WantedCross
    wanted: CrossWanted
    forbidden: Reason | None
    papers: Reason | None
    seen: LaneSeen = UNSEEN


def pair_digest(pair: Pair, today: date, pedigree: Sequence[PedigreeEntry]) -> str:
    """Digest over day, model, both sides with forecasts and ancestors, and what the parcel's way hangs on."""
    row = pair.offer_row
    packed = row.packing, row.box
    posting = packed, _service(row.carrier_service), row.posts_on_saturday, row.collected_before_cut_off
    places = _cell(row.plant.site), _cell(pair.wanted_row.seed_parent.site)
    windows = _window(pair.offer.bloom), _window(pair.wanted.bloom)
    sides = _plain(replace(pair.offer, bloom=None)), _plain(replace(pair.wanted, bloom=None))
    clones = pair.offer.parent.clone, pair.wanted.parent.clone
    lines = _lines_of_descent(clones, pedigree)
    borders = pair.forbidden, pair.papers
    seen = pair.seen.delivered.tolist(), pair.seen.lost, pair.seen.under_way
    text = repr((today, model_version(), sides, windows, posting, places, lines, borders, seen))
    return hashlib.sha256(text.encode()).hexdigest()


def _service(service: CarrierService | None) -> tuple[object, ...] | None:
    """What a service changes of a plan; its cut-off changes no day."""
    if service is None:
        return None
    promised = service.promised_days_home, service.promised_days_abroad
    days = service.weekdays, service.opened_days, service.closed_days, service.delivers_on_saturday
    return service.country, *promised, *days


def _plain(side: PollenOffer | CrossWanted) -> str:
    """A side as text; sets are sorted, because their order differs from process to process."""
    return str(_sorted(asdict(side)))


def _sorted(value: object) -> object:
    if isinstance(value, dict):
        return {key: _sorted(inner) for key, inner in value.items()}
    return sorted(value) if isinstance(value, frozenset) else value


def _lines_of_descent(clones: Iterable[str], pedigree: Sequence[PedigreeEntry]) -> list[PedigreeEntry]:
    """The clones and their known ancestors, in the order of the pedigree: parents first."""
    needed = set(clones)
    for entry in reversed(pedigree):
        if entry.name in needed:
            needed.update(name for name in (entry.seed_parent, entry.pollen_parent) if name is not None)
    return [entry for entry in pedigree if entry.name in needed]


def _window(bloom: Bloom | None) -> BloomWindow | None:
    return bloom.window if bloom else None


def _cell(site: Site) -> tuple[float, float, str]:
    return site.cell_latitude_deg, site.cell_longitude_deg, site.cell_country
