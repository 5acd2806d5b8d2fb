"""The words of a packet's label: what a packet says of itself where there is no server and no network."""

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

TERMS_CHARACTERS = 60
CODE_GROUP = 4
REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
UNPRINTABLE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn"})
"""Categories of characters without a shape of their own, of which some would turn the reading order round."""


@dataclass(frozen=True)
class LabelFacts:
    """What the label of one packet, or of a whole lot, tells: nothing of who grew it, or where exactly.

    ``zone`` is the clock of the plant's place; ``collected_hour`` (0 to 23) is None where it
    was not stated; ``doubtful`` holds a sentence for each cause, ``terms`` one for each term; ``url`` is
    the lot's public page.
    """

    plant: str
    code: str
    packet: int | None
    doses: int | None
    collected_on: date
    collected_hour: int | None
    zone: str
    treatment: str
    store: str
    best_before: date | None
    worth_trying_until: date | None
    doubtful: Sequence[str]
    terms: Sequence[str]
    url: str


@dataclass(frozen=True)
class LabelItem:
    """One thing that a label tells: its name and what it is."""

    kind: str
    name: str
    value: str


def label_lines(facts: LabelFacts) -> list[str]:
    """All words of a label, in the language in force."""
    items = [f"{item.name} {item.value}" for item in label_items(facts)]
    return [grouped_code(facts.code), plain(facts.plant), *items]


def label_items(facts: LabelFacts) -> list[LabelItem]:
    """What stands on a label under the code and the plant, in the language in force."""
    return [LabelItem(kind, name, plain(value)) for kind, name, value in _items(facts)]


def blank_names() -> list[str]:
    """Names of what is written on a blank label in pencil; the first and last need the most room."""
    return [
        _("plant"),
        _("code"),
        _("packet"),
        _("collected"),
        _("hour, zone"),
        _("treatment"),
        _("store"),
        _("best before"),
        _("worth trying until"),
        _("doses"),
        _("terms"),
        _("doubtful"),
    ]


def grouped_code(code: str) -> str:
    """A lot's code in groups of four, for the eye."""
    whole = plain(code)
    return "-".join(whole[start : start + CODE_GROUP] for start in range(0, len(whole), CODE_GROUP))


def plain(text: str) -> str:
    """The text composed, on one line, with a visible sign for each character that has no shape."""
    composed = unicodedata.normalize("NFC", " ".join(text.split()))
    return "".join(REPLACEMENT if unicodedata.category(sign) in UNPRINTABLE else sign for sign in composed)


def brief_terms(terms: Sequence[str]) -> str:
    """Whole terms in at most 60 characters; what does not fit is on the page, never half told here."""
    if not terms:
        return _("none")
    if len(whole := " ".join(terms)) <= TERMS_CHARACTERS:
        return whole
    for kept in range(len(terms) - 1, 0, -1):
        if len(some := " ".join([*terms[:kept], _("More: see the page")])) <= TERMS_CHARACTERS:
            return some
    return _("see the page")


def _items(facts: LabelFacts) -> Iterator[tuple[str, str, str]]:
    """Kind, name and value of each item; what is not known and not said otherwise has none."""
    yield "collected", _("collected"), _collected(facts)
    kept = _("{treatment}; store {store}")
    yield "treatment", _("treatment"), kept.format(treatment=facts.treatment, store=facts.store)
    if facts.packet is not None:
        yield "packet", _("packet"), _packet(facts.packet, facts.doses)
    elif facts.doses is not None:
        yield "doses", _("doses"), str(facts.doses)
    yield _dates(facts)
    if facts.doubtful:
        yield "doubtful", _("doubtful:"), " ".join(facts.doubtful)
    yield "terms", _("terms:"), brief_terms([plain(term) for term in facts.terms])
    yield "page", _("page"), facts.url


def _collected(facts: LabelFacts) -> str:
    """Day, hour if it was stated, and zone."""
    if facts.collected_hour is None:
        return _("{day}, {zone}").format(day=_day(facts.collected_on), zone=facts.zone)
    return _("{day}, {hour} h, {zone}").format(
        day=_day(facts.collected_on), hour=facts.collected_hour, zone=facts.zone
    )


def _dates(facts: LabelFacts) -> tuple[str, str, str]:
    """The two dates of a lot, as far as they are known."""
    until = facts.worth_trying_until
    if facts.best_before is None:
        if until is None:
            return "dates", _("dates"), _("not known")
        return "dates", _("worth trying"), _("until about {day}").format(day=_day(until))
    best_before = _day(facts.best_before)
    if until is None:
        return "dates", _("best before"), best_before
    both = _("{best_before}; worth trying until about {until}")
    return "dates", _("best before"), both.format(best_before=best_before, until=_day(until))


def _packet(packet: int, doses: int | None) -> str:
    """The packet's number, with its doses if they were counted."""
    if doses is None:
        return str(packet)
    counted = ngettext("{packet}; {doses} dose", "{packet}; {doses} doses", doses)
    return counted.format(packet=packet, doses=doses)


def _day(day: date) -> str:
    # Translators: how a day is written on a label, in the letters of Django's date filter.
    return date_format(day, _("j F Y"))
