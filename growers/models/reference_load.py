"""The stamp of a reference table: which version of its file the rows came from."""

from django.db import models

from growers import clock


class ReferenceLoad(models.Model):
    """One reference table as last loaded; an unchanged file is not loaded again."""

    table = models.CharField(max_length=60, unique=True)
    sha256 = models.CharField(max_length=64)
    row_count = models.PositiveIntegerField()
    loaded_at = models.DateTimeField(default=clock.now)
