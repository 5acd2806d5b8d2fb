"""What several files of tests of services begin with."""

from typing import TYPE_CHECKING

import pytest

from tests.clock import MovableClock

if TYPE_CHECKING:
    from growers.models import Grower
    from tests.exchange.gathered import Gathered


@pytest.fixture
def gathered(donor: "Grower", recipient: "Grower", clock: MovableClock) -> "Gathered":
    """A gathering, and an agreement whose recipient has not yet asked for a place in it."""
    # This file can be loaded before the settings are; models cannot.
    from tests.exchange.gathered import make_gathered
    from tests.exchange.society import NOON
    from tests.factories import make_grower

    clock.set(NOON)
    return make_gathered(donor, recipient, make_grower("keeper"))
