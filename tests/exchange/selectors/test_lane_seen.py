"""What a lane learns from parcels that came, were lost or are under way, and what pairings make of it."""

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from geographiclib.geodesic import Geodesic

from exchange.matching.side import Lane
from exchange.models import Agreement, CarrierService, Pairing, Shipment
from exchange.science.arrays import FloatArray
from exchange.science.transit import (
    MAX_BUSINESS_DAYS,
    arrival_quantile_days,
    transit_predictive,
    transit_prior_weights,
)
from exchange.selectors.lane import lane
from exchange.selectors.lane_seen import UNSEEN, LaneSeen, lanes_seen
from exchange.services.matching import matching_run
from exchange.services.offer import offer_pause
from exchange.services.wanted_cross import wanted_cross_pause
from growers.models import Grower
from growers.services.bloom import bloom_said_set
from tests.clock import MovableClock
from tests.exchange.bargain import agree
from tests.exchange.society import GERMANY, NOON, SUMMER, TODAY, Society, make_pairing, make_society
from tests.factories import (
    make_grower,
    make_offer,
    make_offer_in_hand,
    make_plant,
    make_site,
    make_wanted_cross,
)
from tests.science.test_transit import enumerated, shares

pytestmark = pytest.mark.django_db

MONDAY = date(2027, 6, 28)
DONE = ("received", "lost", "refused", "returned")


@pytest.fixture
def society(donor: Grower, recipient: Grower, clock: MovableClock) -> Society:
    clock.set(NOON)
    return make_society(donor, recipient)


def others(society: Society) -> Agreement:
    """An agreement of the society's donor about another plant with somebody who takes no part in matching."""
    taker = make_grower(f"taker-{Grower.objects.count()}")
    wanted = make_wanted_cross(make_plant(taker, site=make_site(taker, **GERMANY)))
    offer = make_offer_in_hand(make_plant(society.given.grower), date(2027, 6, 28), countries=["DE"])
    agreement = agree(make_pairing(offer, wanted), doses=1)
    offer_pause(actor=agreement.donor, offer=offer)
    wanted_cross_pause(actor=taker, wanted_cross=wanted)
    return agreement


def parcel(agreement: Agreement, state: str, **facts: Any) -> Shipment:
    """A parcel from France to Germany that was posted at the society's noon unless stated otherwise."""
    sent = state not in ("planned", "packed")
    plain = {
        "packing": "cold_box",
        "origin_country": "FR",
        "destination_country": "DE",
        "dispatched_at": NOON if sent else None,
        "dispatched_on": TODAY if sent else None,
        "ended_at": NOON if state in DONE else None,
    }
    return Shipment.objects.create(agreement=agreement, state=state, **{**plain, **facts})


def received(agreement: Agreement, *days: int, **facts: Any) -> None:
    for taken in days:
        parcel(agreement, "received", business_days=taken, **facts)


def plain(seen: LaneSeen) -> tuple[list[int], int, list[int]]:
    return np.flatnonzero(seen.delivered).tolist(), seen.lost, seen.under_way


def way(society: Society, today: date = TODAY) -> Lane:
    return lane(society.offer, society.given.site, society.seed.site, today)


def prior(society: Society) -> FloatArray:
    """Weights of the lane before any parcel: five days are promised abroad; the cells are 688 km apart."""
    return transit_prior_weights(5.0, distance_km(society))


def distance_km(society: Society) -> float:
    ends = society.given.site, society.seed.site
    (a, b), (c, d) = ((site.cell_latitude_deg, site.cell_longitude_deg) for site in ends)
    return float(Geodesic.WGS84.Inverse(a, b, c, d)["s12"]) / 1000.0


# --- what is seen ---


def test_nothing_is_seen_where_nothing_was_sent(society: Society) -> None:
    assert lanes_seen(TODAY).between(society.given.site, society.seed.site) is UNSEEN
    parcel(others(society), "planned")
    assert lanes_seen(TODAY).lanes == {}


def test_each_state_counts_once_and_in_one_direction(society: Society) -> None:
    deal = others(society)
    received(deal, 1, 3, 3, 15, 40)
    for state in ("lost", "lost", "refused", "returned"):
        parcel(deal, state)
    parcel(others(society), "dispatched", dispatched_on=MONDAY)
    parcel(others(society), "held", dispatched_on=MONDAY)
    parcel(deal, "received", business_days=2, origin_country="DE", destination_country="FR")
    found = lanes_seen(TODAY)
    there = found.between(society.given.site, society.seed.site)
    assert there.delivered.tolist() == [1, 0, 2, *[0] * 11, 2]
    assert (there.lost, there.under_way) == (2, [0, 0])
    assert plain(found.between(society.seed.site, society.given.site)) == ([1], 0, [])
    assert set(found.lanes) == {("FR", "DE", 5.0), ("DE", "FR", 5.0)}


@pytest.mark.parametrize(
    ("destination", "ahead", "expected"),
    [
        # Within a country: Tuesday is the first business day; it is over on Wednesday.
        ("FR", 1, 0),
        ("FR", 2, 1),
        ("FR", 4, 3),
        ("FR", 5, 4),  # Saturday: Friday is over
        ("FR", 7, 4),  # Monday is not
        ("FR", 8, 5),
        # Abroad customs take two days: what is posted on Monday comes on Thursday at the earliest.
        ("DE", 3, 0),
        ("DE", 4, 1),
        ("DE", 10, 5),
        ("DE", -1, 0),
    ],
)
def test_a_parcel_under_way_has_not_come_in_the_days_that_are_over(
    society: Society, destination: str, ahead: int, expected: int
) -> None:
    parcel(others(society), "dispatched", dispatched_on=MONDAY, destination_country=destination)
    found = lanes_seen(MONDAY + timedelta(days=ahead)).lanes
    assert found["FR", destination, 2.0 if destination == "FR" else 5.0].under_way == [expected]


def test_parcels_of_another_promise_are_another_lane(society: Society) -> None:
    received(others(society), 1, 1, promised_days=1)
    received(others(society), 4)
    received(others(society), 7, promised_days=5)
    seen, ends = lanes_seen(TODAY), (society.given.site, society.seed.site)
    quick = CarrierService(country="FR", promised_days_home=3, promised_days_abroad=1)
    unknown = CarrierService(country="FR", promised_days_abroad=2)
    assert plain(seen.between(*ends, quick)) == ([0], 0, [])
    assert plain(seen.between(*ends)) == ([3, 6], 0, [])
    assert seen.between(*ends, unknown) is UNSEEN
    assert set(seen.lanes) == {("FR", "DE", 1.0), ("FR", "DE", 5.0)}


def test_all_lanes_are_read_in_one_query(society: Society) -> None:
    received(others(society), *range(1, 12))
    with CaptureQueriesContext(connection) as queries:
        lanes_seen(TODAY)
    assert len(queries) == 1


# --- what the lane makes of it ---


def test_received_and_lost_parcels_sharpen_the_prior(society: Society) -> None:
    deal = others(society)
    received(deal, 2, 2, 3, 9)
    parcel(deal, "lost")
    counts = np.zeros(MAX_BUSINESS_DAYS)
    counts[[1, 2, 8]] = 2, 1, 1
    found = shares(way(society).transit)
    assert found == pytest.approx(shares(transit_predictive(prior(society), counts, 1)), abs=1e-12)
    by_hand = (prior(society) + np.append(counts, 1)) / (6 + 5)
    assert found == pytest.approx(by_hand, abs=1e-9)
    parcel(deal, "refused")
    parcel(deal, "returned")
    assert shares(way(society).transit) == pytest.approx(by_hand, abs=1e-9)


def test_parcels_under_way_count_as_censored_in_brute_force(society: Society) -> None:
    received(others(society), 3, 4)
    for days_ago in (8, 15):
        parcel(others(society), "dispatched", dispatched_on=TODAY - timedelta(days=days_ago))
    # Two customs days before Thursday 1 July is Tuesday 29 June: three weekdays from Wednesday 23 June are
    # over (24, 25, 28), and eight from Wednesday 16 June.
    assert lanes_seen(TODAY).lanes["FR", "DE", 5.0].under_way == [3, 8]
    counts = np.append(np.zeros(MAX_BUSINESS_DAYS), 0.0)
    counts[[2, 3]] = 1.0
    settled = prior(society) + counts
    assert settled[:2].tolist() == [0.0, 0.0]  # nothing comes in less than half the promise
    expected = np.append([0.0, 0.0], enumerated(settled[2:], [3 - 2, 8 - 2]))
    assert shares(way(society).transit) == pytest.approx(expected, abs=1e-9)


def test_what_is_given_is_not_read_again(society: Society) -> None:
    received(others(society), *[1] * 10)
    with CaptureQueriesContext(connection) as queries:
        given = lane(society.offer, society.given.site, society.seed.site, TODAY, UNSEEN)
    assert len(queries) == 0
    assert shares(given.transit) == pytest.approx(prior(society) / 6.0, abs=1e-9)


def test_parcels_seen_on_another_lane_change_nothing(society: Society) -> None:
    received(others(society), *[1] * 10, destination_country="AT")
    assert shares(way(society).transit) == pytest.approx(prior(society) / 6.0, abs=1e-9)


# --- what the next pairing makes of it ---


def test_ten_fast_parcels_change_the_next_pairing_on_their_lane_and_no_other(
    society: Society, outsider: Grower
) -> None:
    home = make_plant(outsider, site=make_site(outsider), name_as_grown="'Home'")
    local = make_offer_in_hand(home, date(2027, 6, 28), countries=[])
    near = make_plant(make_grower("near"), name_as_grown="near seed")
    bloom_said_set(actor=near.grower, plant=near, **SUMMER)
    make_wanted_cross(near, least_chance=0.0)
    deal = others(society)
    first = {row.pk: row for row in matching_run(today=TODAY).pairings}
    abroad = next(row for row in first.values() if row.wanted_cross == society.wanted)
    stays = next(row for row in first.values() if row.offer == local and row.wanted_cross.seed_parent == near)
    before = arrival_quantile_days(way(society).transit, 0.5)
    received(deal, *[1] * 10)
    assert (before, arrival_quantile_days(way(society).transit, 0.5)) == (5, 1)
    second = matching_run(today=TODAY)
    abroad.refresh_from_db()
    stays.refresh_from_db()
    assert (abroad.state, stays.state) == ("superseded", "suggested")
    fresh = Pairing.objects.get(state="suggested", offer=abroad.offer, wanted_cross=abroad.wanted_cross)
    assert fresh.input_digest != abroad.input_digest
    assert second.run.written == 1
    # Posted on Monday 5 July: the second Monday half of the prior has come, now half comes on Thursday.
    names = ("post_on", "arrival_half", "arrival_nine_tenths")
    before_and_now = [[row.plan["dates"][name] for name in names] for row in (abroad, fresh)]
    assert before_and_now == [
        ["2027-07-05", "2027-07-14", "2027-07-19"],
        ["2027-07-05", "2027-07-08", "2027-07-14"],
    ]
    assert fresh.chance > abroad.chance
    again = matching_run(today=TODAY)
    assert again.run.pk == second.run.pk


def test_pollen_on_request_is_posted_later_on_a_lane_with_ten_fast_parcels(society: Society) -> None:
    """It is collected for the day, so that what comes faster may leave nearer to the flowers."""
    august: dict[str, Any] = {"first_month": 8, "first_day": 5, "last_month": 8, "last_day": 25}
    bloom_said_set(actor=society.given.grower, plant=society.given, **SUMMER)
    bloom_said_set(actor=society.seed.grower, plant=society.seed, **august)
    offer_pause(actor=society.given.grower, offer=society.offer)
    make_offer(society.given, countries=["DE"], treatment="fresh")
    deal = others(society)
    (before,) = matching_run(today=TODAY).pairings
    received(deal, *[1] * 10)
    (after,) = matching_run(today=TODAY).pairings
    assert (before.post_on, after.post_on) == (date(2027, 7, 19), date(2027, 7, 27))
    arrivals = [row.plan["dates"]["arrival_half"] for row in (before, after)]
    assert arrivals == ["2027-07-28", "2027-07-30"]
