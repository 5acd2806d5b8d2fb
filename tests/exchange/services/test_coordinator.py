"""The role of a coordinator: given on the machine, taken at once."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from exchange.models import Coordinator
from exchange.services.coordinator import coordinator_grant, coordinator_only, coordinator_revoke
from growers.errors import NotFound
from growers.models import Grower
from growers.services.grower import grower_close

pytestmark = pytest.mark.django_db


def test_the_command_gives_and_takes_the_role(donor: Grower) -> None:
    out = StringIO()
    call_command("coordinator", "donor", stdout=out)
    call_command("coordinator", "donor", stdout=out)
    coordinator_only(donor)
    assert Coordinator.objects.count() == 1
    call_command("coordinator", "donor", "--revoke", stdout=out)
    with pytest.raises(NotFound):
        coordinator_only(donor)
    assert out.getvalue().splitlines() == ["donor is a coordinator."] * 2 + [
        "donor is no longer a coordinator."
    ]


def test_an_unknown_handle_is_told(donor: Grower) -> None:
    with pytest.raises(CommandError, match="no grower with the handle 'nobody'"):
        call_command("coordinator", "nobody")
    with pytest.raises(NotFound):
        coordinator_revoke(handle="nobody")


def test_a_closed_account_coordinates_nothing(donor: Grower, outsider: Grower) -> None:
    coordinator_grant(handle="donor")
    with pytest.raises(NotFound):
        coordinator_only(outsider)
    grower_close(actor=donor)
    with pytest.raises(NotFound):
        coordinator_only(donor)
