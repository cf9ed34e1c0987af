"""What is done to people: made, given roles, taken off, a PIN set."""

from collections.abc import Iterable

from django.contrib.auth.hashers import make_password
from django.core.exceptions import ValidationError
from django.db import transaction

from teardown.accounts.models import RoleGrant, User
from teardown.accounts.roles import demand
from teardown.records.actions import record


def welcome(*, username: str, name: str, password: str | None, roles: Iterable[str], by: User | None) -> User:
    """Make a person known here, with roles. ``by`` is None only for the first one, at the console."""
    if by is not None:
        demand(by, "people.manage")
    with transaction.atomic():
        user = User.objects.create_user(username, password, name=name)
        for role in roles:
            RoleGrant.objects.create(user=user, role=role, by=by)
        record(verb="welcomed", subject=user, by=by, payload={"roles": sorted(roles)})
    return user


def grant(*, user: User, role: str, granted: bool, by: User, reason: str = "") -> None:
    """Give a role to a person or take it back."""
    demand(by, "people.manage")
    with transaction.atomic():
        RoleGrant.objects.create(user=user, role=role, granted=granted, by=by)
        record(
            verb="granted" if granted else "took back",
            subject=user,
            by=by,
            reason=reason,
            payload={"role": role},
        )
    user.__dict__.pop("roles", None)


def set_pin(*, user: User, pin: str) -> None:
    """Set the short number by which a person is known at a shared tablet.

    Raises
    ------
    ValidationError
        If it is not 4 to 8 digits.
    """
    if not (pin.isascii() and pin.isdigit() and 4 <= len(pin) <= 8):
        raise ValidationError("A PIN is 4 to 8 digits.")
    with transaction.atomic():
        User.objects.filter(pk=user.pk).update(pin_hash=make_password(pin))
        record(verb="set the PIN of", subject=user, by=user)
