"""Papers of an agreement: what is on file for its way, what both growers stated, what lacks."""

from typing import Any

from rest_framework import serializers

from exchange.api.operation import Call, act, read
from exchange.api.strict import Choice, Day, Flag, StrictSerializer, Text
from exchange.api.v1.agreement import OfAgreement
from exchange.api.v1.told import ToldOut
from exchange.models import Agreement, PapersStatement
from exchange.selectors.papers import papers_for
from exchange.services.papers_statement import statement_make
from exchange.wording.papers import ACROSS, LACKING
from growers import clock

PAPERS: dict[str, Any] = {
    "crosses_border": True,
    "line": {
        "code": "papers_nothing_on_file",
        "detail": "From FR to DE: nothing on file; this is not permission. Pollen is plant material. The"
        " recipient is the importer and asks both countries' plant-health authorities first.",
        "parameters": {"origin": "FR", "destination": "DE"},
    },
    "donor": {
        "botanical_name": "Nymphaea hybrid",
        "origin": "cultivated",
        "origin_detail": "",
        "free_of_soil_water_insects": True,
        "rights": "not_known",
        "asked_whom": "",
        "asked_on": None,
        "answer": "",
        "stated_at": "2027-07-02T08:00:00Z",
    },
    "recipient": None,
    "lacking": [
        {
            "code": "recipient_statement_missing",
            "detail": str(LACKING["recipient_statement_missing"]),
            "parameters": {},
        }
    ],
    "caution": str(ACROSS),
}
NEW_STATEMENT = {
    "papers": "not_needed",
    "asked_whom": "the plant-health office",
    "asked_on": "2027-07-01",
    "answer": "none asked for a few grams of pollen within the union",
}


class AskedOut(serializers.Serializer[Any]):
    """Whom a grower asked, when, and the answer in their own words; nobody here has checked it."""

    asked_whom = serializers.CharField()
    asked_on = serializers.DateField(allow_null=True)
    answer = serializers.CharField()
    stated_at = serializers.DateTimeField()


class DonorStatementOut(AskedOut):
    """What the donor states of the parcel."""

    botanical_name = serializers.CharField()
    origin = serializers.ChoiceField(PapersStatement.Origin.choices)
    origin_detail = serializers.CharField()
    free_of_soil_water_insects = serializers.BooleanField()
    rights = serializers.ChoiceField(PapersStatement.Rights.choices)


class RecipientStatementOut(AskedOut):
    """What the recipient, the importer, states of the papers."""

    papers = serializers.ChoiceField(PapersStatement.Papers.choices)


class PapersOut(serializers.Serializer[Any]):
    """The papers of an agreement as both of its growers read them; never permission."""

    crosses_border = serializers.BooleanField()
    line = ToldOut(allow_null=True, help_text="As of today. Null inside one country, never across a border.")
    donor = DonorStatementOut(allow_null=True, help_text="The newest; null while nothing is stated.")
    recipient = RecipientStatementOut(allow_null=True)
    lacking = ToldOut(many=True, help_text="What keeps the parcel at home today, as far as is known here.")
    caution = serializers.CharField(help_text="Who decides.")


class StatementIn(StrictSerializer):
    """The donor states all of the parcel, the recipient `papers` and whom they asked; neither the other's."""

    botanical_name = Text(max_length=200, required=False)
    origin = Choice(PapersStatement.Origin.choices, required=False)
    origin_detail = Text(max_length=200, required=False, allow_blank=True, help_text="If wild: where from.")
    free_of_soil_water_insects = Flag(required=False, help_text="No soil, no pond water, no insects.")
    rights = Choice(
        PapersStatement.Rights.choices, required=False, help_text="Breeders' rights and agreements on access."
    )
    papers = Choice(
        PapersStatement.Papers.choices,
        required=False,
        help_text="`not_sure` keeps the parcel at home until it is stated anew.",
    )
    asked_whom = Text(max_length=200, required=False, allow_blank=True, help_text="The other reads it.")
    asked_on = Day(required=False, allow_null=True)
    answer = Text(max_length=400, required=False, allow_blank=True, help_text="In the words of who gave it.")


class OfPapers(OfAgreement):
    """Papers of the viewer's agreements."""

    tag = "papers"

    def represent(self, row: Agreement) -> Any:
        """Line, statements and what lacks, as of today."""
        return papers_for(self.viewer, row, clock.now().date())


class AgreementPapers(OfPapers):
    """The papers of one agreement."""

    @read("agreement_papers", "Papers of an agreement", PapersOut, example=PAPERS, problems=("not_found",))
    def get(self, call: Call) -> Agreement:
        """What is on file for its way, what both stated, and what lacks before anything is sent.

        Once both have said yes the line names both countries: the importer must know whom to ask.
        """
        return call.row  # type: ignore[no-any-return]


class AgreementStatement(OfPapers):
    """State one's side of the papers."""

    @act(
        "agreement_statement",
        "State your side of the papers",
        PapersOut,
        body=StatementIn,
        example=PAPERS,
        body_example=NEW_STATEMENT,
        problems=("not_found", "conflict"),
        keyed=True,
    )
    def post(self, call: Call) -> Agreement:
        """A new statement takes the place of an earlier one, which stays on record. The other is told once.

        The donor states what the parcel holds; the recipient, who is the importer, whether papers are in hand
        or not needed, whom they asked, when, and the answer.
        """
        statement_make(actor=call.grower, agreement=call.row, **call.data)
        return call.row  # type: ignore[no-any-return]
