"""Carrier services: how a grower posts."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from exchange.api.operation import Call, change, create, page, read, remove
from exchange.api.reference import row_named
from exchange.api.resource import Resource
from exchange.api.strict import Choice, Day, Flag, StrictSerializer, Text, TimeOfDay, Whole, Words
from exchange.models import CarrierService
from exchange.models.carrier_service import PROMISED_DAYS_MOST
from exchange.services.carrier_service import (
    MOST_DAYS,
    carrier_service_create,
    carrier_service_remove,
    carrier_service_update,
)
from growers.models import Grower

SERVICE: dict[str, Any] = {
    "id": "6d5c4b3a-2918-4706-9f5e-4d3c2b1a0918",
    "name": "parcel with a number",
    "country": "FR",
    "weekdays": ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday"],
    "delivers_on_saturday": True,
    "cut_off": "16:00",
    "promised_days_home": 2,
    "promised_days_abroad": None,
    "opened_days": [],
    "closed_days": ["2027-08-14"],
    "created_at": "2027-06-28T18:30:00Z",
}
NEW_SERVICE = {name: value for name, value in SERVICE.items() if name not in ("id", "created_at")}
WEEK_HELP = "On which it takes parcels; none: the usual week of the country. Public holidays are closed."


def weekdays(**options: Any) -> Words:
    """Days of the week."""
    return Words(child=Choice(CarrierService.Weekday.choices), max_length=7, help_text=WEEK_HELP, **options)


def days(help_text: str, **options: Any) -> Words:
    """Dates."""
    return Words(child=Day(), max_length=MOST_DAYS, help_text=help_text, **options)


def promised(where: str, **options: Any) -> Whole:
    """Business days."""
    help_text = f"Business days to an address {where}; null: as usual."
    return Whole(1, PROMISED_DAYS_MOST, allow_null=True, help_text=help_text, **options)


class CarrierServiceOut(serializers.Serializer[Any]):
    """A carrier service for whom it belongs to."""

    id = serializers.UUIDField(source="public_id")
    name = serializers.CharField(help_text="For yourself; nobody else reads it.")
    country = serializers.CharField(help_text="In which it takes parcels; ISO 3166 alpha-2.")
    weekdays = serializers.ListField(
        child=serializers.ChoiceField(CarrierService.Weekday.choices), help_text=WEEK_HELP
    )
    delivers_on_saturday = serializers.BooleanField()
    cut_off = TimeOfDay(allow_null=True, help_text="Until then a parcel leaves the same day; local time.")
    promised_days_home = serializers.IntegerField(allow_null=True)
    promised_days_abroad = serializers.IntegerField(allow_null=True)
    opened_days = serializers.ListField(child=serializers.DateField())
    closed_days = serializers.ListField(child=serializers.DateField())
    created_at = serializers.DateTimeField()


class CarrierServiceIn(StrictSerializer):
    """How you post."""

    name = Text(max_length=60)
    country = Text(max_length=2, help_text="In which it takes parcels; ISO 3166 alpha-2.")
    weekdays = weekdays(required=False)
    delivers_on_saturday = Flag(required=False)
    cut_off = TimeOfDay(required=False, allow_null=True)
    promised_days_home = promised("in the same country", required=False)
    promised_days_abroad = promised("abroad", required=False)
    opened_days = days("Open in spite of weekday or holiday.", required=False)
    closed_days = days("Closed in spite of the weekday.", required=False)


class CarrierServiceChangeIn(StrictSerializer):
    """What may change; in another country it is another service."""

    name = Text(max_length=60)
    weekdays = weekdays()
    delivers_on_saturday = Flag()
    cut_off = TimeOfDay(allow_null=True)
    promised_days_home = promised("in the same country")
    promised_days_abroad = promised("abroad")
    opened_days = days("Open in spite of weekday or holiday.")
    closed_days = days("Closed in spite of the weekday.")


def service_taken(grower: Grower, fields: dict[str, Any]) -> dict[str, Any]:
    """The fields of a body with the carrier service that its id names."""
    if "carrier_service_id" not in fields:
        return fields
    own = CarrierService.objects.filter(grower=grower)
    taken = {name: value for name, value in fields.items() if name != "carrier_service_id"}
    named = fields["carrier_service_id"]
    service = row_named(own, named, field="carrier_service_id", what="a carrier service")
    return {**taken, "carrier_service": service}


class OwnCarrierServices(Resource):
    """Carrier services of whoever asks."""

    tag = "shipments"

    def rows(self, call: Call) -> QuerySet[CarrierService]:
        """Own services."""
        return CarrierService.objects.filter(grower=call.grower)


class CarrierServiceList(OwnCarrierServices):
    """All of them."""

    @page(
        "carrier_service_list",
        "Your carrier services",
        CarrierServiceOut,
        example=SERVICE,
        order=("name", "public_id"),
    )
    def get(self, call: Call) -> QuerySet[CarrierService]:
        """By name."""
        return self.rows(call)

    @create(
        "carrier_service_create",
        "Add a carrier service",
        CarrierServiceIn,
        CarrierServiceOut,
        example=SERVICE,
        body_example=NEW_SERVICE,
        problems=("conflict",),
        at="carrier_service",
    )
    def post(self, call: Call) -> CarrierService:
        """With a name of its own; offers and parcels can go by it."""
        return carrier_service_create(actor=call.grower, **call.data)


class CarrierServiceItem(OwnCarrierServices):
    """One service."""

    @read(
        "carrier_service_read",
        "One carrier service",
        CarrierServiceOut,
        example=SERVICE,
        problems=("not_found",),
    )
    def get(self, call: Call) -> CarrierService:
        """For its grower alone."""
        return call.row  # type: ignore[no-any-return]

    @change(
        "carrier_service_change",
        "Change a carrier service",
        CarrierServiceChangeIn,
        CarrierServiceOut,
        example=SERVICE,
        body_example={"cut_off": "15:30"},
        problems=("not_found", "conflict"),
    )
    def patch(self, call: Call) -> CarrierService:
        """What it does from now on; days of pairings and of parcels not yet sent follow."""
        return carrier_service_update(actor=call.grower, service=call.row, **call.data)

    @remove("carrier_service_remove", "Remove a carrier service", problems=("not_found",))
    def delete(self, call: Call) -> None:
        """What went by it goes by the usual week of its country."""
        carrier_service_remove(actor=call.grower, service=call.row)
