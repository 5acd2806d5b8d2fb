"""Refusals remembered: the same answer without the work, and never from another input."""

import sys
from pathlib import Path
from typing import Any

import pytest
from django.core.cache import caches

from exchange.matching.reason import Reason
from exchange.matching.smallest_change import SmallestChange
from exchange.services.matching import matching_run
from exchange.services.pair_outcome import Refused
from exchange.services.refusal_memory import RefusalMemory, RefusedBefore
from growers.models import Grower
from growers.services.bloom import bloom_said_set
from tests.clock import MovableClock
from tests.exchange.society import NOON, SUMMER, TODAY, Society, make_society
from tests.factories import make_offer, make_offer_in_hand, make_plant

TOLD = RefusedBefore(
    (Reason("country_not_shipped_to", {"country": "AU"}),), SmallestChange("post_to_country", 0.2, 0.0)
)


@pytest.fixture(autouse=True)
def own_folder(settings: Any, tmp_path: Path) -> None:
    """A memory that no other test writes to."""
    reckoned = {**settings.CACHES["reckoned"], "LOCATION": str(tmp_path)}
    settings.CACHES = {**settings.CACHES, "reckoned": reckoned}


def test_what_was_kept_is_found_by_its_digest_alone() -> None:
    memory = RefusalMemory("wanted")
    assert memory.find("a") is None
    memory.keep("a", TOLD)
    memory.keep("b", RefusedBefore((Reason("bloom_does_not_meet", {"days": 366}),), None))
    memory.store()
    again = RefusalMemory("wanted")
    assert again.find("a") == TOLD
    assert again.find("c") is None
    assert RefusalMemory("another").find("a") is None


def test_a_run_leaves_what_it_used_and_nothing_older() -> None:
    memory = RefusalMemory("wanted")
    memory.keep("a", TOLD)
    memory.keep("b", TOLD)
    memory.store()
    later = RefusalMemory("wanted")
    later.find("a")
    later.store()
    last = RefusalMemory("wanted")
    assert (last.find("a"), last.find("b")) == (TOLD, None)


@pytest.fixture
def society(donor: Grower, recipient: Grower, clock: MovableClock) -> Society:
    """Beside the pairing a refusal that posting there would mend, and one whose seasons do not meet."""
    clock.set(NOON)
    society = make_society(donor, recipient)
    make_offer_in_hand(society.given, TODAY)
    winter = make_plant(donor, group="lotos", diel="night")
    bloom_said_set(actor=donor, plant=winter, first_month=12, first_day=5, last_month=12, last_day=20)
    make_offer(winter, treatment="fresh", countries=["DE"])
    return society


class Counted:
    """Counts the calls of two functions that reckon."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.calls: list[str] = []
        for name in ("plan_pair", "alternatives"):
            self._count(name, monkeypatch)

    def _count(self, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
        function = getattr(sys.modules["exchange.services.pair_outcome"], name)

        def counted(*arguments: Any) -> Any:
            self.calls.append(name)
            return function(*arguments)

        monkeypatch.setattr(f"exchange.services.pair_outcome.{name}", counted)

    def taken(self) -> list[str]:
        """The calls since it was last asked."""
        calls, self.calls = self.calls, []
        return calls


def told(refused: tuple[Refused, ...]) -> list[Any]:
    return [(each.offer, each.wanted_cross, each.reasons, each.change, each.basis) for each in refused]


@pytest.mark.django_db
def test_an_unchanged_refusal_is_not_reckoned_again(
    society: Society, monkeypatch: pytest.MonkeyPatch
) -> None:
    counted = Counted(monkeypatch)
    first = matching_run(today=TODAY)
    assert [[reason.code for reason in each.reasons] for each in first.refused] == [
        ["country_not_shipped_to"],
        ["bloom_does_not_meet"],
    ]
    change = first.refused[0].change
    assert change is not None
    assert change.code == "post_to_country"
    assert "plan_pair" in counted.taken()
    second = matching_run(today=TODAY)
    assert counted.taken() == []
    assert told(second.refused) == told(first.refused)
    caches["reckoned"].clear()
    third = matching_run(today=TODAY)
    assert "plan_pair" in counted.taken()
    assert told(third.refused) == told(first.refused)


@pytest.mark.django_db
def test_a_changed_fact_is_reckoned_anew(society: Society, monkeypatch: pytest.MonkeyPatch) -> None:
    first = matching_run(today=TODAY)
    (winter,) = [each.offer.plant for each in first.refused if each.offer.plant.group == "lotos"]
    bloom_said_set(actor=winter.grower, plant=winter, **SUMMER)
    counted = Counted(monkeypatch)
    second = matching_run(today=TODAY)
    assert counted.taken().count("plan_pair") == 1
    assert [[reason.code for reason in each.reasons] for each in second.refused] == [
        ["country_not_shipped_to"]
    ]
    assert len(second.pairings) == 2
