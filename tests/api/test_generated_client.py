"""The story by a client that a program made of the document: nothing is called, sent or read by hand."""

from collections.abc import Iterator
from datetime import date
from http import HTTPStatus
from typing import Any

import httpx
import pytest
from django.core.cache import cache
from django.core.management import call_command
from pytest_django.live_server_helper import LiveServer

from growers.services.reference import reference_load
from growers.services.site import SiteFields
from tests.api.caller import PASSWORD, make_member
from tests.api.generated import Package, Person, described, generate, importable
from tests.clock import MovableClock
from tests.exchange.society import FRANCE, GERMANY, NOON, SECRET_NAME, SUMMER

PACKAGE = "generated_pollen_client"


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Package]:
    folder = tmp_path_factory.mktemp("generated")
    done = generate(folder, PACKAGE)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "warning" not in (done.stdout + done.stderr).lower()
    with importable(folder, PACKAGE) as found:
        yield found


def test_every_operation_has_a_function(package: Package) -> None:
    assert len(package.tags) >= 40
    for each in described():
        assert callable(package.operation(each.name).sync_detailed), each.name


def test_every_answer_that_is_shown_becomes_a_model(package: Package) -> None:
    client = package.client("http://nowhere.invalid")
    read = 0
    for each in described():
        for status, response in each.responses.items():
            for kind, content in response.get("content", {}).items():
                for example in content["examples"].values():
                    if kind == "text/csv" or content["schema"].get("format") == "binary":
                        continue  # no model
                    answer = httpx.Response(
                        int(status), json=example["value"], headers={"Content-Type": kind}
                    )
                    built = package.operation(each.name)._build_response(client=client, response=answer)
                    assert built.status_code == HTTPStatus(int(status))
                    is_problem = type(built.parsed) is package.model("ProblemOut")
                    assert is_problem == (int(status) >= 400), (each.name, status)
                    assert (
                        built.parsed is not None and built.parsed.to_dict().keys() == example["value"].keys()
                    )
                    read += 1
    assert read > 400


def sign_in(package: Package, host: str, handle: str) -> Person:
    """Sign in as somebody would: by e-mail and password, once."""
    make_member(handle)
    scopes = [package.model("Scope").READ, package.model("Scope").WRITE]
    made = Person(package, package.client(host)).make(
        "token_create",
        "TokenMadeOut",
        "TokenInRequest",
        email=f"{handle}@example.org",
        password=PASSWORD,
        name="laptop",
        scopes=scopes,
    )
    return Person(package, package.client(host, made.secret))


def plant(person: Person, name: str, where: SiteFields) -> Any:
    """A hardy plant at a site of its grower."""
    package = person.package
    site = person.make("site_create", "SiteOut", "SiteInRequest", name="pond", **where)
    kind = {"group": package.model("Group").HARDY, "diel": package.model("Diel").DAY}
    return person.make(
        "plant_create", "PlantOut", "PlantInRequest", site_id=site.id, name_as_grown=name, **kind
    )


def offer(person: Person, of: Any) -> Any:
    """Four doses of dried pollen in hand, posted to Germany too."""
    package = person.package
    return person.make(
        "offer_create",
        "OfferOut",
        "OfferInRequest",
        plant_id=of.id,
        kind=package.model("OfferKind").IN_HAND,
        treatment=package.model("Treatment").DRIED,
        doses=4,
        countries=["DE"],
        collected_on=date(2027, 6, 28),
        store=package.model("StoreKind").REFRIGERATOR,
    )


def wish(person: Person, of: Any) -> Any:
    """Any hardy pollen for four flowers of a plant that flowers in summer."""
    package = person.package
    usual = package.model("SaidInRequest")(**SUMMER)
    person.ask("usual_bloom_set", "SaidOut", of.id, body=usual)
    groups = [package.model("Group").HARDY]
    return person.make(
        "wanted_cross_create",
        "WantedCrossOut",
        "WantedCrossInRequest",
        seed_parent_id=of.id,
        pollen_groups=groups,
        flowers=4,
    )


@pytest.mark.django_db(transaction=True)
def test_two_growers_are_brought_together_and_the_outsider_hears_nothing(
    package: Package, live_server: LiveServer, clock: MovableClock
) -> None:
    cache.clear()
    clock.set(NOON)
    reference_load()
    donor, recipient, outsider = (
        sign_in(package, live_server.url, handle) for handle in ("donor", "recipient", "outsider")
    )
    given = plant(donor, "'Ferry'", FRANCE)
    offered = offer(donor, given)
    seed = plant(recipient, SECRET_NAME, GERMANY)
    wanted = wish(recipient, seed)
    plant(outsider, "'Bystander'", FRANCE)
    for person in (donor, recipient, outsider):
        assert person.ask("pairing_list", "PairingPage").results == []

    call_command("due")

    (to_donor,) = donor.ask("pairing_list", "PairingPage").results
    (to_recipient,) = recipient.ask("pairing_list", "PairingPage").results
    assert to_donor.id == to_recipient.id
    assert (to_donor.role.value, to_recipient.role.value) == ("donor", "recipient")
    assert to_donor.offer.offer_id == to_recipient.offer.offer_id == offered.id
    assert to_recipient.offer.donor == "donor"
    assert to_recipient.wanted.wanted_cross_id == wanted.id
    assert to_recipient.wanted.seed_parent_name == SECRET_NAME
    assert (to_donor.wanted.wanted_cross_id, to_donor.wanted.seed_parent_name) == (None, None)
    assert 0.0 < to_donor.each_flower.estimate == to_recipient.each_flower.estimate < 1.0

    for person in (donor, recipient):
        whole = person.ask("pairing_read", "PairingWholeOut", to_donor.id)
        assert whole.each_flower == to_donor.each_flower
        assert whole.timeline.posted_on == whole.dates.post_on >= NOON.date()
        assert len(whole.timeline.pollen_chance) == len(whole.timeline.first_day_flower_chance) > 0

    assert outsider.ask("pairing_list", "PairingPage").results == []
    for operation in ("pairing_read", "pairing_dismiss"):
        refused = outsider.ask(operation, "ProblemOut", to_donor.id, status=404)
        assert (refused.code, refused.errors) == ("not_found", [])
    for operation, page, strange in (
        ("offer", "OfferPage", offered),
        ("wanted_cross", "WantedCrossPage", wanted),
        ("plant", "PlantPage", seed),
    ):
        refused = outsider.ask(f"{operation}_read", "ProblemOut", strange.id, status=404)
        assert refused.code == "not_found"
        known = outsider.ask(f"{operation}_list", page).results
        assert strange.id not in {each.id for each in known}
    assert recipient.ask("pairing_read", "PairingWholeOut", to_donor.id).state.value == "suggested"
