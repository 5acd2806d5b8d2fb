"""Taxa found by their names as people type them."""

import pytest

from growers.errors import Conflict
from growers.selectors.taxon import TaxonFound, folded, group_taxon, taxa_by_name, taxon_search
from tests.factories import make_taxon

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("N. × thiona", "Nymphaea × thiona"),
        ("n. x thiona", "Nymphaea × thiona"),
        ("Nymphaea ×thiona", "Nymphaea × thiona"),
        ("NYMPHAEA THIONA", "Nymphaea × thiona"),
        ("N. ‘Crème Dusk’", "Nymphaea 'Creme Dusk'"),
        ('N. "creme  dusk"', "Nymphaea 'Crème Dusk'"),
        ("V. cruziana", "Victoria cruziana"),
    ],
)
def test_names_fold_case_accents_quotes_and_the_hybrid_sign(typed: str, meant: str) -> None:
    assert folded(typed) == folded(meant)


def test_names_that_differ_stay_apart() -> None:
    assert folded("Nymphaea alba") != folded("Nymphaea albida")
    assert folded("Nymphaea 'X-ray'") == "nymphaea x-ray"
    assert folded("Nelumbo lutea") == "nelumbo lutea"


def test_a_search_finds_all_words_and_the_beginning_first() -> None:
    names = ["Nymphaea 'Alba Dusk'", "Nymphaea alba", "Nymphaea 'Dusk over Alba'", "Nymphaea lotus"]
    first = make_taxon(name=names[1], rank="species")
    for name in (names[0], names[2], names[3]):
        make_taxon(name=name)
    assert [found.name for found in taxon_search("n. alba")] == [names[0], names[1], names[2]]
    assert [found.name for found in taxon_search("dusk alba")] == [names[0], names[2]]
    assert taxon_search("N. ALBA")[1] == TaxonFound(first.public_id, names[1], "species", "hardy", "day")
    assert taxon_search("rose") == []


def test_a_name_is_found_as_typed_where_there_is_just_one(django_assert_num_queries: object) -> None:
    dusk = make_taxon(name="Nymphaea 'Dusk'")
    make_taxon(name="Nymphaea × mira")
    plain = make_taxon(name="Nymphaea mira")
    with django_assert_num_queries(1):  # type: ignore[operator]
        assert taxa_by_name(["n. dusk", "N. mira", "unknown", ""]) == {"n. dusk": dusk}
    assert taxa_by_name(["Nymphaea mira", "N. mira"]) == {"Nymphaea mira": plain}
    with django_assert_num_queries(0):  # type: ignore[operator]
        assert taxa_by_name(["", ""]) == {}


def test_a_group_without_its_row_says_what_is_missing() -> None:
    lotos = make_taxon(name="lotos", rank="group", group="lotos", diel="night")
    assert group_taxon("lotos") == lotos
    with pytest.raises(Conflict, match="The reference tables have no entry for the group hardy"):
        group_taxon("hardy")
