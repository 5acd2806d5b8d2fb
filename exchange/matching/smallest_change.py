"""The smallest change that turns a "no" or a weak chance into something worth doing."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from exchange.matching.plan import PairPlan
from exchange.matching.reason import Reason
from exchange.science import constants


@dataclass(frozen=True)
class Alternative:
    """One change that can really be made: its code, what it costs its donor or recipient, how to reckon it.

    ``effort`` orders changes, smaller first: 1 is another habit, 2 another purchase or consent.
    ``chance`` reckons each flower's chance of the changed pairing; 0 where it cannot be one either.
    """

    code: str
    effort: int
    chance: Callable[[], float]


@dataclass(frozen=True)
class SmallestChange:
    """The change, the chance of each flower it gives, and the chance without it (0 for a refusal).

    Of a second donor both are the chance of at least one capsule; ``facts`` are what its sentence needs
    besides.
    """

    code: str
    chance: float
    instead_of: float
    facts: Mapping[str, str | int] = field(default_factory=dict)

    def reason(self) -> Reason:
        """The change as a reason, to be worded."""
        figures = {"chance": round(self.chance, 9), "instead_of": round(self.instead_of, 9)}
        return Reason(f"change_{self.code}", {**figures, **self.facts})


def needs_change(plan: PairPlan | None, least_chance: float) -> bool:
    """Whether a change is worth looking for: nothing is possible, or the chance is weak and could be better.

    Weak is under what was asked for, or under a share of what these two plants could give at best.
    """
    if plan is None:
        return True
    chance, best = plan.each_flower.estimate, plan.compatibility.estimate
    weak = chance < least_chance or chance < constants.WEAK_SHARE.value * best
    return weak and best >= chance * constants.WORTHWHILE_GAIN.value


def smallest_change(
    plan: PairPlan | None, alternatives: Sequence[Alternative], least_chance: float
) -> SmallestChange | None:
    """The change of least effort that helps, and among those of equal effort the one that helps most.

    A change helps where it reaches the least chance asked for and gains at least a quarter; every figure
    is that of the changed pairing reckoned anew.
    """
    present = 0.0 if plan is None else plan.each_flower.estimate
    enough = max(least_chance, present * constants.WORTHWHILE_GAIN.value)
    found: list[tuple[int, float, str]] = []
    for alternative in alternatives:
        chance = alternative.chance()
        if chance > 0.0 and chance >= enough:
            found.append((alternative.effort, -chance, alternative.code))
    if not found:
        return None
    _, chance, code = min(found)
    return SmallestChange(code, -chance, present)


def second_donor_helps(together: float, alone: float, least_chance: float) -> bool:
    """Whether two donors reach what one does not: the least chance, with a gain of at least a quarter.

    All are chances of at least one capsule.
    """
    return alone < least_chance <= together and together >= alone * constants.WORTHWHILE_GAIN.value
