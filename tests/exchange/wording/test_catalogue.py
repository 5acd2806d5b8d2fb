"""The catalogue: every reason the source can give has a sentence, and it can be said with its parameters."""

import ast
import string
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import exchange
from exchange.matching.chance import Estimate
from exchange.matching.donor_flowers import DonorFlowers
from exchange.matching.eligibility import compatibility, refusals
from exchange.matching.plan import plan_pair
from exchange.matching.posting import recipient_flowers
from exchange.matching.reason import Reason
from exchange.matching.side import LotInHand
from exchange.matching.smallest_change import SmallestChange
from exchange.models import BorderNote
from exchange.science import modifier
from exchange.science.kinship import PedigreeEntry
from exchange.science.packing import DEFAULT_PACKING
from exchange.science.transit import MAX_BUSINESS_DAYS, Transit
from exchange.selectors.border import BorderNotes
from exchange.selectors.caution import cautions
from exchange.selectors.plan_record import reason_records
from exchange.services.second_packet import SECOND_DONOR
from exchange.wording.catalogue import SENTENCES, sentence
from tests.exchange.pair import a_bloom, a_lane, a_parent, a_wanted_cross, an_offer
from tests.exchange.plan import a_plan
from tests.exchange.wording.plain import API_WORDS, PERMISSION

ROOT = Path(exchange.__file__).parent
LOST = Transit(np.zeros(MAX_BUSINESS_DAYS), 1.0)

# Codes that are put together; each against the module that knows the parts.
PUT_TOGETHER = {
    "kinship_{}": {"kinship_self", "kinship_strong", "kinship_warn"},
    "offspring_ploidy_{}": {"offspring_ploidy_weak", "offspring_ploidy_strong"},
    "change_{}": {
        "change_cold_box",
        "change_collect_before_cut_off",
        "change_dried_instead_of_fresh",
        "change_post_to_country",
        "change_saturday_service",
        "change_second_donor",
    },
}
FACTORS = {
    "sterile_seed_parent",
    "sterile_pollen_parent",
    "poor_seed_parent",
    "poor_pollen_parent",
    "hardy_in_hot_water",
    "different_chromosome_counts",
}
PASSED_ON = {
    ("matching/eligibility.py", "_prior_reason"): {"groups_on_record", "groups_no_report"},
    ("matching/eligibility.py", "compatibility"): FACTORS,
    # Of refusals that were told before.
    ("services/refusal_memory.py", "find"): set(),
    ("matching/allocation_explain.py", "_reason"): {
        "allocation_best",
        "allocation_growers_without_first",
        "allocation_more_elsewhere",
        "allocation_no_flower_left",
        "allocation_no_offer",
        "allocation_none_left",
        "allocation_others_stay",
        "allocation_stays",
    },
}
"""Codes that a function hands on in a variable."""


# --- the codes of the source ---


def codes() -> Iterator[str]:
    """Every code that a ``Reason(…)`` of the source can hold."""
    for path in sorted(ROOT.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for function in [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]:
            for call in [node for node in ast.walk(function) if is_reason(node)]:
                place = str(path.relative_to(ROOT)), function.name
                yield from codes_of(call.args[0], place)  # type: ignore[attr-defined]


def is_reason(node: ast.AST) -> bool:
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Reason"


def codes_of(argument: ast.expr, place: tuple[str, str]) -> set[str]:
    if isinstance(argument, ast.Constant):
        return {str(argument.value)}
    if isinstance(argument, ast.IfExp):
        return codes_of(argument.body, place) | codes_of(argument.orelse, place)
    if isinstance(argument, ast.JoinedStr):
        parts = [str(part.value) if isinstance(part, ast.Constant) else "{}" for part in argument.values]
        return PUT_TOGETHER["".join(parts)]
    return PASSED_ON[place]


def literals(path: str, function: str) -> set[str]:
    """Texts that could be codes in one function."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    (found,) = (
        node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.name == function
    )
    texts = {node.value for node in ast.walk(found) if isinstance(node, ast.Constant)}
    return {text for text in texts if isinstance(text, str) and "_" in text and " " not in text}


def test_every_code_of_the_source_is_in_the_catalogue() -> None:
    found = set(codes())
    assert len(found) > 25
    assert found - set(SENTENCES) == set()


def test_codes_that_are_handed_on_are_all_known() -> None:
    assert (
        literals("matching/eligibility.py", "_prior_reason")
        >= PASSED_ON["matching/eligibility.py", "_prior_reason"]
    )
    explained = literals("matching/allocation_explain.py", "_reason")
    assert {text for text in explained if text.startswith("allocation_")} == PASSED_ON[
        "matching/allocation_explain.py", "_reason"
    ]
    changes = {f"change_{text}" for text in literals("selectors/smallest_change.py", "alternatives")}
    changes.add(f"change_{SECOND_DONOR}")
    assert changes == PUT_TOGETHER["change_{}"]


def test_every_factor_of_the_science_is_known() -> None:
    bad = modifier.Parent(("hardy",), "sterile", (56,), 35.0), modifier.Parent(("hardy",), "poor", (84,))
    told = {code for code, _ in modifier.pair_modifier(*bad).reasons}
    told |= {code for code, _ in modifier.pair_modifier(*reversed(bad)).reasons}
    assert told == FACTORS


# --- every sentence with its real parameters ---


@cache
def told() -> list[Reason]:
    """A reason of every code that a pairing can have, as the code that gives it makes it."""
    return [*refused(), *for_and_against(), *warned(), *changed(), *planned()]


def refused() -> list[Reason]:
    mule = a_parent("mule", pollen_fertility="no", fertility_source="its grower")
    barren = a_parent("barren", seed_fertility="no", fertility_source="its grower")
    lotus = a_parent("lotus", groups=("nelumbo",))
    pairs = [
        (an_offer(parent=mule), a_wanted_cross(groups=frozenset({"lotos"}))),
        (
            an_offer(parent=lotus, lot=None),
            a_wanted_cross(traits=frozenset({"tall", "blue"}), bloom=a_bloom()),
        ),
        (an_offer(), a_wanted_cross(parent=barren, country="AU", bloom=a_bloom())),
    ]
    return [reason for pair in pairs for reason in refusals(*pair)]


def for_and_against() -> list[Reason]:
    poor = a_parent("poor", seed_fertility="poor", pollen_fertility="poor", fertility_source="its grower")
    pairs = [
        (replace(poor, chromosome_counts=(56,)), replace(poor, chromosome_counts=(84,))),
        (a_parent("seed"), a_parent("pollen", groups=("lotos",))),
        (a_parent("seed", groups=("brachyceras",)), a_parent("pollen")),
        (a_parent("seed", groups=("hardy", "brachyceras")), a_parent("pollen", groups=("anecphya",))),
    ]
    # No water temperature is on record yet, so the science is asked by itself.
    hot = modifier.Parent(("hardy",), water_week_mean_c=33.4), modifier.Parent(("hardy",))
    heat = [Reason(code, facts) for code, facts in modifier.pair_modifier(*hot).reasons]
    return heat + [reason for pair in pairs for reason in compatibility(*pair).reasons]


def warned() -> list[Reason]:
    founders = [PedigreeEntry("mother"), PedigreeEntry("father")]
    sibs = [*founders, *(PedigreeEntry(name, "mother", "father") for name in ("seed", "pollen"))]
    half = [*founders, *(PedigreeEntry(name, None, "father") for name in ("seed", "pollen"))]
    seed, tropical = a_parent("seed", chromosome_counts=(56,)), {"groups": ("brachyceras",)}
    triple, double = (a_parent("pollen", chromosome_counts=(count,), **tropical) for count in (84, 112))
    cases = [
        (an_offer(parent=triple, treatment="fresh"), sibs),
        (an_offer(parent=double, treatment="frozen", lot=LotInHand("freezer", 30)), half),
        (an_offer(parent=seed), half),
    ]
    way = a_lane(packing=DEFAULT_PACKING, ambient_c=np.full(12, 33.0))
    doubtful = a_plan(
        each_flower=Estimate(0.0001, 0.0, 0.001),
        flowers_expected=2.5,
        donor_flowers=DonorFlowers(4, 0.126),
    )
    asked = a_wanted_cross(parent=seed)
    found = [reason for given, kin in cases for reason in cautions(given, asked, way, doubtful, kin)]
    return [*found, *at_the_border()]


def at_the_border() -> list[Reason]:
    given, asked, today = an_offer(country="DE"), a_wanted_cross(country="US"), date(2026, 6, 15)
    note = BorderNote(
        kind=BorderNote.Kind.FORBIDDEN,
        destination="US",
        text="may not be brought in",
        source="a page",
        checked_on=today,
    )
    files = [BorderNotes((), today), BorderNotes((note,), today), BorderNotes((note,), date(2028, 1, 1))]
    lines = [notes.papers(given, asked) for notes in files] + [files[1].forbidding(given, asked)]
    return [line for line in lines if line is not None]


def changed() -> list[Reason]:
    names = {code.removeprefix("change_") for code in PUT_TOGETHER["change_{}"]}
    instead_of = dict.fromkeys(names, 0.04) | {"post_to_country": 0.0}
    facts = {"second_donor": {"plant": "'Ferry'", "offer": "offer"}}
    return [
        SmallestChange(name, 0.126, instead_of[name], facts.get(name, {})).reason() for name in sorted(names)
    ]


def planned() -> list[Reason]:
    today = date(2026, 6, 1)
    asked = a_wanted_cross(bloom=a_bloom())
    never = plan_pair(an_offer(), asked, a_lane(), today, None)
    flowers = recipient_flowers(a_bloom(), today)
    missed = plan_pair(an_offer(), asked, replace(a_lane(), transit=LOST), today, flowers)
    assert isinstance(never, Reason)
    assert isinstance(missed, Reason)
    return [never, missed]


NOT_OF_A_PAIRING = {code for code in SENTENCES if code.startswith("allocation_")}


def test_every_code_that_a_pairing_can_have_was_told() -> None:
    assert {reason.code for reason in told()} == set(codes()) - NOT_OF_A_PAIRING


@pytest.mark.parametrize("code", sorted(set(codes()) - NOT_OF_A_PAIRING))
def test_a_sentence_can_be_said_with_its_parameters(code: str) -> None:
    stored = reason_records(reason for reason in told() if reason.code == code)
    for words in (sentence(record["code"], record["parameters"]) for record in stored):
        assert words.endswith(".")
        assert "{" not in words
        assert "()" not in words
        assert not API_WORDS.search(words)


WORDED = {
    "groups_on_record": "brachyceras as seed parent with pollen of hardy: about 20 in 100 pollinations take",
    "poor_seed_parent": "'Poor' rarely sets seed, so its chance is a fifth (its grower).",
    "hardy_in_hot_water": "Hardy water lilies hardly set seed in water of 33 °C; above 30 °C we multiply",
    "different_chromosome_counts": "The parents' chromosome counts differ (56 and 84); we multiply",
    "traits_missing": "It is not recorded to have what is asked for: blue, tall.",
    "country_not_shipped_to": "The donor does not post to AU.",
    "kinship_strong": "Close kin: inbreeding of the offspring 0.25 counted as a diploid, 0.25 counted",
    "offspring_ploidy_strong": "The offspring may be sterile: predicted chromosome count 70.",
    "change_saturday_service": "With a Saturday service: each flower about 1 in 8 instead of about 1 in 25.",
    "change_post_to_country": "If the donor posted there: each flower about 1 in 8.",
    "change_second_donor": "With pollen of 'Ferry' from a second donor as well: at least one capsule"
    " about 1 in 8 instead of about 1 in 25.",
    "doses_over_donor_flowers": "4 doses are wanted, which takes 4 flowers of the donor; that so many have"
    " opened by the likeliest posting day: about 1 in 8.",
    "papers_nothing_on_file": "From DE to US: nothing on file; this is not permission.",
}


@pytest.mark.parametrize("code", WORDED)
def test_what_a_grower_reads(code: str) -> None:
    words = [sentence(reason.code, reason.parameters) for reason in told() if reason.code == code]
    assert any(line.startswith(WORDED[code]) for line in words), words


# --- the catalogue by itself ---

FORBIDS = "a note on file forbids it"


def fields_of(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


@pytest.mark.parametrize("code", SENTENCES)
def test_no_sentence_speaks_the_language_of_the_interface(code: str) -> None:
    text = str(SENTENCES[code])
    assert not API_WORDS.search(text)
    assert all(name.isidentifier() for name in fields_of(text))


def test_no_word_about_papers_reads_as_leave_to_send() -> None:
    lines = {code: str(text) for code, text in SENTENCES.items() if code.startswith("papers_")}
    assert "papers_nothing_on_file" in lines
    for text in lines.values():
        assert not PERMISSION.search(text)
        assert "not permission" in text or FORBIDS in text
    assert [
        word for word in ("Allowed.", "cleared", "OK", "ticked", "green", "✓") if not PERMISSION.search(word)
    ] == []


def test_an_unknown_code_or_a_missing_parameter_is_a_mistake() -> None:
    with pytest.raises(KeyError):
        sentence("no_such_code", {})
    with pytest.raises(KeyError, match="plant"):
        sentence("sterile_seed_parent", {"source": "its grower"})


def test_every_sentence_is_given_by_something() -> None:
    """What is read in place of a country comes from no reason of the matching."""
    assert set(SENTENCES) - set(codes()) == {"papers_country_not_told", "papers_forbidden_country_not_told"}
