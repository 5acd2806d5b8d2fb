"""Plants from a table: all of them or none."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from growers.errors import InvalidInput, NotFound
from growers.models import Change, Grower, Plant, Site
from growers.services.csv_table import MOST_PROBLEMS
from growers.services.plant_import import MOST_PLANTS, plant_import
from tests.factories import make_plant, make_site, make_taxon
from tests.growers.refusal import facts, problems, refused

pytestmark = pytest.mark.django_db

TABLE = """\
number;name_as_grown;taxon;group;diel;crowns;seed_parent;pollen_parent;traits;chromosome_counts;wild_year;origin;direction_known
;'Dawn';;hardy;day;3;;;white; 56; 1998;wild;
P-7;seedling of dawn;;hardy;day;;P-8;old;"red; scented";56;;;no
P-8;;n. invented;;;;;;;;;;
"""


@pytest.fixture
def site(donor: Grower) -> Site:
    return make_site(donor)


def load(donor: Grower, site: Site, text: str, *, dry_run: bool = False) -> object:
    return plant_import(actor=donor, site=site, content=text.encode(), dry_run=dry_run)


def test_a_table_becomes_plants(donor: Grower, site: Site) -> None:
    taxon = make_taxon(name="Nymphaea ‘Invented’", group="lotos", diel="night")
    old = make_plant(donor, number="old")
    result = plant_import(actor=donor, site=site, content=TABLE.encode())
    assert result.written
    assert [(row.row, row.number, row.taxon_name, row.group, row.diel) for row in result.plants] == [
        (2, "1", "", "hardy", "day"),
        (3, "P-7", "", "hardy", "day"),
        (4, "P-8", "Nymphaea ‘Invented’", "lotos", "night"),
    ]
    dawn, seven, eight = Plant.objects.exclude(pk=old.pk).order_by("pk")
    assert (dawn.name_as_grown, dawn.crowns, dawn.origin, dawn.wild_year) == ("'Dawn'", 3, "wild", 1998)
    assert (seven.seed_parent, seven.pollen_parent, seven.direction_known) == (eight, old, False)
    assert (seven.traits, seven.chromosome_counts) == (["red", "scented"], [56])
    assert (eight.name_as_grown, eight.taxon, eight.crowns) == ("unnamed seedling", taxon, 1)
    assert [row.public_id for row in result.plants] == [dawn.public_id, seven.public_id, eight.public_id]


def test_each_imported_plant_is_noted(donor: Grower, site: Site) -> None:
    Change.objects.all().delete()
    load(donor, site, "name_as_grown,group,diel\na,hardy,day\nb,hardy,day\n")
    noted = Change.objects.values_list("kind", "subject_id")
    assert sorted(noted) == sorted(("plant", pk) for pk in Plant.objects.values_list("pk", flat=True))


def test_a_dry_run_shows_what_would_be_written_and_writes_nothing(donor: Grower, site: Site) -> None:
    make_taxon(group="lotos", diel="night")
    make_plant(donor, number="old")
    before = facts()
    shown = plant_import(actor=donor, site=site, content=TABLE.encode(), dry_run=True)
    assert facts() == before
    assert not shown.written
    assert {row.public_id for row in shown.plants} == {None}
    written = plant_import(actor=donor, site=site, content=TABLE.encode())
    assert [row.number for row in shown.plants] == [row.number for row in written.plants]


@pytest.mark.parametrize("dry_run", [True, False])
def test_one_wrong_row_refuses_the_table_and_every_problem_is_told(
    donor: Grower, site: Site, dry_run: bool
) -> None:
    make_taxon(group="lotos", diel="night")
    make_plant(donor, number="old")
    table = """\
name_as_grown,number,taxon,group,diel,crowns,wild_year,seed_parent,chromosome_counts,direction_known
fine,1,,hardy,day,1,,,,
,old,N. unknown,hardy,day,900,,,28;many,
,2,Nymphaea invented,hardy,day,x,,P-99,,perhaps
,1,,roses,,,1998,,,
"""
    assert problems(lambda: load(donor, site, table, dry_run=dry_run)) == {
        "row 3 column number": (
            "Row 3, column number: it is 'old'; allowed: a number that none of your plants has yet."
        ),
        "row 3 column taxon": (
            "Row 3, column taxon: it is 'N. unknown'; allowed: the name of a taxon in the tables, or nothing."
        ),
        "row 3 column crowns": "Row 3, column crowns: it is '900'; allowed: a whole number from 1 to 500.",
        "row 3 column chromosome_counts": (
            "Row 3, column chromosome_counts: it is 'many'; allowed: whole numbers from 8 to 400 (2n)."
        ),
        "row 4 column group": (
            "Row 4, column group: it is 'hardy'; allowed: lotos, the group of Nymphaea 'Invented'."
        ),
        "row 4 column crowns": "Row 4, column crowns: it is 'x'; allowed: a whole number from 1 to 500.",
        "row 4 column seed_parent": (
            "Row 4, column seed_parent: it is 'P-99'; "
            "allowed: the number of a plant of yours or of a row of this table."
        ),
        "row 4 column direction_known": "Row 4, column direction_known: it is 'perhaps'; allowed: yes, no.",
        "row 5 column number": "Row 5, column number: it is '1'; allowed: a number of its own; row 2 has it.",
        "row 5 column group": (
            "Row 5, column group: it is 'roses'; "
            "allowed: hardy, brachyceras, anecphya, lotos, hydrocallis, victoria, nelumbo."
        ),
        "row 5 column diel": "Row 5, column diel: it is missing; allowed: day, night.",
        "row 5 column wild_year": (
            "Row 5, column wild_year: it is 1998; allowed: nothing, unless origin is wild."
        ),
    }


def test_a_row_that_would_be_its_own_grandparent_is_named_with_its_path(donor: Grower, site: Site) -> None:
    table = """\
name_as_grown,number,group,diel,seed_parent,pollen_parent
a,P-7,hardy,day,P-9,
b,P-9,hardy,day,,P-7
c,P-11,hardy,day,P-11,P-7
"""
    told = "allowed: a plant that does not descend from"
    assert problems(lambda: load(donor, site, table)) == {
        "row 2 column seed_parent": (
            "Row 2, column seed_parent: it is 'P-9', "
            f"but P-7 would be its own grandparent (P-7 → P-9 → P-7); {told} P-7."
        ),
        "row 3 column pollen_parent": (
            "Row 3, column pollen_parent: it is 'P-7', "
            f"but P-9 would be its own grandparent (P-9 → P-7 → P-9); {told} P-9."
        ),
        "row 4 column seed_parent": (
            "Row 4, column seed_parent: it is 'P-11', "
            f"but P-11 would be its own parent (P-11 → P-11); {told} P-11."
        ),
    }


def test_the_number_of_another_growers_plant_is_unknown(donor: Grower, site: Site, outsider: Grower) -> None:
    make_plant(outsider, number="X-1")
    found = problems(lambda: load(donor, site, "name_as_grown,group,diel,seed_parent\na,hardy,day,X-1\n"))
    assert list(found) == ["row 2 column seed_parent"]


def test_a_missing_column_is_named(donor: Grower, site: Site) -> None:
    assert list(problems(lambda: load(donor, site, "number,group\n1,hardy\n"))) == [
        "row 1 column name_as_grown"
    ]


def test_plants_are_not_put_at_anothers_site(donor: Grower, outsider: Grower, site: Site) -> None:
    refused(lambda: load(outsider, site, "name_as_grown,group,diel\na,hardy,day\n"), NotFound)


def test_too_long_a_table_is_refused_before_it_is_read(donor: Grower, site: Site) -> None:
    rows = "a,hardy,day\n" * (MOST_PLANTS + 1)
    error = refused(lambda: load(donor, site, f"name_as_grown,group,diel\n{rows}"), InvalidInput)
    assert str(error) == "The table has 5001 plants; allowed: at most 5000."


def test_the_number_of_queries_does_not_grow_with_the_rows(donor: Grower, site: Site) -> None:
    def queries(count: int, prefix: str) -> int:
        rows = "".join(f"{prefix}{row},hardy,day,{prefix}0\n" for row in range(1, count))
        table = f"number,group,diel,seed_parent,name_as_grown\n{prefix}0,hardy,day,\n{rows}"
        with CaptureQueriesContext(connection) as captured:
            load(donor, site, table)
        return len(captured)

    assert queries(2, "a") == queries(30, "b")


def test_a_circle_of_many_rows_is_told_shortly(donor: Grower, site: Site) -> None:
    count = 300
    rows = [f"p,P-{number},hardy,day,P-{(number + 1) % count}" for number in range(count)]
    table = "\n".join(["name_as_grown,number,group,diel,seed_parent", *rows, "fine,Q,hardy,day,P-0"])
    told = problems(lambda: load(donor, site, table))
    assert list(told) == [f"row {row} column seed_parent" for row in range(2, MOST_PROBLEMS + 2)]
    path = " → ".join([*(f"P-{number}" for number in range(10)), "…", "P-0"])
    assert told["row 2 column seed_parent"] == (
        f"Row 2, column seed_parent: it is 'P-1', but P-0 would be its own ancestor ({path}); "
        "allowed: a plant that does not descend from P-0."
    )
