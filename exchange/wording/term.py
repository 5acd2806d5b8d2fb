"""The terms of an offer in plain words."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from django.utils import translation
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

Term = Mapping[str, Any]

TERMS: Mapping[str, str | Promise] = {
    "tell_result": _("Tell me what became of it, failures too."),
    "share_seed": _("Share the seed with me: about {percent} in 100."),
    "ask_before_naming": _("Ask me before you name a seedling of it."),
    "do_not_pass_on": _("Do not pass the pollen on."),
    "not_before": _("Name or spread no seedling of it before {day}."),
    "ask_before_sale": _("Ask me before anything raised from it is sold."),
    "other": "{text}",
}

CODES = [(code, code) for code in TERMS]


def term_text(term: Term) -> str:
    """One term as a sentence in the language in force."""
    parameters = dict(term)
    if "until" in parameters:
        parameters["day"] = date_format(date.fromisoformat(parameters["until"]), "DATE_FORMAT")
    return str(TERMS[term["code"]]).format(**parameters)


def terms_worded(terms: Iterable[Term], language: str) -> list[dict[str, Any]]:
    """Terms with the sentences that a reader of a language agrees to."""
    with translation.override(language):
        return [{**term, "text": term_text(term)} for term in terms]
