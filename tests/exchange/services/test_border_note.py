"""A border note is taken in by the next run like any other changed fact."""

from datetime import timedelta
from typing import Any

import pytest

from exchange.models import BorderNote, DueTask, Pairing
from exchange.services.border_note import border_note_create
from exchange.services.due import run_due
from exchange.services.rescoring import rescore
from growers.models import Change, Grower
from tests.clock import MovableClock
from tests.exchange.society import NOON, TODAY, Society, make_society
from tests.factories import make_site, make_taxon

pytestmark = pytest.mark.django_db


@pytest.fixture
def society(donor: Grower, recipient: Grower, clock: MovableClock) -> Society:
    """A pairing from France to Germany, all changes taken in."""
    clock.set(NOON)
    made = make_society(donor, recipient)
    rescore(now=NOON)
    assert Change.objects.count() == 0
    return made


def note(**fields: Any) -> BorderNote:
    stated = {
        "kind": "forbidden",
        "destination": "DE",
        "text": "not this way",
        "source": "invented for a test",
    }
    return border_note_create(**{**stated, "checked_on": TODAY, **fields})


def test_a_note_about_all_plants_is_taken_in_by_the_next_run(society: Society) -> None:
    note()
    noted = Change.objects.values_list("kind", "subject_id")
    assert list(noted) == [("site", society.seed.site_id)]
    run_due(NOON + timedelta(minutes=1), limit=10)
    assert Pairing.objects.get().state == Pairing.State.SUPERSEDED
    assert Change.objects.count() == DueTask.objects.filter(kind="matching").count() == 0


def test_a_note_about_one_taxon_is_noted_for_it(society: Society) -> None:
    taxon = make_taxon()
    Change.objects.all().delete()
    note(taxon=taxon)
    assert list(Change.objects.values_list("kind", "subject_id")) == [("taxon", taxon.pk)]


def test_a_note_about_a_border_that_nobody_is_behind_touches_nothing(
    society: Society, outsider: Grower
) -> None:
    make_site(outsider)
    Change.objects.all().delete()
    note(destination="NZ")
    assert Change.objects.count() == 0
    assert rescore(now=NOON) is None
    assert Pairing.objects.get().state == Pairing.State.SUGGESTED
