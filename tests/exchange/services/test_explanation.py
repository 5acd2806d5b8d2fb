"""Why a wanted cross has what it has: for coordinators, from what stands, also where it has nothing."""

import pytest

from exchange.services.coordinator import coordinator_grant
from exchange.services.explanation import wanted_cross_explain
from growers.errors import Conflict, NotFound
from growers.models import Grower
from tests.clock import MovableClock
from tests.exchange.refusal import refused
from tests.exchange.society import NOON, Society, make_pairing, make_run, make_society
from tests.factories import make_plant, make_wanted_cross

pytestmark = pytest.mark.django_db


@pytest.fixture
def society(donor: Grower, recipient: Grower, clock: MovableClock) -> Society:
    clock.set(NOON)
    return make_society(donor, recipient)


@pytest.fixture
def coordinator(donor: Grower) -> Grower:
    return coordinator_grant(handle="donor")


def test_it_tells_what_was_given_and_where_the_better_went(
    society: Society, coordinator: Grower, outsider: Grower
) -> None:
    make_run()
    # Four doses, and the outsider's four flowers would all make better use of them.
    other = make_wanted_cross(make_plant(outsider), flowers=4)
    make_pairing(society.offer, society.wanted, allocated_doses=0)
    better = make_pairing(society.offer, other, allocated_doses=0)
    better.plan["dose_chances"] = [0.5, 0.5, 0.5, 0.5]
    better.save()
    told = wanted_cross_explain(actor=coordinator, wanted_cross=society.wanted).explanation
    (given,) = told.given
    assert (given.offer, given.doses) == (str(society.offer.public_id), 1)
    assert given.expected_capsules == pytest.approx(0.12)
    assert told.reason.code == "allocation_more_elsewhere"
    (passed,) = told.passed
    assert (passed.offer, passed.went_to) == (str(society.offer.public_id), (str(other.public_id),))


def test_a_cross_that_nothing_was_on_offer_for_is_told_so(society: Society, coordinator: Grower) -> None:
    run = make_run()
    told = wanted_cross_explain(actor=coordinator, wanted_cross=society.wanted)
    assert (told.run, told.wanted_cross) == (run, society.wanted)
    assert (told.explanation.reason.code, told.explanation.given) == ("allocation_no_offer", ())
    assert told.explanation.reason.parameters == {"doses": 0, "flowers": 4, "offers": 0}


def test_others_are_told_nothing_and_before_the_first_run_there_is_nothing(
    society: Society, coordinator: Grower
) -> None:
    refused(lambda: wanted_cross_explain(actor=coordinator, wanted_cross=society.wanted), Conflict)
    make_run()
    recipient = society.seed.grower
    refused(lambda: wanted_cross_explain(actor=recipient, wanted_cross=society.wanted), NotFound)
