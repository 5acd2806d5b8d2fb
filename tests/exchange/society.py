"""Two growers with an offer and a wanted cross that fit, and pairings as rows without any science."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from exchange.models import MatchingRun, Offer, Pairing, WantedCross
from exchange.selectors.plan_record import plan_record
from growers.models import Grower, Plant
from growers.services.bloom import bloom_said_set
from growers.services.site import SiteFields
from tests.exchange.plan import a_plan
from tests.factories import make_offer_in_hand, make_plant, make_site, make_taxon, make_wanted_cross

NOON = datetime(2027, 7, 1, 12, tzinfo=UTC)
TODAY = NOON.date()
FRANCE: SiteFields = {"country": "FR", "latitude_deg": 48.85, "longitude_deg": 2.35}
GERMANY: SiteFields = {"country": "DE", "latitude_deg": 48.25, "longitude_deg": 11.75}
SUMMER: dict[str, Any] = {"first_month": 6, "first_day": 5, "last_month": 9, "last_day": 15}
SECRET_NAME = "'Dusk over the secret pond'"


@dataclass
class Society:
    """A donor with pollen in hand and a recipient abroad whose plant flowers."""

    given: Plant
    offer: Offer
    seed: Plant
    wanted: WantedCross


def make_groups() -> None:
    """The taxa that stand for their groups."""
    for group, diel in (("hardy", "day"), ("lotos", "night"), ("nelumbo", "day")):
        make_taxon(name=group, rank="group", group=group, diel=diel)


def make_society(donor: Grower, recipient: Grower) -> Society:
    """A society that a matching run finds one pairing in; the clock must stand at noon or later."""
    make_groups()
    given = make_plant(donor, site=make_site(donor, **FRANCE), name_as_grown="'Ferry'")
    seed = make_plant(recipient, site=make_site(recipient, **GERMANY), name_as_grown=SECRET_NAME)
    bloom_said_set(actor=recipient, plant=seed, **SUMMER)
    offer = make_offer_in_hand(given, date(2027, 6, 28), countries=["DE"])
    return Society(given, offer, seed, make_wanted_cross(seed, flowers=4, least_chance=0.0007))


REASONS = [
    {
        "code": "groups_on_record",
        "parameters": {
            "seed_groups": "hardy",
            "pollen_groups": "hardy",
            "chance": 0.4,
            "weight": 5.0,
            "justification": "",
            "source": "invented",
            "status": "judgement",
        },
    },
    {"code": "poor_seed_parent", "parameters": {"plant": SECRET_NAME, "source": "its grower"}},
    {"code": "poor_pollen_parent", "parameters": {"plant": "'Ferry'", "source": "my diary, page 7"}},
]
CAUTIONS = [
    {"code": "kinship_self", "parameters": {"disomic": 0.5, "polysomic": 0.5}},
    {"code": "offspring_ploidy_weak", "parameters": {"counts": "70"}},
    {"code": "other_direction", "parameters": {"pollen_groups": "hardy", "chance": 0.5}},
    {"code": "viability_prior_only", "parameters": {}},
    {"code": "below_least_chance", "parameters": {}},
]
TIMELINE = {
    "first_day": "2026-06-18",
    "posted_on": "2026-06-18",
    "pollen_chance": [1.0, 1.0],
    "posting_open": [True, False],
    "arrival_chance": [0.0, 0.25],
    "first_day_flower_chance": [0.4, 0.5],
    "remaining_effect": [None, 0.8],
}


def make_run(**changes: Any) -> MatchingRun:
    """A run that was."""
    stated = {"today": TODAY, "model_version": "invented", "finished_at": NOON, **changes}
    return MatchingRun.objects.create(**stated)


def make_pairing(offer: Offer, wanted: WantedCross, **changes: Any) -> Pairing:
    """A stored pairing with all that a run writes; ``plan`` takes changes of the invented plan."""
    plan = plan_record(a_plan(**changes.pop("plan", {})))
    dates = plan["dates"] or {}
    stated: dict[str, Any] = {
        "offer": offer,
        "wanted_cross": wanted,
        "chance": plan["each_flower"]["estimate"],
        "post_on": dates.get("post_on"),
        "not_later_than": dates.get("not_later_than"),
        "plan": plan,
        "reasons": REASONS,
        "cautions": CAUTIONS,
        "papers": {"code": "papers_nothing_on_file", "parameters": {"origin": "FR", "destination": "DE"}},
        "smallest_change": {
            "code": "change_saturday_service",
            "parameters": {"chance": 0.2, "instead_of": 0.12},
        },
        "timeline": TIMELINE,
        "allocated_doses": 2,
        "allocation": {
            "reason": {"code": "allocation_best", "parameters": {"doses": 2, "flowers": 4, "offers": 1}},
            "without_it": [],
            "one_more_dose_adds": [],
        },
        **changes,
    }
    if "run" not in stated:
        stated["run"] = MatchingRun.objects.order_by("-pk").first() or make_run()
    pairing = Pairing.objects.create(**stated)
    pairing.refresh_from_db()
    return pairing
