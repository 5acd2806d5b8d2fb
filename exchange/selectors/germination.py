"""A counted germination test reckoned for whoever counted it; nothing is read or written."""

from collections.abc import Mapping, Sequence
from typing import Any

from exchange.science.germination_count import Advice, CountedShare, Way, germination_count
from exchange.science.viability import Treatment
from exchange.wording.germination import germination_sentence
from growers.services.problem import Problems

Record = Mapping[str, Any]
CONFIDENCE = "95 %, Wilson"


def germination_reckoned(
    *,
    replicates: Sequence[Mapping[str, int]],
    way: Way,
    treatment: Treatment,
    rehydrated: bool | None,
    wanted_half_width_percent: float | None,
) -> Record:
    """Share, agreement, advice and further grains of one test.

    Raises ``InvalidInput`` where more grains germinated than were counted.
    """
    problems = Problems()
    for place, each in enumerate(replicates):
        if each["germinated"] > each["counted"]:
            problems.add(f"replicates/{place}/germinated", each["germinated"], f"0 to {each['counted']}")
    problems.refuse_if_any()
    found = germination_count(
        [each["germinated"] for each in replicates],
        [each["counted"] for each in replicates],
        way,
        treatment=treatment,
        rehydrated=rehydrated,
        wanted_half_width_percent=wanted_half_width_percent,
    )
    return {
        **way._asdict(),
        **_shares(found.share),
        "agree": None if found.comparison is None else found.comparison.agree,
        "advice": [_told(each) for each in found.advice],
        "more_grains": found.more,
    }


def _shares(share: CountedShare) -> Record:
    counted = {"germinated": share.germinated, "counted": share.counted}
    ends = {"estimate": share.share, "low": share.low, "high": share.high}
    independent = {"low": share.independent_low, "high": share.independent_high}
    return {
        **counted,
        "estimate": {**ends, "basis": {"interval": CONFIDENCE, "clumping": share.clumping}},
        "estimate_if_independent": {
            **ends,
            **independent,
            "basis": {"interval": CONFIDENCE, "clumping": "none"},
        },
    }


def _told(advice: Advice) -> Record:
    return {
        "code": advice.code,
        "detail": germination_sentence(advice.code, advice.parameters),
        "parameters": advice.parameters,
    }
