"""Sites: where the viewer's plants are; nobody else ever reads them."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, change, create, page, read
from exchange.api.resource import Resource
from exchange.api.strict import Choice, Flag, Number, StrictSerializer, Text, Whole
from exchange.api.v1.region import REGION, RegionOut
from growers.models import Site
from growers.selectors.site import SiteForOwner, for_owner
from growers.services.site import site_create, site_update

SITE = {
    "id": "8a1f3f0e-3a52-4e0b-9f0a-5b1e2f6f9d21",
    "name": "pond",
    "country": "FR",
    "subdivision": "",
    "nearest_town": "",
    "latitude_deg": None,
    "longitude_deg": None,
    "zone": "Europe/Paris",
    "water": "outdoor",
    "water_depth_cm": 60,
    "region": REGION,
}
NEW_SITE = {
    "name": "pond",
    "country": "FR",
    "latitude_deg": 48.85,
    "longitude_deg": 2.35,
    "water": "outdoor",
    "water_depth_cm": 60,
}


class SiteOut(serializers.Serializer[Any]):
    """A site for its owner; ``region`` is what others read."""

    id = serializers.UUIDField(source="public_id")
    name = serializers.CharField()
    country = serializers.CharField()
    subdivision = serializers.CharField()
    nearest_town = serializers.CharField()
    latitude_deg = serializers.FloatField(allow_null=True, help_text="Kept only if you asked for it.")
    longitude_deg = serializers.FloatField(allow_null=True)
    zone = serializers.CharField(help_text="IANA zone of the half-degree cell's centre.")
    water = serializers.ChoiceField(Site.Water.choices)
    water_depth_cm = serializers.IntegerField(allow_null=True)
    region = RegionOut()


class SiteIn(StrictSerializer):
    """A point and what stands there; of the point only its half-degree cell is kept unless you ask."""

    name = Text(max_length=80)
    country = Text(max_length=2, help_text="ISO 3166 alpha-2.")
    latitude_deg = Number(-90, 90)
    longitude_deg = Number(-180, 180)
    keep_exact = Flag(default=False, help_text="Keep the point too, for you alone.")
    subdivision = Text(max_length=10, required=False, allow_blank=True, help_text="ISO 3166-2.")
    nearest_town = Text(max_length=120, required=False, allow_blank=True)
    region_level = Choice(
        Site.RegionLevel.choices, required=False, help_text="What others read; suggested if left out."
    )
    water = Choice(Site.Water.choices, required=False)
    water_depth_cm = Whole(1, 1000, required=False, allow_null=True)


class SiteList(Resource):
    """The viewer's sites."""

    tag = "sites"

    def represent(self, row: Site) -> SiteForOwner:
        """Everything: they are the viewer's own."""
        return for_owner(row)

    @page("site_list", "Your sites", SiteOut, example=SITE, order=("-created_at", "public_id"))
    def get(self, call: Call) -> QuerySet[Site]:
        """Newest first."""
        return Site.objects.filter(grower=call.grower)

    @create("site_create", "Add a site", SiteIn, SiteOut, example=SITE, body_example=NEW_SITE, at="site")
    def post(self, call: Call) -> Site:
        """Others read the region only, which is computed from the half-degree cell."""
        return site_create(actor=call.grower, **call.data)


class SiteItem(Resource):
    """One of the viewer's sites."""

    tag = "sites"

    def rows(self, call: Call) -> QuerySet[Site]:
        """The viewer's own."""
        return Site.objects.filter(grower=call.grower)

    def represent(self, row: Site) -> SiteForOwner:
        """Everything: it is the viewer's own."""
        return for_owner(row)

    @read("site_read", "One of your sites", SiteOut, example=SITE, problems=("not_found",))
    def get(self, call: Call) -> Site:
        """Only its owner can read it."""
        return call.row  # type: ignore[no-any-return]

    @change(
        "site_change",
        "Change a site",
        SiteIn,
        SiteOut,
        example=SITE,
        body_example={"water_depth_cm": 60},
        problems=("not_found",),
    )
    def patch(self, call: Call) -> Site:
        """A new point is kept only with `keep_exact`; `keep_exact: false` alone forgets the stored one."""
        return site_update(actor=call.grower, site=call.row, **call.data)
