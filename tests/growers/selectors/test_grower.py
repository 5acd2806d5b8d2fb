"""What others read of a grower is the name a grower chose."""

import pytest

from growers.models import Grower
from growers.selectors.grower import GrowerForOthers, GrowerForOwner, grower_seen
from growers.services.grower import grower_close, grower_update

pytestmark = pytest.mark.django_db


def test_others_read_the_handle_and_nothing_else(donor: Grower, outsider: Grower) -> None:
    expected = GrowerForOthers(donor.public_id, "donor")
    assert grower_seen(viewer=outsider, grower=donor) == expected
    assert grower_seen(viewer=None, grower=donor) == expected


def test_the_own_settings_are_seen_in_full(donor: Grower) -> None:
    grower = grower_update(actor=donor, name="Somebody", countries_shipped_to=["FR"], zone="Europe/Paris")
    seen = grower_seen(viewer=donor, grower=grower)
    assert isinstance(seen, GrowerForOwner)
    assert (seen.email, seen.name, seen.zone) == ("donor@example.org", "Somebody", "Europe/Paris")
    assert (seen.countries_shipped_to, seen.default_terms) == (("FR",), ())


def test_a_closed_account_is_nobody(donor: Grower, outsider: Grower) -> None:
    grower_close(actor=donor)
    seen = grower_seen(viewer=outsider, grower=Grower.objects.get(pk=donor.pk))
    assert seen == GrowerForOthers(donor.public_id, "former grower")
