"""Bearer tokens of clients: shown once, kept as a hash, named, scoped, expiring."""

from typing import ClassVar

from django.db import models
from knox.models import AbstractAuthToken

from growers import clock
from growers.models.base import PublicModel


class ApiToken(AbstractAuthToken, PublicModel):  # type: ignore[misc]
    """One token; ``token_key`` is its recognisable beginning, ``digest`` the hash of all of it.

    Its instants are of the true clock: a secret does not live longer because a test season was tried out.
    """

    class Scope(models.TextChoices):
        READ = "read"
        WRITE = "write"
        FEED = "feed"

    created_at = models.DateTimeField(default=clock.true_now, editable=False)
    created = models.DateTimeField(default=clock.true_now, editable=False)
    name = models.CharField(max_length=80)
    scopes = models.JSONField(default=list)
    last_used_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[models.Manager["ApiToken"]] = models.Manager()

    ALL_SCOPES: ClassVar[tuple[str, ...]] = tuple(Scope.values)

    class Meta:
        indexes = [models.Index(fields=["user", "created_at"], name="api_token_of_grower")]
