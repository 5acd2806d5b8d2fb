"""Takes in what changed, at once where somebody waits for proposals; the sweep does so for all the rest."""

from celery import shared_task

from exchange.services.rescoring import rescore
from growers import clock


@shared_task(name="exchange.matching")
def matching() -> None:
    """Rescore what changed, unless another worker is at it."""
    rescore(now=clock.now())
