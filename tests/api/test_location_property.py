"""Where a site lies inside its half-degree cell moves not a byte of what anybody else can read.

Two worlds differ in what only the owner knows of a site: the point, whether it is kept, the town and the
weather measured there. The region shown, the plants and the deals are the same.
"""

import logging
import math
import re
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from exchange.science.bloom import PlantSetting
from exchange.science.distance import geodesic_km
from exchange.selectors import bloom_forecast, lane
from growers import place
from growers.models import Plant, Site, WeatherDay
from tests.api.location_world import Constant, Secret, Society, make_society, seen_by_others

pytestmark = pytest.mark.django_db

EXAMPLES = 8
MANY_EXAMPLES = 200
ROLES = st.sampled_from(["donor", "recipient"])
LEVELS = st.sampled_from(["cell", "country", "climate_band", None])
WEATHER = st.lists(st.floats(-1, 40).map(lambda mean_c: round(mean_c, 1)), max_size=3).map(tuple)
TOWNS = st.text(st.characters(codec="ascii", categories=["Lu", "Ll"]), min_size=1, max_size=12)


@pytest.fixture
def society(db: None, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture) -> Society:
    caplog.set_level(logging.WARNING, logger="exchange.request")
    constant = Constant()
    constant.install(monkeypatch)
    return make_society(constant)


def points_of(cell: place.Cell) -> st.SearchStrategy[tuple[float, float]]:
    """Points of a cell, its corners among them."""
    return st.tuples(_angles(cell.latitude_deg, 90.0), _angles(cell.longitude_deg, math.inf))


def _angles(centre: float, closed_at: float) -> st.SearchStrategy[float]:
    low, high = centre - 0.25, centre + 0.25
    last = high if high == closed_at else math.nextafter(high, -math.inf)
    return st.one_of(st.sampled_from([low, last]), st.floats(low, last))


ZONE_CELLS = st.sampled_from(sorted(place.zone_countries())).map(place.zone_cell)
ANY_CELLS = st.builds(place.cell_at, st.floats(-90, 90), st.floats(-180, 180))


@st.composite
def pairs_of_secrets(draw: st.DrawFn) -> tuple[Secret, Secret]:
    """Two secrets of one cell, on land more often than at sea."""
    points = points_of(draw(st.one_of(ZONE_CELLS, ANY_CELLS)))
    secrets = st.builds(Secret, st.tuples(points, points), st.booleans(), TOWNS, WEATHER)
    return draw(secrets), draw(secrets)


def differing(society: Society, moved: Any, secrets: tuple[Secret, Secret], level: str | None) -> list[str]:
    """What others read in one world that is not, byte for byte, what they read in the other."""
    one, other = (seen_by_others(society, moved, secret, level) for secret in secrets)
    assert any("GET /api/v1/pairings/" in name for name in one)
    return [name for name in sorted({*one, *other}) if one.get(name) != other.get(name)]


limits = settings(
    max_examples=EXAMPLES,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)


@limits
@given(secrets=pairs_of_secrets(), moved=ROLES, level=LEVELS)
def test_no_place_inside_a_cell_is_told(
    society: Society, secrets: tuple[Secret, Secret], moved: Any, level: str | None
) -> None:
    assert differing(society, moved, secrets, level) == []


@pytest.mark.slow
@settings(limits, max_examples=MANY_EXAMPLES)
@given(secrets=pairs_of_secrets(), moved=ROLES, level=LEVELS)
def test_no_place_of_many_inside_a_cell_is_told(
    society: Society, secrets: tuple[Secret, Secret], moved: Any, level: str | None
) -> None:
    assert differing(society, moved, secrets, level) == []


# --- that the place would be seen: what the worlds hold, and leaks made on purpose ---

NORTH = Secret(((48.999, 2.499), (48.99, 2.49)), True, "Northtown", (30.0, 31.0, 32.0))
SOUTH = Secret(((48.501, 2.001), (48.51, 2.01)), True, "Southtown", (10.0, 11.0))


@pytest.mark.parametrize(("moved", "partner"), [("donor", "recipient"), ("recipient", "donor")])
def test_others_read_what_could_tell_of_a_place(society: Society, moved: Any, partner: str) -> None:
    read = seen_by_others(society, moved, NORTH, "cell")
    (pairing,) = (text for name, text in read.items() if f"{partner} GET /api/v1/pairings/" in name)
    for part in ("200 ", "('ETag', ", '"timeline":{', '"papers":{', '"post_on":"2027-07-'):
        assert part in pairing, part
    before, after = (
        text for name, text in read.items() if re.search(rf"{partner} GET .*agreements/[^/]+$", name)
    )
    assert '"state":"proposed"' in before and '"state":"agreed"' in after
    earlier, later = (text for name, text in read.items() if name.endswith("/papers") and partner in name)
    assert '"line":{' in earlier and '"donor":{' in later and '"recipient":{' in later
    (order,) = (text for name, text in read.items() if "weir GET /api/v1/matching-orders/" in name)
    assert order.startswith("200") and '"proposed":1' in order
    for request, status, part in (
        ("nobody GET /api/v1/public/market", 200, '"cell_latitude_deg":48.75'),
        (f"{partner} GET /api/v1/notifications", 200, '"told_at":"'),
        (f"{partner} GET /api/v1/taxa?limit=1", 200, "('Link', "),
        ("weir POST matching-runs", 202, '"state":"waiting"'),
        ("weir POST matching-runs/dry-run", 200, '"new_count":0'),
        ("outsider POST sites", 201, '"level":"cell"'),
        (f"{partner} GET /api/v1/agreements", 200, '"state":"agreed"'),
        (f"{partner} GET /api/v1/quiet-asks", 200, '"detail":"Someone in this region'),
        (f"{partner} GET /api/v1/blocks", 200, '"handle":"neighbour-0"'),
        ("weir GET /api/v1/reported-notes", 200, '"reason":"a threat"'),
        ("outsider GET /api/v1/border-notes", 200, '"destination":"FR"'),
    ):
        (answer,) = (text for name, text in read.items() if name.endswith(request))
        assert answer.startswith(str(status)) and part in answer, request
    assert "Northtown" not in str(read)


def exact_cell(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(place, "_half_degree_centre", lambda angle_deg: angle_deg)


def exact_distance(monkeypatch: pytest.MonkeyPatch) -> None:
    def distance_km(*ends: Site) -> float:
        one, other = (
            (site.latitude_deg or site.cell_latitude_deg, site.longitude_deg or site.cell_longitude_deg)
            for site in ends
        )
        return geodesic_km(*one, *other)

    monkeypatch.setattr(lane, "_distance_km", distance_km)


def measured_weather(monkeypatch: pytest.MonkeyPatch) -> None:
    usual = bloom_forecast.setting

    def setting(plant: Plant, *similar: Any) -> PlantSetting:
        days = WeatherDay.objects.filter(site=plant.site).order_by("measured_on")
        latest = days.values_list("mean_c", flat=True).last()
        found = usual(plant, *similar)
        return found if latest is None else replace(found, crowns=round(latest))

    monkeypatch.setattr(bloom_forecast, "setting", setting)


@pytest.mark.parametrize("leak", [exact_cell, exact_distance, measured_weather])
def test_a_leak_would_be_seen(society: Society, monkeypatch: pytest.MonkeyPatch, leak: Any) -> None:
    leak(monkeypatch)
    told = differing(society, "donor", (NORTH, SOUTH), "country")
    assert any("GET /api/v1/pairings/" in name for name in told)
