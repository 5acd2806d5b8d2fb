"""Recalls in words: what was found, and what a holder had better do."""

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy

from exchange.models import Recall

FOUND: Mapping[str, str | Promise] = {
    Recall.Kind.PEST: gettext_lazy(
        "A pest was found on {plant} on {found_on}. Keep what you have of it apart, look at it closely, and"
        " ask your plant-health office before you pass anything on."
    ),
    Recall.Kind.VIRUS: gettext_lazy(
        "A virus was found on {plant} on {found_on}. Pollen and seed can carry viruses: use nothing of it"
        " before you have asked somebody who tests, and clean tools and hands."
    ),
    Recall.Kind.WRONG_NAME: gettext_lazy(
        "{plant} is not what its name says, as was found on {found_on}. Crosses made with it have another"
        " parent than was written down."
    ),
}


def recall_sentence(recall: Recall) -> str:
    """What a holder is told; its plant is loaded."""
    words = str(FOUND[recall.kind]).format(
        plant=recall.plant.name_as_grown, found_on=recall.found_on.isoformat()
    )
    return f"{words} {recall.text}".strip()
