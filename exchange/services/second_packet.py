"""What a second packet adds for one wanted cross: kept in the plan of its best pairing.

It rests on other donors' offers, so only the recipient may read it (``exchange.selectors.pairing``).
"""

import copy
import hashlib
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

from exchange.matching.posting import RecipientFlowers
from exchange.matching.second_packet import Sender, Split, alone, sender, shared_between, split
from exchange.matching.smallest_change import SmallestChange, second_donor_helps
from exchange.models import Pairing
from exchange.selectors.lane import lane
from exchange.selectors.plan_record import DIGITS, reason_records
from exchange.services.pair_digest import Pair

SECOND_DONOR = "second_donor"
DONORS_TRIED = 3
"""Donors besides the best who are tried as a second one (judgement)."""

Paired = tuple[Pair, Pairing]
Flowers = Callable[[], RecipientFlowers | None]
Record = dict[str, Any]


def with_second_packets(paired: Sequence[Paired], today: date, flowers: Flowers) -> list[Pairing]:
    """The pairings of one wanted cross; the best of them says what splitting its doses would add.

    What was reckoned from the same pairings before is taken as it stands.
    """
    if not paired:
        return []
    first, *others = sorted(paired, key=lambda each: (-round(each[1].chance, 6), each[0].offer.key))
    told = _best(first, _of_other_donors(first, others), today, flowers)
    return [told if row is first[1] else _changed(row, None, _own_change(row)) for _, row in paired]


def _of_other_donors(first: Paired, others: Sequence[Paired]) -> list[Paired]:
    """The best pairing of each further donor."""
    by_donor: dict[int, Paired] = {}
    for each in others:
        by_donor.setdefault(each[0].offer_row.plant.grower_id, each)
    by_donor.pop(first[0].offer_row.plant.grower_id, None)
    return list(by_donor.values())[:DONORS_TRIED]


def _best(first: Paired, others: Sequence[Paired], today: date, flowers: Flowers) -> Pairing:
    pair, row = first
    if pair.wanted.flowers < 2:
        return _changed(row, None, _own_change(row))
    digest = _digest([each.input_digest for _, each in (first, *others)])
    if (row.plan.get("two_baskets") or {}).get("reckoned_from") == digest:
        return row
    ahead = flowers()
    if ahead is None:
        return _changed(row, None, _own_change(row))
    second = _Second(first, others, today, ahead)
    return _changed(row, {"reckoned_from": digest, **second.split_record()}, second.change())


class _Second:
    """A second packet for the best pairing of a wanted cross; what is not needed is not reckoned."""

    def __init__(
        self, first: Paired, others: Sequence[Paired], today: date, flowers: RecipientFlowers
    ) -> None:
        (self.pair, self.row), self.others = first, others
        self.today, self.flowers = today, flowers
        self.several, self.doses = (self.row.plan["several"][name] for name in ("estimate", "flowers"))
        self.sender = self._sender(self.pair)
        self.alone = alone(self.sender, self.doses)

    def split_record(self) -> Record:
        """The better of two ways to split its doses: with the next best donor, or over two days."""
        ways: list[tuple[Pair | None, Split | None]] = [
            (None, self._split(self.pair, self.sender, self.doses))
        ]
        if self.others:
            pair = self.others[0][0]
            ways.append((pair, self._split(pair, self._sender(pair), self.doses)))
        other, best = max(ways, key=lambda way: way[1].at_least_one if way[1] else 0.0)
        return {} if best is None else self._record(other, best)

    def change(self) -> Record | None:
        """The change of its own that stands, or a second donor where only both reach the least chance."""
        own, least = _own_change(self.row), self.pair.wanted.least_chance
        if own or max(self.row.chance, self.several) >= least:
            return own
        found = [(pair, self._together(pair)) for pair, _ in self.others]
        pair, together = max(found, key=lambda each: each[1], default=(self.pair, 0.0))
        if not second_donor_helps(together, self.several, least):
            return None
        facts = {"plant": pair.offer.parent.name, "offer": pair.offer.key}
        change = SmallestChange(SECOND_DONOR, together, self.several, facts)
        return reason_records([change.reason()])[0]

    def _together(self, pair: Pair) -> float:
        """Chance of at least one capsule with so many doses of another donor as there are flowers for."""
        found = self._split(pair, self._sender(pair), self.pair.wanted.flowers)
        return self._scaled(found) if found else 0.0

    def _split(self, pair: Pair, second: Sender, total: int) -> Split | None:
        if self.alone <= 0.0:
            return None
        doses = shared_between(total, self.pair.offer.doses, pair.offer.doses)
        return split(self.sender, second, doses) if doses else None

    def _scaled(self, found: Split) -> float:
        """Scaled so that one packet gives what the pairing says of it."""
        return min(1.0, float(self.several) * found.at_least_one / self.alone)

    def _sender(self, pair: Pair) -> Sender:
        ends = pair.offer_row.plant.site, pair.wanted_row.seed_parent.site
        way = lane(pair.offer_row, *ends, self.today, pair.seen)
        return sender(pair.offer, pair.wanted, way, self.today, self.flowers)

    def _record(self, pair: Pair | None, found: Split) -> Record:
        together, scaled = round(self.several, DIGITS), round(self._scaled(found), DIGITS)
        basis = dict(self.row.plan["basis"])
        if pair is not None:
            basis["second_donor"] = pair.offer.bloom.basis if pair.offer.bloom else "lot in hand"
        return {
            "with_whom": "the same donor" if pair is None else "another donor",
            "offer": None if pair is None else pair.offer.key,
            "doses": list(found.doses),
            "posting": [day.isoformat() for day in found.days],
            "at_least_one_together": together,
            "at_least_one_split": scaled,
            "gain": round(scaled - together, DIGITS),
            "basis": basis,
        }


def _own_change(row: Pairing) -> Record | None:
    """The smallest change of the pairing by itself."""
    change: Record | None = row.smallest_change
    return None if change is None or change["code"] == f"change_{SECOND_DONOR}" else change


def _changed(row: Pairing, baskets: Mapping[str, Any] | None, change: Record | None) -> Pairing:
    """The row as it is, or a copy that says something else; what stands in the database is not touched."""
    if row.plan.get("two_baskets") == baskets and row.smallest_change == change:
        return row
    other = copy.copy(row)
    other.plan = {**row.plan, "two_baskets": baskets}
    other.smallest_change = change
    return other


def _digest(parts: Sequence[str]) -> str:
    return hashlib.sha256(" ".join(parts).encode()).hexdigest()
