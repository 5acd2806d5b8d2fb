"""The rules of a plant that need nothing but the plant, shared by typed entry and import."""

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import count
from typing import TypedDict

from growers import place
from growers.models import Plant, Site, Taxon
from growers.services.problem import Problems
from growers.services.row import as_list, columns_check, words_check
from growers.services.taxon import counts_check

UNNAMED = "unnamed seedling"
EARLIEST_WILD_YEAR = 1750
"""Before it no living accession was collected (judgement)."""

CROWNS = (1, 500)
PARENTS = ("seed_parent", "pollen_parent")
LONGEST_PATH = 10
"""Plants of a circle that a sentence names (judgement)."""

PLAIN_NUMBER = re.compile(r"[0-9]{1,9}", re.ASCII)


class PlantFacts(TypedDict, total=False):
    """What a grower may say of a plant when it is entered."""

    number: str
    name_as_grown: str
    taxon: Taxon | None
    group: str
    diel: str
    identity: str
    crowns: int
    traits: Sequence[str]
    seed_fertility: str
    pollen_fertility: str
    fertility_evidence: str
    chromosome_counts: Sequence[int]
    seed_parent: Plant | None
    pollen_parent: Plant | None
    parentage_confidence: str
    direction_known: bool
    origin: str
    wild_country: str
    wild_year: int | None
    rights: str
    health_seen: str


class PlantFields(PlantFacts, total=False):
    """What a grower may change; a plant may move to another site."""

    site: Site


def group_diels() -> dict[str, str]:
    """When flowers of each group are open, from the group rows of the reference tables."""
    rows = Taxon.objects.filter(rank=Taxon.Rank.GROUP).values_list("group", "diel")
    return {str(group): str(diel) for group, diel in rows}


def taxon_facts_set(
    plant: Plant, fields: Mapping[str, object], diels: Mapping[str, str], problems: Problems
) -> None:
    """Take group and diel habit from the taxon unless stated; a stated group may not contradict it."""
    taxon = plant.taxon
    if taxon is not None:
        if fields.get("group") and fields["group"] != taxon.group:
            problems.add("group", plant.group, f"{taxon.group}, the group of {taxon.name}")
        plant.group = taxon.group
    habit = taxon.diel if taxon is not None else diels.get(plant.group, "")
    restated = fields.get("taxon") is not None or "group" in fields or not plant.diel
    if restated and not fields.get("diel"):
        plant.diel = habit


def plant_check(
    plant: Plant, problems: Problems, *, this_year: int, given_later: Collection[str] = ()
) -> None:
    """Check the columns of a plant; relations and what is ``given_later`` are the caller's to check."""
    plant.name_as_grown = plant.name_as_grown or UNNAMED
    plant.traits, plant.chromosome_counts = as_list(plant.traits), as_list(plant.chromosome_counts)
    _origin_check(plant, problems)
    words_check(problems, "traits", plant.traits)
    counts_check(problems, plant.chromosome_counts)
    ranges = {"crowns": CROWNS, "wild_year": (EARLIEST_WILD_YEAR, this_year)}
    columns_check(
        plant, problems, ranges=ranges, names=set(PlantFacts.__annotations__).difference(given_later)
    )


def _origin_check(plant: Plant, problems: Problems) -> None:
    if plant.origin != Plant.Origin.WILD:
        for name in ("wild_country", "wild_year"):
            if getattr(plant, name):
                problems.add(name, getattr(plant, name), "nothing, unless origin is wild")
    elif plant.wild_country and plant.wild_country not in place.countries():
        problems.add("wild_country", plant.wild_country, "an ISO 3166 code of two capital letters such as FR")


def free_numbers(taken: Collection[str]) -> Iterator[str]:
    """Plain numbers to give, from the one after the highest taken."""
    plain = (int(number) for number in taken if PLAIN_NUMBER.fullmatch(number))
    return map(str, count(max(plain, default=0) + 1))


def circle_note(problems: Problems, name: str, labels: Sequence[str]) -> None:
    """Note that a parent descends from the plant; ``labels`` run from the plant up to itself again."""
    plant, parent = labels[0], labels[1]
    kin = _ancestor_word(len(labels) - 1)
    allowed = f"a plant that does not descend from {plant}"
    path = " → ".join([*labels[:LONGEST_PATH], "…", plant] if len(labels) > LONGEST_PATH + 2 else labels)
    subject = name if problems.row is None else f"Row {problems.row}, column {name}: it"
    detail = f"{subject} is {parent!r}, but {plant} would be its own {kin} ({path}); allowed: {allowed}."
    problems.add_sentence(name, "own_ancestor", detail, value=parent, allowed=allowed)


def _ancestor_word(generations: int) -> str:
    if generations == 1:
        return "parent"
    if generations > LONGEST_PATH:
        return "ancestor"
    return "great-" * (generations - 2) + "grandparent"
