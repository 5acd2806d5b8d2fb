"""Terms: what a donor asks of whoever takes pollen, and what a taker ticked."""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from exchange.wording.term import TERMS, terms_worded
from growers.errors import FieldProblem, InvalidInput
from growers.services.problem import Problems
from growers.services.row import is_printable, text_tidied

MOST_TERMS = 12
PLAIN = frozenset({"tell_result", "ask_before_naming", "do_not_pass_on", "ask_before_sale"})
LONGEST_TEXT = 300

TermInput = Mapping[str, Any]


def terms_checked(terms: Sequence[TermInput], problems: Problems) -> list[dict[str, Any]]:
    """Terms as they are stored: code, what belongs to it, and the key that a taker ticks.

    ``share_seed`` has ``percent`` 1–99, ``not_before`` has ``until`` (a date), ``other`` has ``text``; the
    rest stand alone. Problems are noted for ``terms``.
    """
    if not isinstance(terms, list | tuple) or len(terms) > MOST_TERMS:
        problems.add("terms", terms, f"a list of at most {MOST_TERMS} terms")
        return []
    found = [_checked(term, problems) for term in terms]
    keys = [term["key"] for term in found if term]
    if len(set(keys)) < len(keys):
        problems.add_sentence("terms", "repeated", "A term is stated twice; state each once.")
    return [term for term in found if term]


def default_terms(words: Iterable[str]) -> list[dict[str, Any]]:
    """The terms that a grower usually asks for, as far as they stand alone."""
    return [{"code": word, "key": word} for word in dict.fromkeys(words) if word in PLAIN]


def terms_agreed(
    terms: Sequence[TermInput], ticked: Sequence[str] | None, language: str
) -> list[dict[str, Any]]:
    """The terms as worded for whoever ticked them all.

    Raises ``InvalidInput`` naming what is not ticked, or ticked and not asked: the terms may have changed
    since they were read.
    """
    asked, said = {term["key"] for term in terms}, set(ticked or ())
    problems = [_unticked(term) for term in terms_worded(terms, language) if term["key"] not in said]
    problems += [_unasked(key) for key in sorted(said - asked)]
    if problems:
        raise InvalidInput(" ".join(each.detail for each in problems), problems=tuple(problems))
    return terms_worded(terms, language)


def _checked(term: TermInput, problems: Problems) -> dict[str, Any]:
    code = str(term.get("code"))
    if code not in TERMS:
        problems.add("terms", code, ", ".join(TERMS))
        return {}
    parts: dict[str, Any] = {}
    if code == "share_seed":
        parts = {"percent": _percent(term.get("percent"), problems)}
    elif code == "not_before":
        parts = {"until": _until(term.get("until"), problems)}
    elif code == "other":
        parts = {"text": _text(term.get("text"), problems)}
    beside = sorted(name for name in term if name not in {"code", *parts} and term[name] is not None)
    if beside:
        problems.add_sentence("terms", "not_with_code", f"{', '.join(beside)} has no place with {code}.")
    return {"code": code, "key": _key(code, parts), **parts}


def _percent(percent: object, problems: Problems) -> int:
    if isinstance(percent, bool) or not isinstance(percent, int) or not 1 <= percent <= 99:
        problems.add("terms", percent, "share_seed with percent, a whole number from 1 to 99")
        return 0
    return percent


def _until(until: object, problems: Problems) -> str:
    if not isinstance(until, date):
        problems.add("terms", until, "not_before with until, a date")
        return ""
    return until.isoformat()


def _text(text: object, problems: Problems) -> str:
    tidied = text_tidied(text) if isinstance(text, str) else ""
    if not 0 < len(tidied) <= LONGEST_TEXT or not is_printable(tidied):
        problems.add("terms", text, f"other with text, 1 to {LONGEST_TEXT} printable characters")
    return tidied


def _key(code: str, parts: Mapping[str, Any]) -> str:
    """What a taker ticks: it changes whenever the term does."""
    if not parts:
        return code
    digest = hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()
    return f"{code}-{digest[:8]}"


def _unticked(term: TermInput) -> FieldProblem:
    detail = f"Not ticked: “{term['text']}” ({term['key']})."
    return FieldProblem("/terms", "term_not_ticked", detail, "", term["key"])


def _unasked(key: str) -> FieldProblem:
    detail = f"{key} is not among the terms; read them again, they may have changed."
    return FieldProblem("/terms", "term_unknown", detail, key)
