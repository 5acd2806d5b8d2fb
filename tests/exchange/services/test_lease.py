"""A lease is held by one, runs out, and tells a holder that was overtaken."""

from datetime import timedelta

import pytest

from exchange.models import Lease
from exchange.services.lease import LEASE_LASTS, LeaseLost, leased
from tests.exchange.society import NOON

pytestmark = pytest.mark.django_db


def test_a_lease_is_held_by_one_and_given_back() -> None:
    with leased("work", NOON) as first:
        assert first is not None
        with leased("work", NOON) as second, leased("other work", NOON) as other:
            assert (second, other is None) == (None, False)
        assert Lease.objects.get(name="work").holder == first.holder
    with leased("work", NOON) as again:
        assert again is not None


def test_a_lease_is_given_back_by_work_that_fails() -> None:
    with pytest.raises(LookupError), leased("work", NOON):
        raise LookupError
    assert Lease.objects.get().held_until is None


def test_a_lease_runs_out_and_its_late_holder_is_told() -> None:
    end = NOON + LEASE_LASTS
    with leased("work", NOON) as slow:
        assert slow is not None
        with leased("work", end - timedelta(microseconds=1)) as early:
            assert early is None
        with leased("work", end) as other:
            assert other is not None
            with pytest.raises(LeaseLost):
                slow.renew()
            other.renew()
            # The late holder's end takes nothing from the new one.
        assert Lease.objects.get().holder is None


def test_a_renewed_lease_lasts_from_then_on() -> None:
    with leased("work", NOON) as held:
        assert held is not None
        held.taken_at += timedelta(minutes=10)
        held.renew()
        with leased("work", NOON + LEASE_LASTS + timedelta(minutes=9)) as other:
            assert other is None
