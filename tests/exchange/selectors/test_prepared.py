"""Queries whose text is made once answer as those made anew, for each grower, instant and list of keys."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exchange.selectors.prepared import GROWER, INSTANT, KEY, Prepared
from growers.models import Grower, Plant
from tests.clock import MovableClock
from tests.exchange.society import NOON
from tests.factories import make_plant

pytestmark = pytest.mark.django_db


def test_each_call_has_its_own_values(donor: Grower, recipient: Grower, clock: MovableClock) -> None:
    clock.set(NOON)
    first = make_plant(donor)
    clock.move(days=10)
    later, other = make_plant(donor), make_plant(recipient)
    keys = [first.pk, later.pk, other.pk]
    of_grower = Prepared(
        lambda: (
            Plant.objects.filter(
                grower=GROWER, created_at__lte=INSTANT, pk__in=[KEY], group__in=["hardy", "lotos"]
            )
            .order_by("pk")
            .values_list("pk")
        )
    )

    def found(grower: Grower, days: int, among: list[int]) -> list[int]:
        instant = NOON + timedelta(days=days)
        return [pk for (pk,) in of_grower.rows(grower_id=grower.pk, instant=instant, keys=among)]

    assert found(donor, 5, keys) == [first.pk]
    assert found(donor, 11, keys) == [first.pk, later.pk]
    assert found(donor, 11, [later.pk]) == [later.pk]
    assert found(recipient, 11, keys) == [other.pk]
    assert found(recipient, 11, []) == []


def test_a_query_is_asked_once_a_call(donor: Grower) -> None:
    make_plant(donor)
    plants = Prepared(lambda: Plant.objects.filter(grower=GROWER).values_list("number"))
    for _ in range(2):
        with CaptureQueriesContext(connection) as captured:
            assert plants.rows(grower_id=donor.pk) == [("1",)]
        assert len(captured) == 1
