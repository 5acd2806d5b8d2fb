"""What the demo prints: who may send what to whom, when, with what chance, and what decides it."""

from collections.abc import Sequence
from datetime import date
from itertools import groupby
from typing import Any

from django.utils.formats import date_format

from exchange.matching.reason import Reason
from exchange.matching.smallest_change import SmallestChange
from exchange.models import MatchingRun, Offer, Pairing, WantedCross
from exchange.wording.catalogue import sentence
from exchange.wording.chance import chance_in_words, percent
from exchange.wording.pairing import (
    BASIS,
    basis_sentence,
    bud_wait_sentence,
    chance_sentence,
    decided_sentence,
    posting_sentence,
    sentences,
    two_baskets_sentence,
)

SHOWN_EACH = 2
Basis = tuple[str, str] | None
Refusal = tuple[Offer, WantedCross, tuple[Reason, ...], SmallestChange | None, Basis]
OPENING = """
How to go on: `manage.py demo --today 2026-06-20` reckons as of another day;
`--json FILE` writes everything shown here and more. All growers, sites and cultivars are invented.
"""


def demo_table(run: MatchingRun, pairings: Sequence[Pairing], refused: Sequence[Refusal], today: date) -> str:
    """The result as a grower reads it."""
    lines = [f"As of {date_format(today, 'l j F Y')}, model {run.model_version}:", ""]
    lines += ["Proposed: who sends what to whom", *_proposed_lines(pairings), "", "In full", ""]
    for _, group in groupby(pairings, key=lambda pairing: pairing.wanted_cross_id):
        lines += _wanted_lines(list(group))
    lines += ["No pairing, and why:", *_refusal_lines(refused), OPENING]
    return "\n".join(lines)


def _proposed_lines(pairings: Sequence[Pairing]) -> list[str]:
    lines = []
    for pairing in pairings:
        if pairing.allocated_doses:
            sender, receiver = pairing.offer.plant, pairing.wanted_cross.seed_parent
            each = pairing.plan["each_flower"]["estimate"]
            lines += [
                f"  {sender.grower.handle} → {receiver.grower.handle}: {pairing.allocated_doses} of"
                f" {_name(sender)} for {_name(receiver)}",
                f"      {posting_sentence(pairing)}; each flower {chance_in_words(each)} ({percent(each)});"
                f" based on {basis_sentence(pairing)}",
            ]
            decided = decided_sentence(pairing)
            lines += [f"      decided by {decided}"] if decided else []
    return lines


def _wanted_lines(pairings: list[Pairing]) -> list[str]:
    wanted = pairings[0].wanted_cross
    seed = wanted.seed_parent
    count = "one flower" if wanted.flowers == 1 else f"up to {wanted.flowers} flowers"
    lines = [f"{seed.grower.handle} would like pollen for {_name(seed)}, {count}"]
    for pairing in pairings[:SHOWN_EACH]:
        lines += [f"  {line}" for line in _pairing_lines(pairing)]
    more = len(pairings) - SHOWN_EACH
    return [*lines, f"  … and {more} more, less likely", ""] if more > 0 else [*lines, ""]


def _pairing_lines(pairing: Pairing) -> list[str]:
    offer = pairing.offer
    lines = [
        f"{offer.plant.grower.handle} could send {_name(offer.plant)} ({offer.treatment},"
        f" {offer.packing.replace('_', ' ')}, {offer.doses} doses)",
        f"  chance    {chance_sentence(pairing)}",
        f"  post      {posting_sentence(pairing)}",
    ]
    decided = decided_sentence(pairing)
    lines += [f"  decided   by {decided}"] if decided else []
    lines += [f"  based on  {basis_sentence(pairing)}"]
    lines += [f"  papers    {line}" for line in sentences([pairing.papers] if pairing.papers else [])]
    lines += [f"  for       {line}" for line in sentences(pairing.reasons)]
    lines += [f"  mind      {line}" for line in sentences(pairing.cautions)]
    if wait := bud_wait_sentence(pairing):
        lines += [f"  wait      {wait}"]
    if split := two_baskets_sentence(pairing):
        lines += [f"  split     {split}"]
    if pairing.smallest_change:
        lines += [f"  better    {line}" for line in sentences([pairing.smallest_change])]
    if pairing.allocation:
        lines += [f"  proposed  {pairing.allocated_doses} of {offer.doses} doses."]
        lines += [f"  why       {line}" for line in sentences([pairing.allocation["reason"]])]
    return lines


def _name(plant: Any) -> str:
    return f"{plant.name_as_grown} [{plant.number}]"


def _refusal_lines(refused: Sequence[Refusal]) -> list[str]:
    """One line for each reason other than "not asked for", which would drown the rest."""
    lines = []
    for offer, wanted, reasons, change, basis in refused:
        told = [reason for reason in reasons if reason.code not in ("not_asked_for", "traits_missing")]
        if told and len(told) == len(reasons):
            words = " ".join(sentence(reason.code, reason.parameters) for reason in told)
            better = _better(change, basis)
            lines.append(f"  {_name(wanted.seed_parent)} × {_name(offer.plant)}: {words}{better}")
    return lines


def _better(change: SmallestChange | None, basis: Basis) -> str:
    """A change that would help, with what its figure rests on."""
    if change is None or basis is None:
        return ""
    told = sentence(change.reason().code, change.reason().parameters)
    donor, recipient = (BASIS[each] for each in basis)
    return f" {told} (based on donor: {donor}; recipient: {recipient})"


def demo_json(
    run: MatchingRun, pairings: Sequence[Pairing], refused: Sequence[Refusal], today: date
) -> dict[str, Any]:
    """The same as plain data, codes and sentences both."""
    return {
        "invented": True,
        "today": today.isoformat(),
        "model_version": run.model_version,
        "pairings": [_pairing_json(pairing) for pairing in pairings],
        "refused": [
            {
                "seed_parent": _name(wanted.seed_parent),
                "pollen_parent": _name(offer.plant),
                "reasons": [_record(reason) for reason in reasons],
                "smallest_change": _record(change.reason()) if change else None,
                "basis": dict(zip(("donor", "recipient"), basis, strict=True)) if basis else None,
            }
            for offer, wanted, reasons, change, basis in refused
        ],
    }


def _record(reason: Reason) -> dict[str, Any]:
    return {"code": reason.code, "parameters": dict(reason.parameters)}


def _pairing_json(pairing: Pairing) -> dict[str, Any]:
    return {
        "recipient": pairing.wanted_cross.seed_parent.grower.handle,
        "seed_parent": _name(pairing.wanted_cross.seed_parent),
        "donor": pairing.offer.plant.grower.handle,
        "pollen_parent": _name(pairing.offer.plant),
        "plan": pairing.plan,
        "reasons": pairing.reasons,
        "cautions": pairing.cautions,
        "papers": pairing.papers,
        "smallest_change": pairing.smallest_change,
        "allocated_doses": pairing.allocated_doses,
        "allocation": pairing.allocation,
        "words": {
            "chance": chance_sentence(pairing),
            "post": posting_sentence(pairing),
            "decided_by": decided_sentence(pairing),
            "based_on": basis_sentence(pairing),
        },
    }
