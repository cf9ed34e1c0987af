"""People, what they may do, and the tablets they share."""

from functools import cached_property
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.hashers import check_password
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.db import models
from django.db.models import Q
from django.http import HttpRequest
from django.utils import timezone

from teardown.accounts.roles import Role, may
from teardown.records.guards import NEVER, Guard
from teardown.records.models import AppendOnly, Kept


class UserManager(BaseUserManager["User"]):
    """Makes people."""

    def create_user(self, username: str, password: str | None = None, **fields: Any) -> "User":
        """Make a person who can sign in; roles are granted apart."""
        user = self.model(username=username, **fields)
        user.set_password(password)
        user.full_clean(exclude=["password"])
        user.save()
        return user

    def get_by_natural_key(self, username: str | None) -> "User":
        """Find a person by the name they sign in with."""
        return self.get(username=username)


class User(AbstractBaseUser, Kept):
    """A person who is known here. Never deleted: what they saw stays theirs."""

    guards: ClassVar[list[Guard]] = [Guard("DELETE", NEVER)]
    username = models.CharField(
        max_length=60,
        unique=True,
        validators=[UnicodeUsernameValidator()],
        error_messages={"unique": "Someone already signs in with this name."},
    )
    name = models.CharField("name as shown", max_length=120)
    is_active = models.BooleanField(default=True)
    pin_hash = models.CharField(max_length=128, blank=True)
    joined_at = models.DateTimeField(default=timezone.now)

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS = ["name"]
    objects = UserManager()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        """Give the name as shown."""
        return self.name

    @cached_property
    def roles(self) -> frozenset[str]:
        """Tell what this person may be, from the grants and withdrawals in their order."""
        standing: dict[str, bool] = {}
        for grant in sorted(self.grants.all(), key=lambda grant: grant.pk):
            standing[grant.role] = grant.granted
        return frozenset(role for role, granted in standing.items() if granted)

    @property
    def role_words(self) -> str:
        """Say in words what this person is here: "analyst and reviewer"."""
        names = [Role(role).label.split(" (")[0] for role in Role.values if role in self.roles]
        return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)

    def may(self, action: str) -> bool:
        """Tell whether this person may do this."""
        return may(self, action)

    def pin_fits(self, pin: str) -> bool:
        """Tell whether this is the person's bench PIN."""
        return bool(self.pin_hash) and check_password(pin, self.pin_hash)


class PinTry(AppendOnly):
    """A PIN that was typed at a tablet, and whether it fitted. Counted here, so that every process sees it.

    The name is kept as its digest: what is typed in a hurry may be no name at all.
    """

    name_sha256 = models.CharField(max_length=64)
    fitted = models.BooleanField()
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["name_sha256", "at"], name="pin_tries_of_a_name")]


class RoleGrant(AppendOnly):
    """A role given to a person, or taken back."""

    user = models.ForeignKey(User, models.PROTECT, related_name="grants")
    role = models.CharField(max_length=20, choices=Role)
    granted = models.BooleanField(default=True)
    by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(role__in=Role.values), name="a_role_we_know")]


class Device(Kept):
    """A tablet at the bench: its ruler-set scale and the credential that its queue speaks with."""

    name = models.CharField(max_length=60, unique=True)
    px_per_mm = models.FloatField(null=True, blank=True, help_text="Set once with a ruler.")
    credential_sha256 = models.CharField(max_length=64, blank=True)
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(px_per_mm__isnull=True) | Q(px_per_mm__gt=0),
                name="device_scale_above_zero",
                violation_error_message="Pixels per millimetre are above zero.",
            )
        ]

    def __str__(self) -> str:
        """Give its name."""
        return self.name


class SignedIn(HttpRequest):
    """A request of someone who is signed in, for annotations of views: closed by default makes it so."""

    user: User
