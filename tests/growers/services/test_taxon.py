"""Taxa that are not in the reference tables."""

import pytest

from growers.errors import NotFound
from growers.models import Taxon
from growers.services.reference import reference_load
from growers.services.taxon import taxon_create, taxon_update
from tests.factories import make_taxon
from tests.growers.refusal import problems, refused

pytestmark = pytest.mark.django_db

SOURCE = {"source": "invented for a test", "status": "judgement"}


def test_a_taxon_is_stored_with_its_sources() -> None:
    taxon = taxon_create(
        name="Nymphaea 'Dusk'",
        rank="cultivar",
        group="lotos",
        origin_groups=("lotos", "brachyceras"),
        diel="night",
        flower_days=4,
        pollen_first_day=2,
        pollen_last_day=4,
        chromosome_counts=[84],
        ploidy=6.0,
        seed_fertility="no",
        sources={"group": SOURCE, "flower": SOURCE, "chromosomes": SOURCE, "fertility": SOURCE},
    )
    stored = Taxon.objects.get(pk=taxon.pk)
    assert (stored.receptive_day, stored.chromosome_counts, stored.ploidy) == (1, [84], 6.0)
    assert stored.origin_groups == ["lotos", "brachyceras"]
    assert stored.sources["fertility"] == SOURCE


@pytest.mark.parametrize(
    ("value", "aspect"),
    [
        ({}, "group"),
        ({"opens_at": None, "chromosome_counts": [28]}, "chromosomes"),
        ({"ploidy": 2.0}, "chromosomes"),
        ({"pollen_fertility": "poor"}, "fertility"),
    ],
)
def test_every_aspect_that_holds_a_value_needs_a_source(value: dict[str, object], aspect: str) -> None:
    sources = {name: SOURCE for name in ("group", "flower") if name != aspect}
    assert problems(lambda: make_taxon(sources=sources, **value)) == {  # type: ignore[arg-type]
        f"/sources/{aspect}": (
            f"sources/{aspect} is missing; allowed: a source and a status "
            "(read, abstract, memory, practice, judgement, definition, computed)."
        )
    }


@pytest.mark.parametrize("entry", [{"source": "", "status": "read"}, {"source": "a book", "status": "sure"}])
def test_a_source_says_how_far_it_was_verified(entry: dict[str, str]) -> None:
    sources = {"group": entry, "flower": SOURCE}
    assert list(problems(lambda: make_taxon(sources=sources))) == ["/sources/group"]


def test_the_days_of_a_flower_are_in_order() -> None:
    assert problems(lambda: make_taxon(flower_days=3, pollen_first_day=3, pollen_last_day=2)) == {
        "/pollen_last_day": "pollen_last_day is 2; allowed: 3 (pollen_first_day) or later."
    }
    assert problems(lambda: make_taxon(flower_days=3, receptive_day=4)) == {
        "/receptive_day": "receptive_day is 4; allowed: 1 to 3, the days a flower lasts."
    }
    assert problems(lambda: make_taxon(flower_days=3, pollen_first_day=4, pollen_last_day=4)) == {
        "/pollen_first_day": "pollen_first_day is 4; allowed: 0 to 3, the days a flower lasts.",
        "/pollen_last_day": "pollen_last_day is 4; allowed: 1 to 3, the days a flower lasts.",
    }
    assert problems(lambda: make_taxon(flower_days=0)) == {
        "/flower_days": "flower_days is 0; allowed: whole numbers from 1 to 14."
    }


def test_pollen_may_be_shed_in_the_bud_of_the_day_before() -> None:
    """As *N. thermarum* does in the reference tables: Povilus, Losada & Friedman (abstract)."""
    reference_load()
    known = Taxon.objects.get(name="Nymphaea thermarum")
    assert (known.pollen_first_day, known.pollen_last_day) == (0, 1)
    made = make_taxon(
        name="Nymphaea 'Its seedling'",
        group="brachyceras",
        flower_days=known.flower_days,
        pollen_first_day=known.pollen_first_day,
        pollen_last_day=known.pollen_last_day,
    )
    assert taxon_update(taxon=known, note="told again").pollen_first_day == made.pollen_first_day == 0
    assert list(problems(lambda: make_taxon(pollen_first_day=-1))) == ["/pollen_first_day"]


def test_a_name_is_used_once_whatever_its_case() -> None:
    make_taxon(name="Nymphaea 'Dusk'")
    assert list(problems(lambda: make_taxon(name="nymphaea 'dusk'"))) == ["/name"]


def test_an_update_leaves_what_it_does_not_name() -> None:
    taxon = make_taxon(flower_days=5)
    updated = taxon_update(taxon=taxon, seed_fertility="yes")
    assert (updated.seed_fertility, updated.flower_days, updated.name) == ("yes", 5, taxon.name)
    refused(lambda: taxon_update(taxon=Taxon(pk=10**9), flower_days=3), NotFound)
    assert list(problems(lambda: taxon_update(taxon=taxon, sources={}))) == [
        "/sources/group",
        "/sources/flower",
        "/sources/fertility",
    ]
