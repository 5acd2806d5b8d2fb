"""Wanted crosses: a seed parent of the grower's and the pollen parents they would take."""

from collections.abc import Sequence
from typing import TypedDict, Unpack

from django.db import transaction

from exchange.models import WantedCross
from exchange.models.offer import OpenState
from exchange.services.open_state import state_change
from growers.errors import NotFound
from growers.models import Change, Fertility, Group, Grower, Plant, Taxon
from growers.services import after_commit
from growers.services.plant import own_plant
from growers.services.problem import Problems
from growers.services.row import as_list, columns_check, fields_set, row_save, words_check

RANGES = {"flowers": (1, 12), "least_chance": (0, 1)}


class WantedCrossFields(TypedDict, total=False):
    """What a grower may say of a wanted cross, besides the plants and taxa asked for."""

    pollen_groups: Sequence[str]
    traits: Sequence[str]
    flowers: int
    least_chance: float
    note: str


def wanted_cross_create(
    *,
    actor: Grower,
    seed_parent: Plant,
    pollen_plants: Sequence[Plant] = (),
    pollen_taxa: Sequence[Taxon] = (),
    **fields: Unpack[WantedCrossFields],
) -> WantedCross:
    """Ask for pollen for one's own seed parent: of plants, taxa, groups or traits, or of anything.

    Raises ``NotFound`` for a seed parent of another, ``InvalidInput`` for one that sets no seed.
    """
    with transaction.atomic():
        wanted = WantedCross(seed_parent=own_plant(actor, seed_parent))
        fields_set(wanted, fields, WantedCrossFields.__annotations__)
        _wanted_cross_check(wanted)
        row_save(wanted, kind=Change.Kind.WANTED_CROSS)
        after_commit.start("exchange.matching")
        wanted.pollen_plants.set(pollen_plants)
        wanted.pollen_taxa.set(pollen_taxa)
    return wanted


def wanted_cross_pause(*, actor: Grower, wanted_cross: WantedCross) -> WantedCross:
    """Take a wanted cross out of matching for a while."""
    return _wanted_cross_state(actor, wanted_cross, OpenState.PAUSED)


def wanted_cross_reopen(*, actor: Grower, wanted_cross: WantedCross) -> WantedCross:
    """Bring a paused wanted cross back."""
    return _wanted_cross_state(actor, wanted_cross, OpenState.OPEN)


def wanted_cross_close(*, actor: Grower, wanted_cross: WantedCross) -> WantedCross:
    """End a wanted cross for good."""
    return _wanted_cross_state(actor, wanted_cross, OpenState.CLOSED)


def _wanted_cross_state(actor: Grower, wanted_cross: WantedCross, state: OpenState) -> WantedCross:
    with transaction.atomic():
        rows = WantedCross.objects.select_for_update(of=("self",))
        own = rows.filter(pk=wanted_cross.pk, seed_parent__grower=actor).first()
        if own is None:
            raise NotFound("There is no such wanted cross.")
        own.state = state_change(own.state, state, what="wanted cross")
        row_save(own, kind=Change.Kind.WANTED_CROSS, names=["state"])
        after_commit.start("exchange.matching")
    return own


def _wanted_cross_check(wanted: WantedCross) -> None:
    problems = Problems()
    wanted.pollen_groups, wanted.traits = as_list(wanted.pollen_groups), as_list(wanted.traits)
    columns_check(wanted, problems, ranges=RANGES, names=WantedCrossFields.__annotations__)
    words_check(problems, "pollen_groups", wanted.pollen_groups, allowed=Group.values)
    words_check(problems, "traits", wanted.traits)
    if wanted.seed_parent.seed_fertility == Fertility.NO:
        problems.add("seed_parent", wanted.seed_parent.name_as_grown, "a plant that sets seed")
    problems.refuse_if_any()
