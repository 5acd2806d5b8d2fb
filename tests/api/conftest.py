"""The three growers as clients of the API, and nobody."""

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:  # this file is read before Django is set up
    from growers.models import Grower
    from tests.api.caller import Caller


@pytest.fixture
def donor_api(donor: "Grower") -> "Caller":
    """The donor's client."""
    from tests.api.caller import caller

    return caller(donor)


@pytest.fixture
def recipient_api(recipient: "Grower") -> "Caller":
    """The recipient's client."""
    from tests.api.caller import caller

    return caller(recipient)


@pytest.fixture
def outsider_api(outsider: "Grower") -> "Caller":
    """The outsider's client."""
    from tests.api.caller import caller

    return caller(outsider)


@pytest.fixture
def nobody(db: None) -> "Caller":
    """A client without a token."""
    from tests.api.caller import Caller

    return Caller()
