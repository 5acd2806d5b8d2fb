"""Stamps of pairings: whatever changes in what is read changes the stamp too."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection, models, transaction
from django.test.utils import CaptureQueriesContext

from exchange.models import Notification, Pairing
from exchange.selectors.pairing import PairingForViewer, pairings_for, pairings_of
from exchange.selectors.pairing_stamp import Stamp, light, stamp_of, stamps
from growers.models import Grower, Plant, Site
from tests.clock import MovableClock
from tests.exchange.society import NOON, make_pairing, make_society
from tests.factories import make_offer_in_hand, make_plant, make_taxon

pytestmark = pytest.mark.django_db

WRITTEN_ONCE = {"public_id", "created_at", "input_digest", "chance", "post_on", "not_later_than", "plan"}
WRITTEN_ONCE |= {
    "reasons",
    "cautions",
    "papers",
    "smallest_change",
    "timeline",
    "allocation",
    "allocated_doses",
    "withdrawn_because",
}
"""Columns of a pairing that no service writes again without its state; a public id is nobody's to change."""
TOLD = {
    "Grower.handle",
    "Offer.doses",
    "Offer.kind",
    "Offer.packing",
    "Offer.terms",
    "Offer.treatment",
    "Pairing.changed_at",
    "Pairing.state",
    "Plant.diel",
    "Plant.group",
    "Plant.identity",
    "Plant.name_as_grown",
    "Plant.site_id",
    "Plant.taxon_id",
    "Site.cell_country",
    "Site.cell_latitude_deg",
    "Site.region_level",
    "Taxon.name",
    "Taxon.sources",
}
"""Columns that growers read of a pairing, or that decide what they read."""
PLACES: dict[tuple[str, str], set[str]] = {
    ("cell", "subdivision"): {"Site.cell_longitude_deg", "Site.subdivision"},
    ("climate_band", "country"): {"Site.cell_zone"},
}
"""Levels of the donor's and the recipient's site, and what only such sites tell."""
OTHERS = {
    "cell_zone": "America/New_York",
    "cell_country": "IT",
    "subdivision": "FR-2",
    "terms": [{"code": "tell_result", "key": "tell_result"}],
    "sources": {"fertility": {"source": "another"}},
}


@pytest.fixture
def pairing(donor: Grower, recipient: Grower, clock: MovableClock) -> Pairing:
    """Of a plant whose taxon says of its pollen what the matching read."""
    clock.set(NOON)
    society = make_society(donor, recipient)
    said = {"fertility": {"source": "my diary, page 7", "status": "judgement"}}
    make_taxon(name="Nymphaea 'Other'")
    taxon = make_taxon()
    type(taxon).objects.filter(pk=taxon.pk).update(sources=said)
    Plant.objects.filter(pk=society.given.pk).update(taxon=taxon)
    Site.objects.filter(grower=recipient).update(subdivision="DE-BY")
    return make_pairing(society.offer, society.wanted)


def beside(pairing: Pairing) -> list[models.Model]:
    """The pairing and every row that an answer about it may rest on."""
    row = Pairing.objects.get(pk=pairing.pk)
    offer, wanted = row.offer, row.wanted_cross
    plants = [offer.plant, wanted.seed_parent]
    growers_and_sites = [each for plant in plants for each in (plant.grower, plant.site)]
    return [
        row,
        offer,
        wanted,
        *plants,
        *growers_and_sites,
        *(plant.taxon for plant in plants if plant.taxon),
    ]


def changes(row: models.Model) -> dict[str, Any]:
    """Another value for each column of a row that may get one; a box changes with its packing alone."""
    fixed = WRITTEN_ONCE if isinstance(row, Pairing) else {"public_id", "box"}
    found = {}
    for field in row._meta.concrete_fields:
        if not field.primary_key and field.name not in fixed and field.name != "is_active":
            found[field.attname] = another(field, getattr(row, field.attname))
    return {name: value for name, value in found.items() if value is not None}


def another(field: Any, value: Any) -> Any:
    """Another value of a column; None where there is none, or of a reference that is never changed."""
    if isinstance(field, models.ForeignKey):
        others = field.related_model._default_manager.exclude(pk=value).values_list("pk", flat=True)
        return others.first() if field.name in ("taxon", "site") else None
    if field.name in OTHERS:
        return OTHERS[field.name]
    if field.choices:
        return next(choice for choice, _ in field.flatchoices if choice != value)
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        return value + 1 if isinstance(value, int) else value / 2 + 0.125
    if isinstance(value, str):
        return f"x{value}"[: field.max_length]
    if isinstance(value, date):
        return value + timedelta(days=1)
    return {"changed": True} if isinstance(field, models.JSONField) else None


def read(viewer: Grower) -> tuple[PairingForViewer, Stamp]:
    """What a grower reads of the one pairing, and its stamp."""
    (shown,) = pairings_for(viewer, pairings_of(viewer).defer("timeline"))
    (stamp,) = stamps(viewer, list(light(viewer))).values()
    return shown, stamp


@pytest.mark.parametrize("levels", PLACES)
def test_what_is_read_anew_has_another_stamp(
    levels: tuple[str, str], pairing: Pairing, donor: Grower, recipient: Grower
) -> None:
    for grower, level in zip((donor, recipient), levels, strict=True):
        Site.objects.filter(grower=grower).update(region_level=level)
    before = {viewer: read(viewer) for viewer in (donor, recipient)}
    told = set()
    for row in beside(pairing):
        for column, other in changes(row).items():
            with transaction.atomic():
                type(row)._default_manager.filter(pk=row.pk).update(**{column: other})
                for viewer, (shown, stamp) in before.items():
                    now = read(viewer)
                    assert now[0] == shown or now[1] != stamp, (type(row), column)
                    if now[0] != shown:
                        told.add(f"{type(row).__name__}.{column}")
                transaction.set_rollback(True)
    assert told == TOLD | PLACES[levels]


def test_a_loaded_pairing_has_the_stamp_of_its_query(
    pairing: Pairing, donor: Grower, recipient: Grower
) -> None:
    make_pairing(make_offer_in_hand(make_plant(donor), NOON.date()), pairing.wanted_cross)
    for viewer in (donor, recipient):
        loaded = {row.pk: stamp_of(viewer, row) for row in pairings_of(viewer)}
        assert stamps(viewer, list(light(viewer))) == loaded
        assert len(set(loaded.values())) == 2
    assert stamps(donor, []) == {}


def test_stamps_cost_three_queries_and_who_is_hidden_one(
    pairing: Pairing, donor: Grower, clock: MovableClock
) -> None:
    with CaptureQueriesContext(connection) as captured:
        assert len(stamps(donor, list(light(donor)))) == 1
    assert len(captured) == 4
    Notification.objects.create(grower=donor, kind="pairing_proposed", pairing=pairing)
    clock.move(days=15)
    with CaptureQueriesContext(connection) as captured:
        (stamp,) = stamps(donor, list(light(donor))).values()
    assert len(captured) == 5  # which of them are earlier proposals is asked where something is old
    assert stamp == stamp_of(donor, pairings_of(donor).get())
    assert pairings_of(donor).get().earlier  # type: ignore[attr-defined]
