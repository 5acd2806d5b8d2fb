"""Which lots are still to be reckoned where all are: their outlook is of another model, or of before."""

from datetime import datetime

from django.db.models import Exists, F, OuterRef, QuerySet
from django.db.models.functions import Mod

from exchange.models import Lot, LotOutlook
from exchange.selectors.lot_outlook import version


def lots_unreckoned(now: datetime, *, part: int = 0, parts: int = 1) -> QuerySet[Lot]:
    """Lots of one part of several without an outlook of this model since an instant, in order of keys."""
    outlooks = LotOutlook.objects.filter(lot=OuterRef("pk"), packet=None)
    done = outlooks.filter(model_version=version(), reckoned_at__gte=now)
    rows = Lot.objects.alias(part=Mod(F("pk"), parts)).filter(~Exists(done), part=part)
    return rows.order_by("pk")
