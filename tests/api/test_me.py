"""One's own settings: all of them, and only one's own."""

import pytest

from growers.models import Change, Grower
from tests.api.caller import Caller

pytestmark = pytest.mark.django_db


def test_everything_of_mine_and_nothing_of_others(donor: Grower, donor_api: Caller) -> None:
    answer = donor_api.get("me")
    assert (answer.status, answer.body) == (
        200,
        {
            "id": str(donor.public_id),
            "handle": "donor",
            "email": "donor@example.org",
            "name": "",
            "language": "en",
            "units": "metric",
            "zone": "UTC",
            "quiet_from": None,
            "quiet_until": None,
            "countries_shipped_to": [],
            "default_terms": [],
            "may_be_asked": False,
            "credit_line": "",
        },
    )


def test_settings_are_changed(donor: Grower, donor_api: Caller) -> None:
    change = {
        "zone": "Europe/Paris",
        "quiet_from": "22:00",
        "quiet_until": "07:30",
        "countries_shipped_to": ["FR", "BE"],
        "may_be_asked": True,
    }
    before = donor_api.get("me").body
    assert donor_api.patch("me", change).body == {**before, **change}
    assert donor_api.get("me").body == {**before, **change}
    assert Change.objects.filter(kind="grower", subject_id=donor.pk).exists()


@pytest.mark.parametrize(
    ("body", "status", "faults"),
    [
        ({"email": "other@example.org"}, 400, {"/email": "unknown_field"}),
        (
            {"public_id": "x", "closed_at": None},
            400,
            {"/closed_at": "unknown_field", "/public_id": "unknown_field"},
        ),
        ({"quiet_from": "24:00"}, 400, {"/quiet_from": "invalid"}),
        ({"quiet_from": "22:00"}, 422, {"/quiet_until": "not_allowed"}),
        ({"zone": "Mars/Base"}, 422, {"/zone": "not_allowed"}),
        ({"handle": "ADMIN"}, 422, {"/handle": "not_allowed"}),
        ({"countries_shipped_to": ["XX"]}, 422, {"/countries_shipped_to": "not_allowed"}),
        ({"may_be_asked": 1}, 400, {"/may_be_asked": "invalid"}),
    ],
)
def test_wrong_settings_are_refused(
    donor_api: Caller, body: dict[str, object], status: int, faults: dict[str, str]
) -> None:
    before = donor_api.get("me").body
    refused = donor_api.patch("me", body)
    assert (refused.status, refused.faults) == (status, faults)
    assert donor_api.get("me").body == before


def test_a_handle_that_looks_like_anothers_is_refused(donor_api: Caller, outsider: Grower) -> None:
    refused = donor_api.patch("me", {"handle": "0utsider"})
    assert (refused.status, refused.faults) == (422, {"/handle": "taken"})
