"""Recalls reach everyone who holds something of a plant, and only them, once; held against a search."""

import random
from collections import defaultdict
from datetime import date, timedelta

import pytest

from exchange.models import Lot, Notification, Packet, Recall, RecallNotice, Reservation
from exchange.selectors.notification import notification_for, notifications_of
from exchange.selectors.recall import holders_of, recalls_for, recalls_known
from exchange.services.account import account_close
from exchange.services.agreement_change import agreement_send
from exchange.services.collection import offer_collect
from exchange.services.lot import lot_collect
from exchange.services.recall import recall_report
from growers.errors import NotFound
from growers.models import Grower, Plant
from tests.clock import MovableClock
from tests.exchange.bargain import agree
from tests.exchange.refusal import problems, refused, rows
from tests.exchange.society import NOON, TODAY, make_pairing
from tests.factories import make_grower, make_offer, make_plant, make_site, make_taxon, make_wanted_cross

pytestmark = pytest.mark.django_db

GRAPHS, SLOW_GRAPHS = 25, 200


class Graph:
    """A random society: plants descend from each other, lots and packets of them lie with other growers."""

    def __init__(self, seed: int, growers: list[Grower]) -> None:
        self.draw, self.growers = random.Random(seed), growers
        self.parents: dict[int, list[int]] = defaultdict(list)
        self.held: dict[int, set[int]] = defaultdict(set)  # plants that a grower holds something of
        self.plants: list[Plant] = []
        for number in range(self.draw.randint(4, 12)):
            self._plant(seed, number)
        for plant in self.plants:
            self._lots(plant)

    def _plant(self, seed: int, number: int) -> None:
        grower = self.draw.choice(self.growers)
        site = grower.sites.first() or make_site(grower)
        earlier = self.draw.sample(self.plants, k=min(len(self.plants), self.draw.choice([0, 0, 1, 2])))
        plant = make_plant(grower, site=site, number=f"{seed}.{number}")
        names = ["seed_parent_id", "pollen_parent_id"]
        for name, parent in zip(names, earlier, strict=False):
            self.parents[plant.pk].append(parent.pk)
            Plant.objects.filter(pk=plant.pk).update(**{name: parent.pk})
        self.plants.append(plant)
        self.held[grower.pk].add(plant.pk)

    def _lots(self, plant: Plant) -> None:
        for _ in range(self.draw.choice([0, 1, 1, 2])):
            lot = lot_collect(actor=plant.grower, plant=plant, flowers_emptied=1, doses=9)
            for number in range(self.draw.choice([0, 1, 2])):
                holder = self.draw.choice(self.growers)
                Packet.objects.create(
                    lot=lot, number=number + 1, doses=1, holder=holder, store=lot.store, filled_at=NOON
                )
                self.held[holder.pk].add(plant.pk)

    def reached(self, plant: Plant) -> set[int]:
        """Growers, by a search from everything that is held back through its parents."""
        return {
            grower
            for grower, plants in self.held.items()
            if any(plant.pk in self.line(each) for each in plants)
        }

    def line(self, key: int) -> set[int]:
        """A plant and all that it descends from."""
        found = {key}
        for parent in self.parents[key]:
            found |= self.line(parent)
        return found


def check_graphs(count: int) -> None:
    growers = [make_grower(f"grower-{name}") for name in "abcdef"]
    met = 0
    for seed in range(count):
        graph = Graph(seed, growers)
        plant = graph.draw.choice(graph.plants)
        expected = graph.reached(plant)
        assert set(holders_of(plant)) == expected
        recall = recall_report(actor=plant.grower, plant=plant, kind="virus", found_on=TODAY)
        told = set(recall.notices.values_list("grower", flat=True))
        assert told == expected - {plant.grower_id}
        assert set(recall.notifications.values_list("grower", flat=True)) == told
        again = recall_report(actor=plant.grower, plant=plant, kind="virus", found_on=TODAY)
        assert again == recall
        assert recall.notices.count() == recall.notifications.count() == len(told)
        met += bool(told)
    assert met > count / 3


def test_random_graphs(clock: MovableClock) -> None:
    clock.set(NOON)
    check_graphs(GRAPHS)


@pytest.mark.slow
def test_many_random_graphs(clock: MovableClock) -> None:
    clock.set(NOON)
    check_graphs(SLOW_GRAPHS)


# --- in words ---


@pytest.fixture
def plant(donor: Grower, clock: MovableClock) -> Plant:
    clock.set(NOON)
    return make_plant(donor, name_as_grown="'Ferry'")


def test_whoever_was_sent_doses_holds_them(
    plant: Plant, donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    make_taxon(name="hardy", rank="group", group="hardy", diel="day")
    offer = make_offer(plant)
    seeds = [make_plant(grower) for grower in (recipient, outsider)]
    agreements = [agree(make_pairing(offer, make_wanted_cross(each, flowers=2)), doses=1) for each in seeds]
    lot = offer_collect(actor=donor, offer=offer, doses=3, collected_on=TODAY, store="refrigerator")
    agreement_send(actor=donor, agreement=agreements[0])
    assert Reservation.objects.filter(state="used").count() == 1
    held = holders_of(plant)
    assert {key: found.as_record() for key, found in held.items()} == {
        donor.pk: {"lots": [lot.code], "packets": [], "plants": [plant.number]},
        recipient.pk: {"lots": [lot.code], "packets": [], "plants": []},
    }


def test_a_holder_reads_what_was_found_and_what_they_hold(
    plant: Plant, donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    child = make_plant(recipient, number="S7")
    Plant.objects.filter(pk=child.pk).update(seed_parent=plant)
    recall = recall_report(
        actor=donor, plant=plant, kind="wrong_name", found_on=date(2027, 6, 30), text="It is blue."
    )
    (told,) = recalls_for(recipient, recalls_known(recipient))
    assert told.held == {"lots": [], "packets": [], "plants": ["S7"]}
    assert (told.told, told.reported_by_you) == (None, False)
    sentence = (
        "'Ferry' is not what its name says, as was found on 2027-06-30. Crosses made with it have another"
        " parent than was written down. It is blue."
    )
    assert told.detail == sentence
    assert [notification_for(row).detail for row in notifications_of(recipient)] == [sentence]
    (own,) = recalls_for(donor, recalls_known(donor))
    assert (own.public_id, own.told, own.reported_by_you, own.held) == (recall.public_id, 1, True, None)
    assert list(recalls_known(outsider)) == []


def test_reported_again_it_reaches_only_who_holds_something_since(
    plant: Plant, donor: Grower, recipient: Grower, outsider: Grower
) -> None:
    first = make_plant(recipient)
    Plant.objects.filter(pk=first.pk).update(pollen_parent=plant)
    recall_report(actor=donor, plant=plant, kind="pest", found_on=TODAY)
    before = list(RecallNotice.objects.values())
    later = make_plant(outsider)
    Plant.objects.filter(pk=later.pk).update(seed_parent=first)
    recall_report(actor=donor, plant=plant, kind="pest", found_on=TODAY)
    assert Recall.objects.count() == 1
    assert list(RecallNotice.objects.order_by("pk").values())[:1] == before
    assert list(RecallNotice.objects.order_by("pk").values_list("grower", flat=True)) == [
        recipient.pk,
        outsider.pk,
    ]
    assert Notification.objects.filter(kind="recall").count() == 2


def test_a_closed_account_is_told_nothing(plant: Plant, donor: Grower, recipient: Grower) -> None:
    child = make_plant(recipient)
    Plant.objects.filter(pk=child.pk).update(seed_parent=plant)
    account_close(actor=recipient)
    recall_report(actor=donor, plant=plant, kind="virus", found_on=TODAY)
    assert not RecallNotice.objects.exists()


def test_what_is_no_report(plant: Plant, donor: Grower, outsider: Grower) -> None:
    report = {"actor": donor, "plant": plant, "kind": "virus", "found_on": TODAY}
    before = rows()
    found = problems(lambda: recall_report(**{**report, "found_on": TODAY + timedelta(days=1)}))  # type: ignore[arg-type]
    assert found == {"/found_on": "found_on is 2027-07-02; allowed: a day up to today, 2027-07-01."}
    found = problems(lambda: recall_report(**{**report, "kind": "bad luck"}))  # type: ignore[arg-type]
    assert found == {"/kind": "kind is 'bad luck'; allowed: pest, virus, wrong_name."}
    refused(lambda: recall_report(**{**report, "actor": outsider}), NotFound)  # type: ignore[arg-type]
    assert rows() == before
    assert Lot.objects.count() == 0
