"""Taxa: species, hybrids and cultivars with the facts that matching needs, each with its source."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, page, read
from exchange.api.resource import Resource
from exchange.api.strict import StrictSerializer, Text, TimeOfDay
from growers.models import Diel, Fertility, Group, Taxon
from growers.selectors.taxon import taxon_search

SOURCE = {"source": "Schneider & Chaney 1981", "status": "abstract"}
TAXON = {
    "id": "e4b6b7a0-51c8-4a1f-8f50-6a3a3d6f0c33",
    "name": "Nymphaea odorata",
    "rank": "species",
    "group": "hardy",
    "origin_groups": [],
    "diel": "day",
    "flower_days": 3,
    "receptive_day": 1,
    "pollen_first_day": 2,
    "pollen_last_day": 3,
    "opens_at": None,
    "closes_at": None,
    "chromosome_counts": [],
    "ploidy": None,
    "seed_fertility": "yes",
    "pollen_fertility": "yes",
    "note": "",
    "sources": {"flower": SOURCE},
    "invented": False,
}


class SourceOut(serializers.Serializer[Any]):
    """Where a value is from and how far that was verified."""

    source = serializers.CharField()  # type: ignore[assignment]
    status = serializers.CharField()


class TaxonOut(serializers.Serializer[Any]):
    """A taxon; days count from 1, the day a flower first opens."""

    id = serializers.UUIDField(source="public_id")
    name = serializers.CharField()
    rank = serializers.ChoiceField(Taxon.Rank.choices)
    group = serializers.ChoiceField(Group.choices)
    origin_groups = serializers.ListField(child=serializers.CharField())
    diel = serializers.ChoiceField(Diel.choices)
    flower_days = serializers.IntegerField()
    receptive_day = serializers.IntegerField()
    pollen_first_day = serializers.IntegerField()
    pollen_last_day = serializers.IntegerField()
    opens_at = TimeOfDay(allow_null=True)
    closes_at = TimeOfDay(allow_null=True)
    chromosome_counts = serializers.ListField(child=serializers.IntegerField(), help_text="2n.")
    ploidy = serializers.FloatField(allow_null=True)
    seed_fertility = serializers.ChoiceField(Fertility.choices)
    pollen_fertility = serializers.ChoiceField(Fertility.choices)
    note = serializers.CharField()
    sources = serializers.DictField(child=SourceOut())
    invented = serializers.BooleanField(help_text="Made up for the demo.")


class TaxonQuery(StrictSerializer):
    """Which taxa."""

    q = Text(
        required=False,
        max_length=120,
        allow_blank=True,
        help_text="Words of the name; case, accents, × and quotes do not matter. The 50 best, on one page.",
    )
    group = serializers.ChoiceField(Group.choices, required=False)


class TaxonList(Resource):
    """All taxa."""

    tag = "taxa"

    @page("taxon_list", "Find taxa", TaxonOut, example=TAXON, order=("name",), query=TaxonQuery, public=True)
    def get(self, call: Call) -> QuerySet[Taxon] | list[Taxon]:
        """By name; with `q` the best first."""
        taxa = Taxon.objects.all()
        if "group" in call.query:
            taxa = taxa.filter(group=call.query["group"])
        if not call.query.get("q"):
            return taxa
        wanted = [found.public_id for found in taxon_search(call.query["q"])]
        by_id = {taxon.public_id: taxon for taxon in taxa.filter(public_id__in=wanted)}
        return [by_id[public_id] for public_id in wanted if public_id in by_id]


class TaxonItem(Resource):
    """One taxon."""

    tag = "taxa"

    def rows(self, call: Call) -> QuerySet[Taxon]:
        """All: they are reference data."""
        return Taxon.objects.all()

    @read("taxon_read", "One taxon", TaxonOut, example=TAXON, problems=("not_found",), public=True)
    def get(self, call: Call) -> Taxon:
        """With the source and status of each aspect."""
        return call.row  # type: ignore[no-any-return]
