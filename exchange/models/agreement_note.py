"""A short talk beside an agreement: plain text, no attachments, can be reported."""

from django.db import models

from exchange.models.agreement import Agreement
from growers.models import Grower
from growers.models.base import PublicModel


class AgreementNote(PublicModel):
    """One note of one of the two growers; a coordinator reads it only once it has been reported."""

    agreement = models.ForeignKey(Agreement, on_delete=models.PROTECT, related_name="notes")
    author = models.ForeignKey(Grower, on_delete=models.PROTECT, related_name="+")
    text = models.TextField(max_length=1000)
    reported_by = models.ForeignKey(Grower, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    reported_at = models.DateTimeField(null=True, blank=True)
    report_reason = models.CharField(max_length=300, blank=True)
