"""Taxa: for everybody, with sources, found as people type."""

from urllib.parse import quote

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.api.caller import Caller
from tests.factories import make_taxon

pytestmark = pytest.mark.django_db


def test_a_taxon_is_read_with_its_sources(nobody: Caller) -> None:
    taxon = make_taxon()
    body = nobody.get(f"taxa/{taxon.public_id}").body
    assert body["id"] == str(taxon.public_id)
    assert (body["name"], body["rank"], body["flower_days"], body["opens_at"]) == (
        "Nymphaea 'Invented'",
        "cultivar",
        3,
        None,
    )
    assert body["sources"]["flower"] == {"source": "invented for a test", "status": "judgement"}
    assert body["invented"] is True


def test_taxa_are_found_as_people_type(nobody: Caller) -> None:
    make_taxon(name="Nymphaea × helvola")
    make_taxon(name="Nymphaea 'Crème'", group="lotos")

    def names(query: str) -> list[str]:
        return [each["name"] for each in nobody.get(f"taxa?{query}").body["results"]]

    assert names("q=n.+HELVOLA") == ["Nymphaea × helvola"]
    assert names("q=creme") == names("group=lotos") == ["Nymphaea 'Crème'"]
    assert names("q=creme&group=hardy") == []
    for typed in ("NYMPHAEA X HELVOLA", "N. ×helvola", "‘Helvola’", '"helvola"'):
        assert names(f"q={quote(typed)}") == ["Nymphaea × helvola"], typed
    assert names("") == ["Nymphaea 'Crème'", "Nymphaea × helvola"]


def test_a_list_costs_one_query_and_a_search_two(nobody: Caller) -> None:
    for number in range(5):
        make_taxon(name=f"Nymphaea 'Number {number}'")
    for query, expected in (("", 1), ("?q=number", 2)):
        with CaptureQueriesContext(connection) as captured:
            assert len(nobody.get(f"taxa{query}").body["results"]) == 5
        assert len(captured) == expected
