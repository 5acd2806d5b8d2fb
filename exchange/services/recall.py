"""Recalls: what was found on a plant reaches everyone who holds something of it, and only them, once."""

from datetime import date

from django.db import transaction

from exchange.models import Notification, Recall, RecallNotice
from exchange.selectors.recall import holders_of
from growers import clock
from growers.models import Grower, Plant
from growers.services.plant import own_plant
from growers.services.problem import Problems
from growers.services.row import columns_check, text_tidied


def recall_report(*, actor: Grower, plant: Plant, kind: str, found_on: date, text: str = "") -> Recall:
    """Report what was found on one's own plant; reported again it tells only new holders.

    Raises ``NotFound`` for a plant of another, ``InvalidInput`` for a day that is still to come.
    """
    with transaction.atomic():
        own = own_plant(actor, plant)
        now = clock.now()
        made = Recall(
            plant=own, kind=kind, found_on=found_on, text=text_tidied(text), reported_by=actor, created_at=now
        )
        _check(made)
        recall, _ = Recall.objects.get_or_create(
            plant=own,
            kind=kind,
            found_on=found_on,
            defaults={"text": made.text, "reported_by": actor, "created_at": now},
        )
        _tell(recall, actor)
    return recall


def _check(recall: Recall) -> None:
    problems = Problems()
    columns_check(recall, problems, ranges={}, names=("kind", "text"))
    today = clock.today(recall.plant.site.cell_zone)
    if recall.found_on > today:
        problems.add("found_on", recall.found_on, f"a day up to today, {today}")
    problems.refuse_if_any()


def _tell(recall: Recall, actor: Grower) -> None:
    """The plant is locked, so two reports at once do not both find somebody untold."""
    now = clock.now()
    held = holders_of(recall.plant)
    told = set(recall.notices.values_list("grower", flat=True)) | {actor.pk}
    growers = Grower.objects.filter(pk__in=held.keys() - told, closed_at=None).order_by("pk")
    RecallNotice.objects.bulk_create(
        RecallNotice(recall=recall, grower=grower, held=held[grower.pk].as_record(), created_at=now)
        for grower in growers
    )
    Notification.objects.bulk_create(
        (
            Notification(grower=grower, kind=Notification.Kind.RECALL, recall=recall, created_at=now)
            for grower in growers
        ),
        ignore_conflicts=True,
    )
