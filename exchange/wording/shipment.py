"""What a parcel holds besides pollen, and what to mind of it: dated, sourced cautions, never leave."""

from collections.abc import Mapping
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy

CHECKED_ON = "2026-11-25"

CONTENTS: Mapping[str, tuple[str | Promise, str]] = {
    "ice_pack": (
        gettext_lazy(
            "Let the pack thaw until it is wet, and put card between: a pack from the freezer kills what it"
            " touches."
        ),
        "common practice, no source",
    ),
    "silica_gel": (
        gettext_lazy("In the tube with the pollen, so that dew cannot wet it."),
        "common practice, no source",
    ),
    "logger_battery": (
        gettext_lazy(
            "A logger holds a lithium cell; posts have rules for cells contained in equipment (UN 3091, UN"
            " 3481). Ask yours."
        ),
        "from memory; rules change",
    ),
    "dry_ice": (
        gettext_lazy(
            "Dangerous goods (UN 1845, class 9): the box must let gas out, never airtight, net weight"
            " outside. Posts often refuse it, and chilled pollen does not need it. Ask the carrier first."
        ),
        "pages of universities and health agencies, read",
    ),
    "alcohol": (
        gettext_lazy(
            "Dangerous goods (UN 1219, class 3): no vials or wipes by post. Clean tools before and after,"
            " away from flames until it has dried."
        ),
        "from memory",
    ),
    "liquid_nitrogen": (
        gettext_lazy(
            "Dangerous goods (UN 1977): it can suffocate and burns with cold; only a dry shipper, and only"
            " with the carrier's written consent."
        ),
        "from memory",
    ),
}
"""By code: what to mind, and where it is from. Blades are no content: they stay at home."""


def content_caution(code: str) -> Mapping[str, Any]:
    """One content with its caution."""
    words, source = CONTENTS[code]
    return {"code": code, "detail": str(words), "parameters": {"source": source, "checked_on": CHECKED_ON}}
