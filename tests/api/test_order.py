"""No answer hangs on the order in which the database happens to find rows.

PostgreSQL promises none without ORDER BY; SQLite can be told to find rows backwards.
"""

import logging
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.db import connection

from exchange.api.v1.pairing import RENDERED
from exchange.models import Offer
from exchange.services.collection import offer_collect
from growers.models import Taxon
from tests.api.access_call import undone
from tests.api.location_world import Constant, Secret, Society, World, addresses, make_society
from tests.exchange.society import TODAY
from tests.factories import make_plant, make_wanted_cross

pytestmark = pytest.mark.django_db

SECRET = Secret(((48.9, 2.4), (48.8, 2.3)), False, "Pondville", (20.0, 21.0))
VIEWERS = ("donor", "recipient", "weir", "outsider", "nobody")


@pytest.fixture
def society(monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture) -> Society:
    caplog.set_level(logging.WARNING, logger="exchange.request")
    constant = Constant()
    constant.install(monkeypatch)
    return make_society(constant)


@contextmanager
def found_backwards() -> Iterator[None]:
    """Rows that nobody has put in order come the other way round."""
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA reverse_unordered_selects = ON")
        yield
        cursor.execute("PRAGMA reverse_unordered_selects = OFF")


def read(society: Society) -> dict[tuple[str, str], str]:
    """Every answer to a GET, by viewer and address; nothing of it is remembered from before."""
    found = {}
    for viewer in VIEWERS:
        for address in sorted(set(addresses("donor", "recipient"))):
            with undone():
                RENDERED.clear()
                answer = society.clients[viewer].get(address, x_request_id="the-same-request")
                found[viewer, address] = f"{answer.status} {answer.text}"
    return found


def several_of_each(society: Society) -> None:
    """Lots of an offer, and plants and taxa of a wanted cross."""
    donor, recipient = society.growers["donor"], society.growers["recipient"]
    offer = Offer.objects.get(plant__grower=donor)
    offer_collect(actor=donor, offer=offer, doses=1, collected_on=TODAY, store="refrigerator")
    own = [make_plant(recipient, name_as_grown=name, number=name) for name in ("one", "two", "three")]
    make_wanted_cross(own[0], pollen_plants=own[1:], pollen_taxa=list(Taxon.objects.order_by("pk")))


def test_every_answer_is_the_same_when_rows_are_found_backwards(society: Society) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("about SQLite")
    world = World(society, "donor", SECRET, None)
    for stage in (world.settle, world.deal, world.match, world.bargain, world.correct):
        stage()
    several_of_each(society)
    for viewer in VIEWERS:
        society.clients[viewer].get("/api/v1/me")  # the first use of a token is noted
    plain = read(society)
    with found_backwards():
        backwards = read(society)
    assert len(plain) > 300
    differing = [each for each, text in plain.items() if backwards[each] != text]
    assert differing == [], differing


def test_rows_are_really_found_backwards(society: Society) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("about SQLite")
    with connection.cursor() as cursor:
        statement = "SELECT id FROM growers_grower"
        plain = cursor.execute(statement).fetchall()
        with found_backwards():
            assert cursor.execute(statement).fetchall() == plain[::-1] != plain
