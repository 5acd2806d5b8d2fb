"""Plants and their forecast: exact bodies, others' numbers hidden, strangers told nothing."""

from datetime import UTC, date, datetime, timedelta
from urllib.parse import quote

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.science.bloom_scenario import daily_rate
from exchange.science.flower import pollen_probability, receptive_probability
from exchange.selectors.bloom_forecast import blooms
from exchange.selectors.bloom_outlook import bloom_outlook
from growers.models import Grower, Plant
from growers.services.plant import plant_create
from growers.services.reference import reference_load
from tests.api.caller import Caller
from tests.clock import MovableClock
from tests.factories import make_plant, make_season, make_site, make_taxon

pytestmark = pytest.mark.django_db

UNKNOWN = "5f0f8a43-3a4b-4a55-9d4c-1d8a4a3c7e10"


def test_a_plant_is_made_from_its_taxon(donor: Grower, donor_api: Caller) -> None:
    site, taxon = make_site(donor), make_taxon(pollen_fertility="yes")
    made = donor_api.post(
        "plants", {"site_id": str(site.public_id), "taxon_id": str(taxon.public_id), "crowns": 4}
    )
    plant = Plant.objects.get()
    assert made.status == 201
    assert made.body == {
        "id": str(plant.public_id),
        "site_id": str(site.public_id),
        "number": "1",
        "name_as_grown": "unnamed seedling",
        "taxon_id": str(taxon.public_id),
        "taxon_name": "Nymphaea 'Invented'",
        "group": "hardy",
        "diel": "day",
        "identity": "as_received",
        "crowns": 4,
        "traits": [],
        "seed_fertility": "unknown",
        "pollen_fertility": "unknown",
        "fertility_evidence": "",
        "chromosome_counts": [],
        "seed_parent": None,
        "pollen_parent": None,
        "parentage_confidence": "declared",
        "direction_known": True,
        "origin": "unknown",
        "wild_country": "",
        "wild_year": None,
        "rights": "unknown",
        "health_seen": "",
    }
    assert donor_api.get(made["Location"]).body == made.body
    changed = donor_api.patch(made["Location"], {"crowns": 5, "traits": ["white"]})
    assert changed.body == {**made.body, "crowns": 5, "traits": ["white"]}


def test_what_is_anothers_is_told_like_what_is_not(
    donor: Grower, donor_api: Caller, outsider: Grower
) -> None:
    mine, theirs = make_site(donor), make_plant(outsider)
    told = []
    for parent in (str(theirs.public_id), UNKNOWN):
        body = {"site_id": str(mine.public_id), "group": "hardy", "diel": "day", "seed_parent_id": parent}
        refused = donor_api.post("plants", body, x_request_id="the-same")
        assert (refused.status, refused.faults) == (422, {"/seed_parent_id": "not_found"})
        told.append(refused.response.content)
        site = str(theirs.site.public_id) if parent != UNKNOWN else UNKNOWN
        refused = donor_api.post("plants", {**body, "site_id": site}, x_request_id="the-same")
        assert refused.faults == {"/site_id": "not_found"}
        told.append(refused.response.content)
    assert told[0] == told[2] and told[1] == told[3]


def test_a_parent_of_another_shows_no_number(donor: Grower, donor_api: Caller, outsider: Grower) -> None:
    theirs = make_plant(outsider, number="SECRET-7", name_as_grown="white one")
    mine = plant_create(
        actor=donor,
        site=make_site(donor),
        group="hardy",
        diel="day",
        seed_parent=theirs,
        shown_plant_ids=[theirs.pk],
    )
    own = make_plant(donor, number="12", pollen_parent=mine)
    assert donor_api.get(f"plants/{mine.public_id}").body["seed_parent"] == {
        "id": str(theirs.public_id),
        "number": "",
        "name_as_grown": "white one",
    }
    assert donor_api.get(f"plants/{own.public_id}").body["pollen_parent"]["number"] == mine.number


def test_a_circle_is_refused_at_the_field_of_the_body(donor: Grower, donor_api: Caller) -> None:
    parent = make_plant(donor)
    child = make_plant(donor, seed_parent=parent)
    refused = donor_api.patch(f"plants/{parent.public_id}", {"seed_parent_id": str(child.public_id)})
    assert (refused.status, refused.faults) == (422, {"/seed_parent_id": "own_ancestor"})


def test_plants_are_found(donor: Grower, donor_api: Caller, outsider: Grower) -> None:
    pond, glass = make_site(donor), make_site(donor, name="glass house")
    make_plant(donor, site=pond, name_as_grown="Crème brûlée", number="A1")
    make_plant(donor, site=glass, name_as_grown="other", number="B2", group="lotos", diel="night")
    make_plant(outsider, name_as_grown="creme of another")

    def names(query: str) -> list[str]:
        return [each["name_as_grown"] for each in donor_api.get(f"plants?{query}").body["results"]]

    assert names("q=creme+BRULEE") == ["Crème brûlée"]
    for typed in ("‘CREME’ brulee", '"crème"', "brûlée × crème", "A1", "cre\u0300me"):
        assert names(f"q={quote(typed)}") == ["Crème brûlée"], typed
    assert names("q=b2") == names("group=lotos") == names(f"site={glass.public_id}") == ["other"]
    assert names("q=another") == []
    assert names("") == ["other", "Crème brûlée"]
    assert donor_api.get("plants?group=rose").faults == {"group": "invalid_choice"}


def test_a_list_costs_the_same_however_long(donor: Grower, donor_api: Caller) -> None:
    parent = make_plant(donor, taxon=make_taxon())
    donor_api.get("me")
    for expected in (2, 10):
        while Plant.objects.count() < expected:
            make_plant(donor, seed_parent=parent, pollen_parent=parent)
        with CaptureQueriesContext(connection) as captured:
            assert len(donor_api.get("plants").body["results"]) == expected
        assert len(captured) == 2  # the token with its grower, the plants with all they show


# --- forecast ---


@pytest.fixture
def flowering(donor: Grower, clock: MovableClock) -> Plant:
    """A plant with three recorded seasons, in May."""
    clock.set(datetime(2027, 5, 1, 12, tzinfo=UTC))
    plant = make_plant(donor, taxon=make_taxon(), crowns=4)
    for year in (2024, 2025, 2026):
        make_season(plant, date(year, 6, year - 2018), date(year, 9, year - 2014))
    return plant


def test_a_forecast_is_that_of_the_engine(flowering: Plant, donor_api: Caller) -> None:
    answer = donor_api.get(f"plants/{flowering.public_id}/bloom-forecast?days=200")
    body = answer.body
    expected = bloom_outlook(flowering, today=date(2027, 5, 1), days=200)
    assert expected is not None and expected.first_bloom is not None
    assert answer.status == 200
    assert (body["today"], body["basis"], body["recorded_seasons"]) == ("2027-05-01", "records", 3)
    assert (body["flowering_chance"], body["all_year"]) == (1.0, False)
    assert body["first_bloom"] == {
        name: str(getattr(expected.first_bloom, name)) for name in ("estimate", "low", "high")
    }
    assert body["first_bloom"]["low"] <= "2027-06-07" <= body["first_bloom"]["high"]
    assert [each["day"] for each in body["days"]][:2] == ["2027-05-01", "2027-05-02"] and len(
        body["days"]
    ) == 200
    by_day = {each["day"]: each for each in body["days"]}
    assert by_day["2027-05-01"]["receptive_chance"] < 0.01
    assert by_day["2027-07-20"]["receptive_chance"] > 0.3
    assert donor_api.get(f"plants/{flowering.public_id}/bloom-forecast?days=200")["ETag"] == answer["ETag"]


@pytest.mark.parametrize("pollen_days", [(2, 3), (2, 2), (0, 2)])
def test_pollen_follows_the_first_day_by_the_taxons_clock(
    flowering: Plant, pollen_days: tuple[int, int]
) -> None:
    first, last = pollen_days
    taxon = flowering.taxon
    assert taxon is not None
    taxon.pollen_first_day, taxon.pollen_last_day = first, last
    today, days, margin = date(2027, 5, 1), 120, 13
    outlook = bloom_outlook(flowering, today=today, days=days)
    bloom = blooms([flowering], today)[flowering.pk]
    assert outlook is not None and bloom is not None
    rate = daily_rate(bloom.scenarios, today - timedelta(days=margin), margin + days + margin)
    if first == 2:
        shedding = pollen_probability(rate, pollen_days=last - 1)
    else:  # the bud of the day before sheds too
        shedding = -np.expm1(-(np.roll(rate, -1, axis=1) + rate + np.roll(rate, 1, axis=1)))
    expected = shedding.mean(axis=0)[margin : margin + days]
    assert [each.pollen_chance for each in outlook.days] == pytest.approx(list(expected), abs=6e-5)
    receptive = receptive_probability(rate).mean(axis=0)[margin : margin + days]
    assert [each.receptive_chance for each in outlook.days] == pytest.approx(list(receptive), abs=6e-5)


def test_a_plant_without_a_taxon_has_its_groups_clock(donor: Grower, donor_api: Caller) -> None:
    reference_load()
    plant = make_plant(donor)
    answer = donor_api.get(f"plants/{plant.public_id}/bloom-forecast?days=1")
    assert (answer.status, answer.body["basis"]) == (200, "climate")


def test_without_the_reference_tables_a_forecast_says_what_is_missing(
    donor: Grower, donor_api: Caller
) -> None:
    refused = donor_api.get(f"plants/{make_plant(donor).public_id}/bloom-forecast?days=1")
    assert (refused.status, refused.code) == (409, "conflict")
    assert refused.body["detail"] == (
        "The reference tables have no entry for the group hardy; whoever runs this server loads them."
    )


@pytest.mark.parametrize("days", ["0", "367", "x", "1.5"])
def test_how_far_to_look_is_limited(donor: Grower, donor_api: Caller, days: str) -> None:
    refused = donor_api.get(f"plants/{make_plant(donor).public_id}/bloom-forecast?days={days}")
    assert (refused.status, set(refused.faults)) == (400, {"days"})
