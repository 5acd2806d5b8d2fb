"""A member: signs in by e-mail, is known to others by a handle."""

from typing import ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Lower

from growers.models.base import PublicModel


class GrowerManager(BaseUserManager["Grower"]):
    """Looks growers up by e-mail without regard to case; writing is the services' work."""

    def get_by_natural_key(self, username: str | None) -> "Grower":
        """The grower with this e-mail, whatever the case."""
        return self.get(email__iexact=username)


class Grower(AbstractBaseUser, PublicModel):
    """One member. Closing an account empties the row and keeps its id."""

    class Units(models.TextChoices):
        METRIC = "metric"
        US = "us"

    email = models.EmailField(max_length=254, unique=True, null=True)
    name = models.CharField(max_length=120, blank=True)
    handle = models.CharField(max_length=40)
    handle_skeleton = models.CharField(max_length=80, unique=True)
    language = models.CharField(max_length=10, default="en")
    units = models.CharField(max_length=10, choices=Units, default=Units.METRIC)
    zone = models.CharField(max_length=64, default="UTC")
    quiet_from = models.TimeField(null=True, blank=True)
    quiet_until = models.TimeField(null=True, blank=True)
    countries_shipped_to = models.JSONField(default=list, blank=True)
    default_terms = models.JSONField(default=list, blank=True)
    may_be_asked = models.BooleanField(default=False)
    credit_line = models.CharField(max_length=200, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[GrowerManager] = GrowerManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["handle"]

    class Meta:
        constraints = [models.UniqueConstraint(Lower("email"), name="grower_email_once")]

    @property
    def is_active(self) -> bool:  # type: ignore[override]
        """Whether the account is open."""
        return self.closed_at is None

    def __str__(self) -> str:
        return self.handle
