"""Two growers at one moment: whoever comes second meets what the first has written."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection

from growers.errors import Conflict, DomainError, InvalidInput
from growers.models import Change, Grower, Plant
from growers.services.grower import grower_create
from growers.services.plant import plant_update
from tests.factories import make_plant, make_site

pytestmark = pytest.mark.django_db(transaction=True)

Outcome = DomainError | None


def at_once(*calls: Callable[[], object]) -> list[Outcome]:
    """What each call ended in, all started together, each on a connection of its own."""
    barrier = Barrier(len(calls))

    def run(call: Callable[[], object]) -> Outcome:
        barrier.wait()
        try:
            call()
        except DomainError as error:
            return error
        finally:
            connection.close()
        return None

    with ThreadPoolExecutor(len(calls)) as pool:
        return list(pool.map(run, calls))


@pytest.mark.parametrize("links", [1, 4])
def test_two_updates_cannot_close_a_circle_together(donor: Grower, links: int) -> None:
    for _ in range(5):
        one = two = make_plant(donor)
        other = make_plant(donor)
        for _ in range(links - 1):
            two = make_plant(donor, seed_parent=two)
        outcomes = at_once(
            lambda one=one, other=other: plant_update(actor=donor, plant=one, seed_parent=other),  # type: ignore[misc]
            lambda two=two, other=other: plant_update(actor=donor, plant=other, pollen_parent=two),  # type: ignore[misc]
        )
        refusals = [outcome for outcome in outcomes if outcome is not None]
        assert [type(refusal) for refusal in refusals] == [InvalidInput]
        assert "would be its own" in refusals[0].detail
        linked = Plant.objects.filter(pk__in=[one.pk, other.pk]).exclude(seed_parent=None, pollen_parent=None)
        assert linked.count() == 1


def test_plants_entered_at_once_get_different_numbers(donor: Grower) -> None:
    make_site(donor)
    assert at_once(*[lambda: make_plant(donor)] * 4) == [None] * 4
    assert set(Plant.objects.values_list("number", flat=True)) == {"1", "2", "3", "4"}


def test_one_of_two_gets_the_handle_and_the_other_leaves_no_trace() -> None:
    outcomes = at_once(*[lambda: grower_create(handle="lotus"), lambda: grower_create(handle="1otus")] * 2)
    refusals = [outcome for outcome in outcomes if outcome is not None]
    assert len(refusals) == 3
    assert {type(refusal) for refusal in refusals} <= {Conflict, InvalidInput}
    assert Grower.objects.count() == Change.objects.filter(kind="grower").count() == 1
