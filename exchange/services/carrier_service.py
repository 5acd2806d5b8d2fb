"""Carrier services of a grower: how they post, with the days that their carrier keeps."""

from collections.abc import Sequence
from datetime import date, time
from typing import TypedDict, Unpack

from django.db import IntegrityError, transaction

from exchange.models import CarrierService, Offer
from exchange.models.carrier_service import PROMISED_DAYS_MOST
from exchange.models.offer import OpenState
from exchange.services.deal import announce
from growers import place
from growers.errors import Conflict, NotFound
from growers.models import Grower, Site
from growers.services.grower import open_grower
from growers.services.problem import Problems
from growers.services.row import columns_check, fields_set, words_check

RANGES = {
    "promised_days_home": (1, PROMISED_DAYS_MOST),
    "promised_days_abroad": (1, PROMISED_DAYS_MOST),
}
MOST_DAYS = 60


class CarrierServiceFields(TypedDict, total=False):
    """What a grower says of a service; days that differ from its week and the public holidays as dates."""

    name: str
    country: str
    weekdays: Sequence[str]
    delivers_on_saturday: bool
    cut_off: time | None
    promised_days_home: int | None
    promised_days_abroad: int | None
    opened_days: Sequence[date]
    closed_days: Sequence[date]


def carrier_service_create(*, actor: Grower, **fields: Unpack[CarrierServiceFields]) -> CarrierService:
    """Add a service of one's own; ``Conflict`` if one has that name."""
    return _write(CarrierService(grower=open_grower(actor)), fields)


def carrier_service_update(
    *, actor: Grower, service: CarrierService, **fields: Unpack[CarrierServiceFields]
) -> CarrierService:
    """Say anew what a service does; pairings of the offers that go by it are reckoned again."""
    with transaction.atomic():
        own = own_carrier_service(actor, service)
        if fields.get("country", own.country) != own.country:
            raise Conflict("A service stays in its country; add another.")
        saved = _write(own, fields)
        _announce_offers(saved)
    return saved


def carrier_service_remove(*, actor: Grower, service: CarrierService) -> None:
    """Take a service out; offers and parcels that went by it go by the usual week of their country."""
    with transaction.atomic():
        own = own_carrier_service(actor, service)
        _announce_offers(own)
        own.delete()


def own_carrier_service(actor: Grower, service: CarrierService) -> CarrierService:
    """A service of the actor's; to others there is none."""
    own = CarrierService.objects.filter(pk=service.pk, grower=actor).first()
    if own is None:
        raise NotFound("There is no such carrier service.")
    return own


def carrier_service_check(
    service: CarrierService | None, sender: Grower, origin: Site, problems: Problems
) -> None:
    """Note a service that takes no parcels where the sender is; ``NotFound`` for one of another grower."""
    if service is None:
        return
    if service.grower_id != sender.pk:
        raise NotFound("There is no such carrier service.")
    if service.country != origin.cell_country:
        problems.add("carrier_service", service.country, f"a service in {origin.cell_country}")


def _announce_offers(service: CarrierService) -> None:
    for offer in Offer.objects.filter(carrier_service=service, state=OpenState.OPEN).order_by("pk"):
        announce(offer)


def _write(service: CarrierService, fields: CarrierServiceFields) -> CarrierService:
    problems = Problems()
    fields_set(service, fields, CarrierServiceFields.__annotations__)
    columns_check(service, problems, ranges=RANGES, names=CarrierServiceFields.__annotations__)
    _country_check(service, problems)
    _week_check(service, problems)
    for name in ("opened_days", "closed_days"):
        if name in fields:
            setattr(service, name, _days_checked(name, fields[name], problems))
    _both_check(service, problems)
    problems.refuse_if_any()
    try:
        with transaction.atomic():
            service.save()
    except IntegrityError as error:
        raise Conflict(f"You have a carrier service called {service.name}.") from error
    return service


def _country_check(service: CarrierService, problems: Problems) -> None:
    if service.country not in place.countries() and not problems.has("country"):
        problems.add("country", service.country, "ISO 3166 codes of two capital letters such as FR")


def _week_check(service: CarrierService, problems: Problems) -> None:
    words_check(problems, "weekdays", service.weekdays, CarrierService.Weekday.values)
    if not problems.has("weekdays"):
        service.weekdays = [day for day in CarrierService.Weekday.values if day in service.weekdays]
    said: object = service.cut_off
    if said is not None and not (isinstance(said, time) and said.tzinfo is None):
        problems.add("cut_off", said, "a time of the clock such as 16:00")


def _days_checked(name: str, days: object, problems: Problems) -> list[str]:
    """Days in their order as ISO dates; what is none is noted."""
    if not isinstance(days, list | tuple) or len(days) > MOST_DAYS:
        problems.add(name, days, f"a list of at most {MOST_DAYS} dates")
        return []
    for day in days:
        if type(day) is not date:  # an instant is a date to isinstance
            problems.add(name, day, "dates")
            return []
    return sorted({day.isoformat() for day in days})


def _both_check(service: CarrierService, problems: Problems) -> None:
    both = sorted(set(service.opened_days) & set(service.closed_days))
    if both:
        problems.add("closed_days", both[0], "days that opened_days does not have")
