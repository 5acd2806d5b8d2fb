"""What a notification says: to the donor nothing that tells who asks or for which plant."""

import pytest

from exchange.models import Notification, Pairing
from exchange.wording.notification import notification_sentence
from exchange.wording.region import region_words
from growers.models import Grower
from growers.selectors.site import Region
from tests.clock import MovableClock
from tests.exchange.society import NOON, SECRET_NAME, make_pairing, make_society

WHERE = "Europe, northern temperate"
DAY = "To post: best on Thu 18 June, not later than Thu 25 June; each flower about 1 in 8"
TO_DONOR = {
    "pairing_proposed": f"Someone in this region: {WHERE}, would like pollen of your 'Ferry'. {DAY}",
    "pairing_changed": f"Pollen of your 'Ferry' for someone in this region: {WHERE}."
    f" The plan has changed. {DAY}",
    "pairing_withdrawn": f"Pollen of your 'Ferry' for someone in this region: {WHERE}."
    " It is no longer proposed.",
}
TO_RECIPIENT = {
    "pairing_proposed": f"donor ({WHERE}) could send pollen of 'Ferry' for your {SECRET_NAME}. {DAY}",
    "pairing_changed": f"Pollen of 'Ferry' from donor ({WHERE}) for your {SECRET_NAME}."
    f" The plan has changed. {DAY}",
    "pairing_withdrawn": f"Pollen of 'Ferry' from donor ({WHERE}) for your {SECRET_NAME}"
    " is no longer proposed.",
}


@pytest.fixture
def pairing(donor: Grower, recipient: Grower, clock: MovableClock) -> Pairing:
    clock.set(NOON)
    society = make_society(donor, recipient)
    return make_pairing(society.offer, society.wanted)


@pytest.mark.django_db
@pytest.mark.parametrize("kind", TO_DONOR)
def test_each_side_reads_its_own_sentence(
    pairing: Pairing, donor: Grower, recipient: Grower, kind: str
) -> None:
    to_donor = notification_sentence(Notification(grower=donor, kind=kind, pairing=pairing))
    assert to_donor.startswith(TO_DONOR[kind])
    assert to_donor.endswith(".")
    for secret in (SECRET_NAME, "recipient", "Germany", "DE"):
        assert secret not in to_donor
    to_recipient = notification_sentence(Notification(grower=recipient, kind=kind, pairing=pairing))
    assert to_recipient.startswith(TO_RECIPIENT[kind])
    assert "France" not in to_recipient


def test_a_region_is_worded_no_finer_than_it_is() -> None:
    assert region_words(Region("country", "Europe", "FR")) == "France"
    assert region_words(Region("subdivision", "Europe", "FR", "FR-75")) == "France, FR-75"
    band = Region("climate_band", "Europe", climate_band="northern temperate")
    assert region_words(band) == "Europe, northern temperate"
    cell = Region("cell", "Europe", "FR", None, "northern temperate", 48.75, -2.25)
    assert region_words(cell) == "France, near 48.75°, -2.25°"
