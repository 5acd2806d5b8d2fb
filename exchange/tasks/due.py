"""The sweep of what is due, called by beat each minute."""

from celery import shared_task

from exchange.services import (  # noqa: F401 - they register what is due
    agreement_due,
    bud_call,
    detour_reckon,
    idempotent_answer,
    mail,
    matching_order,
    offer_due,
    quiet_ask,
    shipment_due,
    webhook_delivery,
)
from exchange.services.due import run_due
from growers import clock

SWEEP_LIMIT = 500


@shared_task(name="exchange.due.sweep")
def due_sweep() -> None:
    """Do what is due now."""
    run_due(clock.now(), SWEEP_LIMIT)
