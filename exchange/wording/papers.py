"""What growers read about papers: what a reader may know of a line, what lacks, and who decides.

Nothing here may read as leave to send.
"""

import re
from collections.abc import Mapping
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from growers.models import Site
from growers.selectors.site import region

Record = Mapping[str, Any]

READS_AS_LEAVE = re.compile(r"\b(?:allowed|cleared|ok|okay|green|tick(?:s|ed|ing)?)\b|[✓✔✅☑]", re.IGNORECASE)
"""What must not stand on a papers line, whoever wrote it."""

LACKING: Mapping[str, str | Promise] = {
    "donor_statement_missing": _(
        "The donor's statement is missing: botanical name, origin, free of soil, pond water and insects,"
        " rights."
    ),
    "parcel_not_free": _("The donor states that the parcel is not free of soil, pond water and insects."),
    "recipient_statement_missing": _(
        "The recipient's statement is missing: whether papers are in hand or not needed."
    ),
    "papers_not_sure": _("The recipient is not sure about the papers; ask the plant-health authority first."),
}
ACROSS = _(
    "Nothing here is permission: the plant-health authorities of both countries decide. The recipient is the"
    " importer and asks before anything is sent."
)
WITHIN = _(
    "The parcel stays within one country; whether rules of its own hold there, its plant-health authority"
    " knows."
)
COUNTRY_NOT_TOLD = "papers_country_not_told"
LESS_TOLD = {"papers_forbidden": "papers_forbidden_country_not_told"}


def papers_record(record: Record, other: Site) -> Record:
    """A papers line for whoever knows of the other's site its region alone.

    Where that does not tell the country, the line does not either; the text of a note names countries too.
    """
    if region(other).country is not None:
        return record
    return {"code": LESS_TOLD.get(record["code"], COUNTRY_NOT_TOLD), "parameters": {}}


def who_decides(*, crosses_border: bool) -> str:
    """Whose word counts, whatever is on file."""
    return str(ACROSS if crosses_border else WITHIN)
