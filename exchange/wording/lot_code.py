"""What may be wrong with a lot's code that somebody typed."""

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from exchange.models.lot_code import ALPHABET, LENGTH, READ_AS


def code_mistake(text: str) -> str:
    """Which kind of mistake a code that cannot be one may hold; nothing of the text itself is repeated."""
    code = text.upper().translate(READ_AS)
    if not set(code) <= set(ALPHABET):
        return _("A code holds letters from A to Z and digits only; something else is in this one.")
    if len(code) != LENGTH:
        counted = ngettext(
            "A code has {length} characters; this one has {count}.",
            "A code has {length} characters; this one has {count}.",
            len(code),
        )
        return counted.format(length=LENGTH, count=len(code))
    return _("One character is wrong, or two have changed places.")
