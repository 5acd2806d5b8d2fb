"""The guest's try-out: two plants that nobody enters, two places, and a season planned for them.

Rows are made in memory for what the matching reads of rows; none is saved.
"""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any, Literal

from exchange.matching.eligibility import refusals
from exchange.matching.plan import PairPlan, plan_pair
from exchange.matching.posting import RecipientFlowers, recipient_flowers
from exchange.matching.reason import Reason
from exchange.matching.side import Bloom, CrossWanted, Lane, PollenOffer
from exchange.matching.timeline import timeline
from exchange.models import Offer, Pairing
from exchange.models.offer import PackingPreset
from exchange.science.bloom_scenario import window_interval
from exchange.science.kinship import PedigreeEntry
from exchange.selectors.bloom_forecast import bloom
from exchange.selectors.border import border_notes
from exchange.selectors.caution import cautions
from exchange.selectors.lane import lane
from exchange.selectors.plan_record import plan_record, reason_records
from exchange.selectors.side import parent
from exchange.selectors.timeline_record import timeline_record
from exchange.wording.catalogue import sentence
from exchange.wording.pairing import chance_sentence
from growers import place
from growers.errors import Conflict, FieldProblem, InvalidInput
from growers.models import Plant, Site, Taxon
from growers.selectors.bloom import PlantBloomFacts, SaidFact
from growers.selectors.bloom_season import PresentSeason
from growers.services.bloom_rule import SaidWords, said_check
from growers.services.problem import Problems

Name = Literal["donor", "recipient"]
Record = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Guest:
    """One plant of a try-out: its group, when it usually flowers, and where it stands.

    The place is a zone of the country, or a point, of which only the half-degree cell counts.
    """

    group: str
    country: str
    usual_bloom: SaidWords
    zone: str | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Weeks:
    """From one week to another, each by its Monday."""

    first: date
    last: date


@dataclass(frozen=True, slots=True)
class TryOut:
    """A season plan; without a chance the ``reasons`` say why there is none."""

    today: date
    chance: Record | None
    flowers: int
    several: Record | None
    in_words: str
    donor_bloom: Weeks | None
    recipient_bloom: Weeks | None
    likeliest_posting_week: date | None
    good_posting_weeks: Weeks | None
    reasons: tuple[Record, ...]
    cautions: tuple[Record, ...]
    papers: Record | None
    timeline: Record | None


@dataclass(frozen=True, slots=True)
class _Pair:
    offer: PollenOffer
    wanted: CrossWanted
    way: Lane
    today: date
    forbidden: Reason | None
    papers: Reason | None


def try_out(*, donor: Guest, recipient: Guest, treatment: str, flowers: int, today: date) -> TryOut:
    """Plan a season for two plants; reads reference tables and writes nothing.

    Raises ``InvalidInput`` for a place or a window that cannot be, ``Conflict`` without reference tables.
    """
    plants = _plants({"donor": donor, "recipient": recipient})
    pair = _pair(plants, treatment, flowers, today)
    ahead = recipient_flowers(pair.wanted.bloom, today) if pair.wanted.bloom else None
    reasons = refusals(pair.offer, pair.wanted) + ((pair.forbidden,) if pair.forbidden else ())
    if reasons:
        return _without_plan(pair, reasons)
    plan = plan_pair(pair.offer, pair.wanted, pair.way, today, ahead)
    if isinstance(plan, Reason) or ahead is None:
        return _without_plan(pair, (plan,) if isinstance(plan, Reason) else ())
    return _with_plan(pair, plan, ahead)


def _with_plan(pair: _Pair, plan: PairPlan, ahead: RecipientFlowers) -> TryOut:
    record = plan_record(plan)
    entries = [PedigreeEntry("donor"), PedigreeEntry("recipient")]
    picture = timeline(pair.offer, pair.wanted, pair.way, pair.today, ahead, plan)
    dates = plan.dates
    return replace(
        _without_plan(pair, plan.reasons),
        chance=record["each_flower"],
        flowers=plan.flowers,
        several=record["several"],
        in_words=chance_sentence(Pairing(plan=record)),
        likeliest_posting_week=_monday(plan.likeliest_posting),
        good_posting_weeks=Weeks(_monday(dates.good_first), _monday(dates.good_last)) if dates else None,
        cautions=_told(cautions(pair.offer, pair.wanted, pair.way, plan, entries)),
        timeline=timeline_record(picture),
    )


def _without_plan(pair: _Pair, reasons: tuple[Reason, ...]) -> TryOut:
    return TryOut(
        today=pair.today,
        chance=None,
        flowers=pair.wanted.flowers,
        several=None,
        in_words="",
        donor_bloom=_bloom_weeks(pair.offer.bloom),
        recipient_bloom=_bloom_weeks(pair.wanted.bloom),
        likeliest_posting_week=None,
        good_posting_weeks=None,
        reasons=_told(reasons),
        cautions=(),
        papers=next(iter(_told([pair.papers])), None) if pair.papers else None,
        timeline=None,
    )


def _told(reasons: tuple[Reason, ...] | list[Reason]) -> tuple[Record, ...]:
    return tuple(
        {**record, "detail": sentence(record["code"], record["parameters"])}
        for record in reason_records(reasons)
    )


def _bloom_weeks(bloom_ahead: Bloom | None) -> Weeks | None:
    interval = window_interval(bloom_ahead.window) if bloom_ahead else None
    return Weeks(_monday(interval.start_50), _monday(interval.end_50)) if interval else None


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


# --- rows in memory ---


def _plants(guests: Mapping[Name, Guest]) -> dict[Name, tuple[Plant, SaidWords]]:
    problems: list[FieldProblem] = []
    found: dict[Name, tuple[Plant, SaidWords]] = {}
    for name, guest in guests.items():
        of_bloom, of_place = Problems(), Problems()
        said_check(of_bloom, guest.usual_bloom)
        site = _site(guest, of_place)
        problems += [_below(f"/{name}/usual_bloom", each) for each in of_bloom.found]
        problems += [_below(f"/{name}", each) for each in of_place.found]
        # The same question has the same luck: scenarios are drawn from the plant's id.
        identity = uuid.uuid5(uuid.NAMESPACE_OID, name)
        plant = Plant(public_id=identity, name_as_grown=name, group=guest.group, site=site)
        found[name] = plant, guest.usual_bloom
    if problems:
        raise InvalidInput(" ".join(each.detail for each in problems), problems=tuple(problems))
    return found


def _below(pointer: str, problem: FieldProblem) -> FieldProblem:
    return replace(problem, pointer=f"{pointer}{problem.pointer}")


def _site(guest: Guest, problems: Problems) -> Site:
    cell = place.Cell(0.25, 0.25)
    if guest.country not in place.countries():
        problems.add("country", guest.country, "ISO 3166 codes of two capital letters such as FR")
    if guest.zone is not None and guest.latitude_deg is None and guest.longitude_deg is None:
        if place.zone_countries().get(guest.zone) != guest.country:
            problems.add("zone", guest.zone, f"a time zone of {guest.country} such as Europe/Paris of FR")
        else:
            cell = place.zone_cell(guest.zone)
    elif guest.zone is None and guest.latitude_deg is not None and guest.longitude_deg is not None:
        cell = place.cell_at(guest.latitude_deg, guest.longitude_deg)
    else:
        problems.add("zone", guest.zone, "either a zone, or latitude_deg and longitude_deg")
    zone = guest.zone or place.cell_zone(cell)
    return Site(
        cell_latitude_deg=cell.latitude_deg,
        cell_longitude_deg=cell.longitude_deg,
        cell_zone=zone,
        cell_country=place.zone_country(zone, declared=guest.country),
    )


def _pair(plants: Mapping[Name, tuple[Plant, SaidWords]], treatment: str, flowers: int, today: date) -> _Pair:
    defaults = {taxon.group: taxon for taxon in Taxon.objects.filter(rank=Taxon.Rank.GROUP)}
    (given, given_said), (asking, asking_said) = plants["donor"], plants["recipient"]
    for plant in (given, asking):
        if plant.group not in defaults:
            raise Conflict("The reference tables are not loaded yet: manage.py load_reference.")
        plant.diel = defaults[plant.group].diel
    wanted = CrossWanted(
        key="recipient",
        parent=replace(parent(asking, defaults, "seed"), clone="recipient"),
        country=asking.site.cell_country,
        flowers=flowers,
        bloom=_bloom(asking, asking_said, today),
    )
    offer = PollenOffer(
        key="donor",
        parent=replace(parent(given, defaults, "pollen"), clone="donor"),
        country=given.site.cell_country,
        ships_to=frozenset({wanted.country}),
        treatment="fresh" if treatment == "fresh" else "dried",
        doses=flowers,
        bloom=_bloom(given, given_said, today),
    )
    row, notes = Offer(plant=given, packing=PackingPreset.COLD_BOX), border_notes(today)
    way = lane(row, given.site, asking.site, today)
    return _Pair(offer, wanted, way, today, notes.forbidding(offer, wanted), notes.papers(offer, wanted))


def _bloom(plant: Plant, said: SaidWords, today: date) -> Bloom | None:
    fact = SaidFact(
        said.all_year,
        tuple(said.weak_months),
        said.first_month,
        said.first_day,
        said.last_month,
        said.last_day,
        said.precision,
    )
    return bloom(plant, PlantBloomFacts(0, today, (), fact, PresentSeason()), (), today)
