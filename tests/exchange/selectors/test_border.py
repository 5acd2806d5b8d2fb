"""Papers lines: what is on file, how old it is, and never permission."""

from datetime import date, timedelta

import pytest

from exchange.matching.reason import Reason
from exchange.models import BorderNote
from exchange.selectors.border import TRUSTED_DAYS, border_notes
from exchange.services.border_note import border_note_create
from exchange.wording.catalogue import sentence
from growers.errors import InvalidInput
from growers.models import Taxon
from tests.factories import make_taxon
from tests.matching.instance import offer, parent, wanted

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 15)
RECENT = TODAY - timedelta(days=TRUSTED_DAYS)


def note(
    checked_on: date, *, taxon: Taxon | None = None, kind: str = "conditions", origin: str = "DE"
) -> BorderNote:
    return border_note_create(
        kind=kind,
        taxon=taxon,
        origin=origin,
        destination="US",
        text="ask first",
        source="a page read in a test",
        checked_on=checked_on,
    )


def line() -> Reason | None:
    return border_notes(TODAY).papers(offer(), wanted())


def test_nothing_on_file_says_that_it_is_no_permission() -> None:
    found = line()
    assert found == Reason("papers_nothing_on_file", {"origin": "DE", "destination": "US"})
    assert "this is not permission" in sentence(found.code, found.parameters)


def test_inside_one_country_there_is_no_papers_line() -> None:
    note(RECENT)
    assert border_notes(TODAY).papers(offer(country="US"), wanted()) is None


def test_a_note_of_the_last_twelve_months_is_shown_with_source_and_day() -> None:
    note(RECENT)
    found = line()
    assert found is not None
    assert found.code == "papers_note_on_file"
    assert found.parameters["source"] == "a page read in a test"
    assert found.parameters["checked_on"] == RECENT.isoformat()


def test_an_older_note_reads_as_unknown() -> None:
    note(RECENT - timedelta(days=1))
    found = line()
    assert found is not None
    assert found.code == "papers_note_old"
    assert "treat it as unknown" in sentence(found.code, found.parameters)


def test_the_latest_check_counts() -> None:
    note(RECENT - timedelta(days=400))
    note(RECENT + timedelta(days=30))
    found = line()
    assert found is not None
    assert found.parameters["checked_on"] == (RECENT + timedelta(days=30)).isoformat()


def test_a_note_that_forbids_is_a_refusal_only_while_it_is_current() -> None:
    note(RECENT, kind="forbidden")
    found = border_notes(TODAY).forbidding(offer(), wanted())
    assert found is not None
    assert found.code == "papers_forbidden"
    assert border_notes(TODAY + timedelta(days=1)).forbidding(offer(), wanted()) is None


def test_a_note_about_a_taxon_or_an_origin_concerns_no_other() -> None:
    lily = make_taxon(name="Nymphaea bordera", invented=True)
    note(RECENT, taxon=lily, kind="forbidden")
    note(RECENT, origin="FR", kind="forbidden")
    of_taxon = offer(parent=parent("lily", taxon="Nymphaea bordera"))
    assert border_notes(TODAY).forbidding(offer(), wanted()) is None
    assert border_notes(TODAY).forbidding(of_taxon, wanted()) is not None


def test_a_note_not_yet_made_on_that_day_is_not_known() -> None:
    note(TODAY)
    assert border_notes(TODAY - timedelta(days=1)).papers(offer(), wanted()) == Reason(
        "papers_nothing_on_file", {"origin": "DE", "destination": "US"}
    )


def test_a_note_without_source_or_country_is_refused_and_not_written() -> None:
    with pytest.raises(InvalidInput) as caught:
        border_note_create(kind="forbidden", destination="Thailand", text="x", source="", checked_on=TODAY)
    assert {problem.pointer for problem in caught.value.problems} == {"/destination", "/source"}
    assert BorderNote.objects.count() == 0
