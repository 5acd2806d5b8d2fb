"""What must become of doses and agreements, in plain Python: the yardstick of the deals as stored.

It knows no database, no locks and no sweeps: what has run out is gone at once. A call that must be refused
raises ``Refusal`` with the name of the error and has changed nothing.
"""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

FLOWERS = 4
ALIVE = ("proposed", "agreed")
Side = Literal["donor", "recipient"]


class Refusal(Exception):
    """The call must raise the error of this name."""


def refuse_if(wrong: bool, error: str) -> None:
    if wrong:
        raise Refusal(error)


@dataclass
class Pile:
    """Doses that are counted together: of a lot, or still to be collected."""

    total: int
    of_lot: bool
    kept: int = 0
    reserved: int = 0
    sent: int = 0
    key: int = 0

    @property
    def left(self) -> int:
        return self.total - self.kept - self.reserved - self.sent


@dataclass
class Offered:
    """One offer; lots come before what is still to be collected, as they were made."""

    donor: str
    piles: list[Pile]

    def in_order(self) -> list[Pile]:
        return sorted(self.piles, key=lambda pile: not pile.of_lot)

    def most_left(self) -> int:
        return max(pile.left for pile in self.piles)

    def part(self, pile: Pile | None) -> Pile:
        """The pile that is meant; without one the only one that still has doses."""
        with_doses = [each for each in self.piles if each.total > each.sent]
        refuse_if(pile is None and len(with_doses) != 1, "Conflict")
        return pile or with_doses[0]


@dataclass
class Pair:
    """A pairing; ``number`` tells it from others."""

    number: int
    offered: Offered
    recipient: str
    abroad: bool
    stands: bool = True


@dataclass
class Deal:
    """An agreement; ``pile`` is where its doses are reserved now."""

    pair: Pair
    first: Side
    doses: int
    lapses_at: datetime
    state: str = "proposed"
    pile: Pile | None = None
    until: datetime | None = None
    sent: bool = False
    stated: set[Side] = field(default_factory=set)

    def side(self, who: str) -> Side:
        refuse_if(who not in (self.pair.offered.donor, self.pair.recipient), "NotFound")
        return "donor" if who == self.pair.offered.donor else "recipient"

    def end(self, state: str) -> None:
        if self.pile is not None:
            self.pile.reserved -= self.doses
        self.state, self.pile = state, None


@dataclass
class Model:
    """All offers, pairings and agreements; ``agreed`` in the order in which the second yes was said."""

    offers: list[Offered]
    pairs: list[Pair]
    deals: list[Deal] = field(default_factory=list)
    agreed: list[Deal] = field(default_factory=list)
    blocks: set[tuple[str, str]] = field(default_factory=set)

    # --- time ---

    def run_out(self, now: datetime) -> None:
        for deal in self.deals:
            unanswered = deal.state == "proposed" and deal.lapses_at <= now
            overdue = deal.pile is not None and deal.until is not None and deal.until <= now
            if unanswered or overdue:
                deal.end("lapsed")

    # --- two yeses and a no ---

    def propose(self, who: str, pair: Pair, doses: int) -> None:
        donor = pair.offered.donor
        refuse_if(who not in (donor, pair.recipient) or self.apart(donor, pair.recipient), "NotFound")
        refuse_if(not pair.stands, "Conflict")
        refuse_if(not 1 <= doses <= FLOWERS, "InvalidInput")
        refuse_if(doses > pair.offered.most_left(), "DosesShort")
        refuse_if(any(deal.pair is pair and deal.state in ALIVE for deal in self.deals), "Conflict")

    def accept(self, who: str, deal: Deal, doses: int | None) -> None:
        side = deal.side(who)
        refuse_if(side == deal.first or deal.state != "proposed", "Conflict")
        wanted = deal.doses if doses is None else doses
        fewer = side == "donor" and 1 <= wanted <= deal.doses
        refuse_if(wanted != deal.doses and not fewer, "InvalidInput")
        fitting = [pile for pile in deal.pair.offered.in_order() if pile.left >= wanted]
        refuse_if(not fitting, "DosesShort")
        deal.state, deal.doses, deal.pile = "agreed", wanted, fitting[0]
        deal.pile.reserved += wanted
        self.agreed.append(deal)

    def decline(self, who: str, deal: Deal) -> None:
        refuse_if(deal.side(who) == deal.first or deal.state != "proposed", "Conflict")
        deal.end("declined")

    # --- what may change ---

    def withdraw(self, who: str, deal: Deal) -> None:
        not_own = deal.side(who) != deal.first and deal.state == "proposed"
        refuse_if(not_own or deal.sent or deal.state not in ALIVE, "Conflict")
        deal.end("ended")

    def postpone(self, who: str, deal: Deal) -> None:
        deal.side(who)
        refuse_if(deal.sent or deal.state not in ALIVE, "Conflict")
        deal.end("ended")

    def send_less(self, who: str, deal: Deal, doses: int) -> None:
        refuse_if(deal.side(who) != "donor", "Conflict")
        if deal.pile is None:
            raise Refusal("Conflict")
        refuse_if(not 1 <= doses < deal.doses, "InvalidInput")
        deal.pile.reserved -= deal.doses - doses
        deal.doses = doses

    def state_papers(self, who: str, deal: Deal) -> None:
        side = deal.side(who)
        refuse_if(deal.state not in ALIVE or not deal.pair.abroad, "Conflict")
        deal.stated.add(side)

    def send(self, who: str, deal: Deal) -> None:
        refuse_if(deal.side(who) != "donor", "Conflict")
        lacking = deal.pair.abroad and len(deal.stated) < 2
        if deal.pile is None or lacking:
            raise Refusal("Conflict")
        deal.pile.reserved -= deal.doses
        deal.pile.sent += deal.doses
        deal.pile, deal.sent = None, True

    def end(self, who: str, deal: Deal) -> None:
        deal.side(who)
        refuse_if(deal.state != "agreed" or not deal.sent, "Conflict")
        deal.end("ended")

    # --- doses of an offer ---

    def keep_back(self, who: str, offered: Offered, doses: int, pile: Pile | None) -> None:
        refuse_if(who != offered.donor, "NotFound")
        refuse_if(doses < 0, "InvalidInput")
        meant = offered.part(pile)
        refuse_if(doses > meant.left + meant.kept, "DosesShort")
        meant.kept = doses

    def come_up_short(self, who: str, offered: Offered, doses: int, pile: Pile | None) -> None:
        """One dose for each grower before anybody has a second; who agreed first comes first."""
        refuse_if(who != offered.donor, "NotFound")
        meant = offered.part(pile)
        refuse_if(not 0 <= doses < meant.total - meant.sent, "InvalidInput")
        promised = self.promised(meant)
        meant.kept = min(meant.kept, max(0, doses - meant.reserved))
        left, share = doses, {id(deal): 0 for deal in promised}
        served: set[str] = set()
        for deal in promised:
            if left and deal.pair.recipient not in served:
                served.add(deal.pair.recipient)
                share[id(deal)], left = 1, left - 1
        for deal in promised:
            while left and share[id(deal)] < deal.doses:
                share[id(deal)], left = share[id(deal)] + 1, left - 1
        for deal in promised:
            if share[id(deal)]:
                meant.reserved -= deal.doses - share[id(deal)]
                deal.doses = share[id(deal)]
            else:
                deal.end("ended")
        meant.total = doses + meant.sent

    def collect(self, who: str, offered: Offered, doses: int) -> Pile:
        """A lot comes out of what is to be collected; promised doses go over that fit whole."""
        refuse_if(who != offered.donor, "NotFound")
        origin = next((pile for pile in offered.piles if not pile.of_lot), None)
        if origin is None:
            raise Refusal("Conflict")
        refuse_if(doses < 1, "InvalidInput")
        lot = Pile(doses, of_lot=True)
        for deal in self.promised(origin):
            if deal.doses <= lot.left:
                origin.reserved, lot.reserved = origin.reserved - deal.doses, lot.reserved + deal.doses
                deal.pile = lot
        origin.total = max(origin.total - doses, origin.total - origin.left)
        offered.piles.append(lot)
        return lot

    def promised(self, pile: Pile) -> list[Deal]:
        return [deal for deal in self.agreed if deal.pile is pile]

    # --- growers who do not meet any more ---

    def apart(self, one: str, other: str) -> bool:
        return bool({(one, other), (other, one)} & self.blocks)

    def block(self, who: str, other: str) -> None:
        """What is between them ends, as it could have ended without a block; once more is no change."""
        if (who, other) in self.blocks:
            return
        self.blocks.add((who, other))
        pair_of_growers = {who, other}
        for deal in self.deals:
            between = {deal.pair.offered.donor, deal.pair.recipient} == pair_of_growers
            if between and deal.state in ALIVE:
                no = deal.state == "proposed" and deal.side(who) != deal.first
                deal.end("declined" if no else "ended")
        for pair in self.pairs:
            if {pair.offered.donor, pair.recipient} == pair_of_growers:
                pair.stands = False

    def unblock(self, who: str, other: str) -> None:
        self.blocks.discard((who, other))
